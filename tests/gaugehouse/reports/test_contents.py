"""What the reports tell of one January: figures of the book, and above all what was not done."""

import pytest

from gaugehouse.bookview import book_json
from gaugehouse.errors import CallError
from gaugehouse.reports.model import Report, Table, report_json
from tests.gaugehouse.reports.conftest import NOW_MS, Made


def rows_of(report: Report, name: str) -> list[dict[str, object]]:
    found: list[dict[str, object]] = next(one for one in report_json(report)["tables"] if one["name"] == name)["rows"]
    return found


def names(tables: list[Table]) -> list[str]:
    return [one.name for one in tables]


def test_the_daily_sheet_has_the_day_s_last_readings_and_the_book_s_own_rows(made: Made, site_path: str) -> None:
    from pathlib import Path

    from gaugehouse.site import load_site
    from gaugehouse.stores import look_into_book, look_into_readings

    report = made("stock", day="2024-01-31")
    held = {row["name"]: row for row in rows_of(report, "tanks")}
    assert held["Palm"]["time"] == "2024-01-31T23:59:59.000Z"
    assert held["Palm"]["gsv_m3"] == pytest.approx(400 - 5.01 * 31, abs=0.01)
    assert held["Palm"]["gsv_u95_m3"] is not None
    site = load_site(Path(site_path))
    with look_into_readings(site) as store, look_into_book(site) as book:
        product = book_json(site, store, book, NOW_MS, "day", "2024-01-31")["products"][0]
    rows = rows_of(report, "book")
    for row, whole in zip(rows, [*(tank["whole"] for tank in product["tanks"]), product["whole"]], strict=True):
        for name, value in row.items():
            if name.endswith("_m3"):
                assert value == whole[name]


def test_checks_that_nobody_did_stand_as_not_done(made: Made) -> None:
    report = made("stock", day="2024-01-31")
    assert {(row["name"], row["check"], row["done"]) for row in rows_of(report, "checks")} == {
        (tank, check, "not done") for tank in ("Palm", "Ridge") for check in ("drain check", "dip")
    }
    assert [text for text in report.not_done if "Palm: drain check not done" in text]


def test_a_month_that_is_not_signed_and_a_gauge_never_dipped_are_told(made: Made) -> None:
    account = made("account", month="2024-01")
    assert any("2024-01 is not closed and signed" in text for text in account.not_done)
    assert ("Close of Jet A-1", "NOT CLOSED") in [tuple(field) for field in account.fields]
    dips = made("dips", month="2024-01")
    assert any("Palm: gauge not verified" in text for text in dips.not_done)
    assert any("Palm: never dipped, due now" in text for text in dips.not_done)
    assert all(row["check"] != "" and row["drift"] == "not judged" for row in rows_of(dips, "gauges"))


def test_a_month_without_papers_says_on_how_many_days(made: Made) -> None:
    told = made("account", month="2024-02", now_ms=1_709_251_200_000 + 86_400_000)
    assert any(text.startswith("Palm: book incomplete on 29 d, first 2024-02-01") for text in told.not_done)
    assert any(text.startswith("Palm: not measured at the end of 29 d") for text in told.not_done)


def test_the_handover_tells_notes_of_both_tanks_and_what_is_late(made: Made) -> None:
    report = made("handover", start="2024-01-30T12:00Z", end="2024-01-31T00:10Z")
    (note,) = rows_of(report, "notes")
    assert (note["by"], note["taken_by"], note["taken_notes"]) == ("Ada", "Bo", "seen")
    assert [(one.label, one.name) for one in report.signatures] == [("Handing over", "Ada"), ("Taking over", "Bo")]
    assert not [text for text in report.not_done if "taken over" in text or "Nobody" in text]
    assert [text for text in report.not_done if "look for water at the drain" in text and "never done" in text]
    assert [row["name"] for row in rows_of(report, "tanks")] == ["Palm", "Ridge"]
    later = made("handover", start="2024-02-01T00:00Z", end="2024-02-01T08:00Z")
    assert "Nobody has handed this shift over." in later.not_done


def test_the_last_shift_is_as_long_as_the_site_file_says(made: Made) -> None:
    period = made("handover").period
    assert (period.from_ms, period.to_ms, period.going) == (NOW_MS - 12 * 3_600_000, NOW_MS, False)


def test_the_due_list_begins_with_what_was_never_done(made: Made) -> None:
    report = made("due")
    rows = rows_of(report, "due")
    assert rows[0]["state"] == "overdue"
    assert {row["about"] for row in rows if row["last"] == "never done"} >= {"palm", "ridge"}
    assert report.period.from_ms == report.period.to_ms == NOW_MS


@pytest.mark.parametrize(
    ("kind", "asked", "said"),
    [
        ("stocks", {}, "there is no report 'stocks'; there are stock, movements, account, dips, handover, due"),
        ("stock", {"month": "2024-01"}, "month: the report stock is of a day; give its day"),
        ("account", {"day": "2024-01-31"}, "day: the report account is of a month; give its month"),
        ("due", {"day": "2024-01-31"}, "day: the report due is of this moment; leave it out"),
        ("stock", {"day": "31.1.2024"}, "'31.1.2024' is no day; write it as 2026-01-31"),
        ("account", {"month": "2024-13"}, "is no month; write it as 2026-01"),
        ("stock", {"day": "2024-02-02"}, "2024-02-02 is still to come"),
        ("movements", {"day": "2024-01-31", "start": "2024-01-01"}, "day and from are two questions"),
        ("movements", {"start": "2024-01-31", "end": "2024-01-30"}, "is not before"),
        ("movements", {"start": "yesterday"}, "time 'yesterday' is not understood"),
        ("movements", {"start": "2024-03-01"}, "still to come"),
        ("movements", {"start": "2020-01-01", "end": "2024-01-01"}, "longer than 400 days"),
    ],
)
def test_what_there_is_not_is_refused_with_the_mend(made: Made, kind: str, asked: dict[str, str], said: str) -> None:
    with pytest.raises(CallError) as refused:
        made(kind, **asked)
    assert said in str(refused.value)


def test_movements_add_up_by_tank_and_one_that_runs_is_counted_and_not_summed() -> None:
    from types import SimpleNamespace

    from gaugehouse.reports.movements import listed, together

    def row(**more: object) -> dict[str, object]:
        return {"tank": "palm", "tank_name": "Palm", "kind": "issue", "gov_m3": -5.1, "gsv_m3": -5.05, **more}

    rows = [row(), row(gov_m3=-4.9, gsv_m3=-4.85), row(gov_m3=None, gsv_m3=None), row(tank="ridge", tank_name="Ridge")]
    sources = SimpleNamespace(name_of=str.capitalize)
    found = together(sources, rows)  # type: ignore[arg-type]
    assert [list(line) for line in found.rows] == [
        ["Palm", "palm", "issue", 3.0, -10.0, -9.9, 1.0], ["Ridge", "ridge", "issue", 1.0, -5.1, -5.05, 0.0],
    ]  # fmt: skip
    assert listed(rows).sums == {}, "a list with one that runs has no sum"
    assert listed(rows[:2]).sums == {"gov_m3": -10.0, "gsv_m3": -9.9}
