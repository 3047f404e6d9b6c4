"""`gaugehouse alarms --performance`: the record book's rows as figures by the site's own days and months."""

import contextlib
import json
from dataclasses import replace
from pathlib import Path

import pytest

from gaugehouse.alarmfigures import Kept, kept_rows, performance, periods
from gaugehouse.cli import main
from gaugehouse.days import Days, parse_ms
from gaugehouse.site import load_site
from gaugehouse.stores import RECORDS, look_into_book
from history.book import RecordBook
from history.chain import Entry
from tests.gaugehouse.sites import loop_site, write_site

BEGUN = parse_ms("2026-01-31T22:00:00Z")
HOUR = 3_600_000


def journal(folder: Path, *rows: tuple[int, str, str, str]) -> Path:
    """A site with a record book of these alarm rows: time, condition, event, state."""
    path = write_site(folder)
    site = load_site(path)
    site.store_path.mkdir()
    with contextlib.closing(RecordBook.open(site.store_path / RECORDS, site.id)) as book:
        entries = [Entry("started", BEGUN, 0, {"build": "test"})]
        for seq, (time_ms, condition, event, state) in enumerate(rows, start=1):
            body = {"source": "palm", "condition": condition, "priority": 2, "event": event, "state": state}
            entries.append(Entry("alarm", time_ms, seq, body | {"occurrence": seq}))
        book.commit(entries, {})
    return path


STORM = [
    (BEGUN + HOUR + k * 10_000, "high", event, state)
    for k in range(12)
    for event, state in (("raised", "unacknowledged"), ("returned", "returned_unacknowledged"))
]


def test_the_command_prints_rates_floods_and_what_nags_most(tmp_path, capsys):
    site = journal(tmp_path, *STORM)
    assert main(["alarms", str(site), "--performance", "--to", "2026-02-02T00:00:00Z"]) == 0
    out = capsys.readouterr().out
    assert "palm.high 12" in out
    assert "too short to judge a system by" in out
    assert "sliding windows of 10 min" in out
    assert main(["alarms", str(site), "--performance", "--json", "--to", "2026-02-02T00:00:00Z"]) == 0
    said = json.loads(capsys.readouterr().out)
    assert said["from"] == "2026-01-31T22:00:00.000Z"  # not before the book began
    assert [(day["name"], day["annunciations"], day["floods"]) for day in said["days"]] == [
        ("2026-01-31", 12, 1), ("2026-02-01", 0, 0),
    ]  # fmt: skip
    assert [month["name"] for month in said["months"]] == ["2026-01", "2026-02"]
    assert said["whole"]["chattering"] == [{"id": "palm.high", "times": 6}]


def test_with_few_days_kept_no_verdict_is_printed_and_no_average_is_drawn_out(tmp_path, capsys):
    # kpi-21 of tests/data/alarms: at least 30 days of data.
    site = journal(tmp_path, *STORM)
    assert main(["alarms", str(site), "--performance", "--to", "2026-02-01T01:00:00Z"]) == 0
    out = capsys.readouterr().out
    rows = {line[:40].strip(): line.split() for line in out.splitlines() if " alarms " in line or " % " in line}
    assert rows["average in an hour"][4:5] == ["4"]
    assert rows["average in a day"][4] == "-"  # three hours are no day
    assert "not judged" in out
    assert not {"met", "missed", "manageable"} & {cells[-1] for cells in rows.values()}


def test_whole_days_and_months_are_judged_once_enough_is_kept_and_cut_ones_never(tmp_path):
    site = loop_site(tmp_path)
    to_ms = BEGUN + 40 * 24 * HOUR
    said = performance(site, kept_rows_of(STORM), BEGUN, to_ms, to_ms)
    judged = {
        period["name"]: period["judged"][0]["verdict"] != "not judged"
        for period in (said["whole"], *said["months"], *said["days"])
    }
    assert said["whole"]["from"] == "2026-01-31T22:00:00.000Z"
    assert judged["whole"]
    assert [judged[month] for month in ("2026-01", "2026-02", "2026-03")] == [False, True, False]
    assert [judged[day] for day in ("2026-01-31", "2026-02-01", "2026-03-11", "2026-03-12")] == [
        False,
        True,
        True,
        False,
    ]


def test_the_figures_are_of_the_whole_site_only(tmp_path, capsys):
    site = journal(tmp_path, *STORM)
    assert main(["alarms", str(site), "--performance", "--tank", "palm"]) == 2
    assert "leave --tank out" in capsys.readouterr().err


def test_a_flood_a_chattering_and_a_stale_alarm_of_this_moment_are_named(tmp_path):
    site = load_site(journal(tmp_path, (BEGUN, "low", "raised", "unacknowledged"), *STORM))
    with look_into_book(site) as book:
        kept = kept_rows(book)
    now_ms = BEGUN + HOUR + 120_000
    now = performance(site, kept, BEGUN, now_ms, now_ms)["now"]
    assert now["flood_since"] == "2026-01-31T23:01:30.000Z"
    assert now["chattering"] == ["palm.high"]
    assert now["stale"] == []
    later = performance(site, kept, BEGUN, now_ms + 24 * HOUR, now_ms + 24 * HOUR)["now"]
    assert later["flood_since"] is None
    assert later["stale"] == ["palm.high", "palm.low"]


def test_operator_positions_share_the_alarms(tmp_path):
    site = loop_site(tmp_path)
    rows = kept_rows_of(STORM)
    one = performance(site, rows, BEGUN, BEGUN + 24 * HOUR, BEGUN + 24 * HOUR)["whole"]
    two = performance(
        replace(site, operator_positions=2), rows, BEGUN, BEGUN + 24 * HOUR, BEGUN + 24 * HOUR
    )["whole"]  # fmt: skip
    assert two["average_hour"] == one["average_hour"] / 2
    assert (one["floods"], two["floods"]) == (1, 0)


def kept_rows_of(rows: list[tuple[int, str, str, str]]) -> Kept:
    from alerts.nuisance import AlarmRow

    return Kept([AlarmRow(time, f"palm.{c}", 2, event, state) for time, c, event, state in rows], BEGUN)


@pytest.mark.parametrize(
    ("date", "hours"), [("2026-03-28", 24), ("2026-03-29", 23), ("2026-10-25", 25)], ids=["plain", "spring", "autumn"]
)
def test_days_are_the_sites_own_and_have_their_hours(date, hours):
    # Source: IANA time zone database, Europe/Oslo changes on the last Sundays of March and October.
    days = Days("Europe/Oslo", 0)
    start = days.at(parse_ms(f"{date}T12:00:00Z")).start_ms
    found, months = periods(days, start, start + hours * HOUR)
    assert [day.name for day in found] == [date]
    assert found[0].end_ms - found[0].start_ms == hours * HOUR
    assert [month.name for month in months] == [date[:7]]
