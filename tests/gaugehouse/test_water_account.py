"""The water account and the forecast over kept readings, movements, papers and checks, against sums done by hand."""

import csv
import io
import json
from pathlib import Path
from typing import Any

import pytest

from gaugehouse.cli import main
from gaugehouse.days import Days
from gaugehouse.documentrecords import documents_of
from gaugehouse.flowdays import by_day, gauge_flows, paper_flows
from gaugehouse.forecastwork import Held, forecasts, usable_of
from gaugehouse.site import load_site
from gaugehouse.stores import look_into_book, look_into_readings
from gaugehouse.tankdays import last_days, read_days
from gaugehouse.waterroom import AirDay
from gaugehouse.waterwork import water_json, waters_of
from inventory.documents import DocumentKind
from inventory.status import TankStatus
from models.moistair import vapour_density_kgpm3
from tests.gaugehouse.waterpast import (
    AREA,
    CONTENT_M3,
    DAY_MS,
    DAYS,
    HOUR_MS,
    NOW_MS,
    START_MS,
    act,
    document,
    fill,
    issued,
    site_of,
    write,
)

AIR = {f"2026-03-{day:02d}": AirDay(24.0, 32.0, vapour_density_kgpm3(30, 80)) for day in range(1, 32)}


def told(site: Any, air: dict[str, AirDay] | None = None) -> dict[str, Any]:
    with look_into_book(site) as book, look_into_readings(site) as store:
        [one] = waters_of(site, store, book, AIR if air is None else air, ["palm"], NOW_MS)
    return water_json(one)


def forecast(site: Any, now_ms: int = NOW_MS) -> dict[str, Any]:
    with look_into_book(site) as book, look_into_readings(site) as store:
        rows = forecasts(site, store, book, {"palm": store.latest("palm")}, now_ms)
    return {f"{row['of']} {row['id']}": row for row in rows}


def test_days_are_put_together_from_hours(tmp_path: Path) -> None:
    site = site_of(tmp_path)
    fill(site, blind=frozenset({5}))
    days = last_days(Days(site.zone, 0), 36, NOW_MS)
    with look_into_readings(site) as store:
        read = {one.day.date: one for one in read_days(store, "palm", days)}
    assert len(read) == 36
    one = read["2026-03-08"]
    assert one.tov_m3 is not None
    assert one.tov_m3.high == pytest.approx(CONTENT_M3)
    assert one.tov_m3.low == pytest.approx(CONTENT_M3 - 12)
    assert one.tov_m3.mean == pytest.approx(CONTENT_M3 - 6)
    assert one.temperature_degC is not None
    assert one.temperature_degC.mean == pytest.approx(28 + 10 / 24)
    assert one.watched == pytest.approx(1.0)
    assert read["2026-03-06"].tov_m3 is None
    assert read["2026-03-06"].watched == 0


def test_papers_win_over_the_gauge_for_their_tank_and_day(tmp_path: Path) -> None:
    site = site_of(tmp_path)
    fill(site)
    write(
        site,
        document(1, DocumentKind.TICKET, "2026-03-10", -7.0),
        document(2, DocumentKind.TICKET, "2026-03-10", -1.5),
        document(3, DocumentKind.METER, "2026-03-10", -9.0),
        document(4, DocumentKind.METER, "2026-03-11", -19.0),
        document(5, DocumentKind.OPENING, "2026-03-11", 500.0),
    )
    days = Days(site.zone, 0)
    with look_into_book(site) as book:
        flows = [*gauge_flows(book, days, START_MS, NOW_MS), *paper_flows(documents_of(book))]
    out = by_day(flows, out=True)
    assert out["palm", "2026-03-10"] == (8.5, "papers")
    assert out["palm", "2026-03-11"] == (19.0, "papers")
    assert out["palm", "2026-03-12"] == (issued(11), "gauge")
    assert by_day(flows, out=False)["palm", "2026-03-10"] == (issued(9), "gauge")


def test_the_account_adds_up_by_hand(tmp_path: Path) -> None:
    site = site_of(tmp_path)
    fill(site)
    found = told(site)
    terms = {term["term"]: term for term in found["terms"]}
    days = [day for day in range(DAYS - 30, DAYS)]
    moved = sum(issued(day) for day in days)
    assert terms["carried in by receipts"]["high_m3"] == pytest.approx(30e-6 * moved)
    air = terms["drawn in with the air that follows an issue"]
    measured = [day for day in days if day < 31]
    condenses = max(0.0, vapour_density_kgpm3(30, 80) - vapour_density_kgpm3(24 - 3, 100)) / 998
    guessed = (vapour_density_kgpm3(29, 100) - vapour_density_kgpm3(29 - 12 - 3, 100)) / 998
    by_hand = sum(issued(day) * (condenses if day in measured else guessed) for day in days)
    assert air["high_m3"] == pytest.approx(by_hand, rel=1e-6)
    assert "on 9 of them humidity was not measured" in air["note"]
    assert terms["shed by the fuel in the tank as it cools"]["high_m3"] == pytest.approx(0, abs=1e-9)
    assert found["expected_high_m3"] == pytest.approx(sum(term["high_m3"] for term in found["terms"]))
    assert (found["from"], found["to"], found["unmeasured_days"]) == ("2026-03-11", "2026-04-09", 0)
    assert found["verdict"] == "cannot tell"
    assert "no water cut" in found["why"]


def test_what_was_drained_counts_once_and_too_much_is_told(tmp_path: Path) -> None:
    site = site_of(tmp_path, water="dips")
    fill(site)
    clear = {"tank": "palm", "by": "Ada", "appearance": "hazy"}
    act(site, "drain_check", START_MS + 20 * DAY_MS, result="water", water_m3=0.004, **clear)
    act(site, "drain_check", START_MS + 21 * DAY_MS, result="water", water_m3=0.001, document=1, **clear)
    act(site, "drain_check", START_MS + 22 * DAY_MS, result="not done", why="storm", tank="palm", by="Ada")
    act(site, "drain_check", START_MS + 2 * DAY_MS, result="water", water_m3=0.5, **clear)
    draw = {"details": {"water_m3": 0.001, "fuel_m3": 0.0}}
    write(site, document(1, DocumentKind.WATER_DRAW, "2026-03-22", -0.001, **draw))
    found = told(site)
    assert [one["how"] for one in found["drained"]] == ["drain check 1", "document 1"]
    assert found["drained_low_m3"] == pytest.approx(0.9 * 0.005)
    act(site, "drain_check", START_MS + 25 * DAY_MS, result="water", water_m3=1.9, **clear)
    more = told(site)
    assert more["verdict"] == "more than expected"
    assert "hatch" in more["why"]


def test_a_day_that_nobody_watched_makes_the_account_cautious(tmp_path: Path) -> None:
    site = site_of(tmp_path)
    fill(site, blind=frozenset(range(12, 25)))
    found = told(site)
    assert found["unmeasured_days"] == 13
    assert found["verdict"] == "cannot tell"
    assert found["why"] == "13 of 30 days have no figure of the fuel"


def test_the_forecast_knows_the_week(tmp_path: Path) -> None:
    site = site_of(tmp_path)
    fill(site)
    row = forecast(site)["product jet"]
    assert (row["days_known"], row["days_by_gauge"], row["days_by_papers"]) == (40, 40, 0)
    assert row["usable_m3"] == pytest.approx(CONTENT_M3 - AREA * 1.0)  # above `low`, 1 m
    assert row["mean_m3_per_day"] == pytest.approx(sum(issued(day) for day in range(7)) / 7, rel=0.03)
    left, by_hand = row["usable_m3"], 0.0
    for day in range(DAYS, DAYS + 60):
        part = min(1.0, left / issued(day))
        left, by_hand = left - part * issued(day), by_hand + part
    assert row["cover_days"] == pytest.approx(by_hand, abs=1.0)
    assert row["cover_earliest_days"] < row["cover_days"] < row["cover_latest_days"]
    assert row["lead_days"] == 3.0
    assert row["order_point_m3"] > 20 + 20 + 40  # the busiest three days in a row
    assert row["order_in_days"] == pytest.approx(row["cover_days"] - 4.5, abs=1.5)
    assert row["order_by"] == "2026-04-2" + row["order_by"][-1]


def test_a_blind_day_is_left_out_unless_a_paper_tells_it(tmp_path: Path) -> None:
    site = site_of(tmp_path)
    fill(site, blind=frozenset({30, 31}))
    assert forecast(site)["tank palm"]["days_known"] == 38
    write(site, document(1, DocumentKind.TICKET, "2026-03-31", -25.0))
    row = forecast(site)["tank palm"]
    assert (row["days_known"], row["days_by_papers"]) == (39, 1)


def test_too_few_days_and_an_old_reading_are_told(tmp_path: Path) -> None:
    site = site_of(tmp_path)
    fill(site, last=9)
    row = forecast(site, START_MS + 9 * DAY_MS + 9 * HOUR_MS)["product jet"]
    assert row["why"] == "only 9 of the last 56 days are known; a forecast is told from 14 on"
    assert row["cover_days"] is None
    late = forecast(site, START_MS + 30 * DAY_MS)["product jet"]
    assert late["missing"] == ["palm"]
    assert "was not measured since 2026-03-10" in late["notes"][0]
    assert usable_of(site, "palm", None, NOW_MS).why == "the level of palm is not known now"


def test_without_a_delivery_time_there_is_cover_but_no_order_point(tmp_path: Path) -> None:
    site = site_of(tmp_path, more="")
    fill(site)
    row = forecast(site)["product jet"]
    assert row["cover_days"] is not None
    assert row["order_point_m3"] is None
    assert any("[stock.forecast] delivery" in note for note in row["notes"])
    assert any("settling counts as none" in note for note in row["notes"])


def test_what_is_not_released_gives_no_cover_and_is_named(tmp_path: Path) -> None:
    site = site_of(tmp_path)
    fill(site)
    free = forecast(site)["product jet"]
    with look_into_book(site) as book, look_into_readings(site) as store:
        newest = {"palm": store.latest("palm")}
        settling = forecasts(site, store, book, newest, NOW_MS, {"palm": Held(TankStatus.SETTLING, NOW_MS + HOUR_MS)})
        barred = forecasts(site, store, book, newest, NOW_MS, {"palm": Held(TankStatus.QUARANTINED)})
    for rows in (settling, barred):
        row = rows[0]
        assert (row["usable_m3"], row["cover_days"]) == (0.0, 0.0)
        assert row["held_m3"] == pytest.approx(free["usable_m3"])
        assert "do not count as usable" in row["notes"][0]
    # what settles is released before a load that is ordered now; what is quarantined may never be
    assert settling[0]["order_in_days"] == pytest.approx(free["order_in_days"])
    assert barred[0]["order_now"] is True
    assert settling[0]["parts"][0]["status"] == "settling"
    assert settling[0]["parts"][0]["until"] == "2026-04-10T10:00:00.000Z"


NEVER_ISSUED = 'base_density = "800 kg/m3"\nfor_issue = false'


def test_what_is_never_handed_out_is_left_out(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    site = site_of(tmp_path)
    fill(site)
    assert set(forecast(site)) == {"product jet", "tank palm"}
    text = site.path.read_text()
    assert text.count('base_density = "800 kg/m3"') == 1
    site.path.write_text(text.replace('base_density = "800 kg/m3"', NEVER_ISSUED))
    assert forecast(load_site(site.path)) == {}
    for asked in (["--product", "jet"], ["--tank", "palm"]):
        assert main(["forecast", str(site.path), *asked]) == 2
        assert "jet is not handed out (for_issue = false)" in capsys.readouterr().err


@pytest.fixture
def at_noon(monkeypatch: pytest.MonkeyPatch) -> None:
    """Commands take the time from the clock; here it is the past's own."""
    for module in ("waterlook", "duelook"):
        monkeypatch.setattr(f"gaugehouse.{module}.now_of", lambda book: NOW_MS)


@pytest.mark.usefixtures("at_noon")
def test_the_commands_print_json_csv_and_text(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    site = site_of(tmp_path)
    fill(site)
    path = str(site.path)
    act(site, "drain_check", NOW_MS - DAY_MS, tank="palm", by="Ada", result="clear", appearance="clear and bright")
    assert main(["water", path, "--json"]) == 0
    [one] = json.loads(capsys.readouterr().out)
    assert main(["water", path, "--csv"]) == 0
    rows = list(csv.DictReader(io.StringIO(capsys.readouterr().out)))
    assert {row["term"] for row in rows} >= {"rain through roof, hatch and fittings", "expected", "found"}
    by_term = {row["term"]: row for row in rows}
    assert float(by_term["expected"]["high_m3"]) == pytest.approx(one["expected_high_m3"], abs=1e-6)
    assert main(["water", path]) == 0
    assert "cannot tell" in capsys.readouterr().out
    assert main(["water", path, "--checks", "--csv"]) == 0
    assert "clear and bright" in capsys.readouterr().out
    assert main(["forecast", path, "--json", "--product", "jet"]) == 0
    [row] = json.loads(capsys.readouterr().out)
    assert row["of"] == "product"
    assert main(["forecast", path, "--csv"]) == 0
    assert [r["id"] for r in csv.DictReader(io.StringIO(capsys.readouterr().out))] == ["jet", "palm"]
    assert main(["forecast", path]) == 0
    assert "palm" in capsys.readouterr().out
    assert main(["due", path, "--json"]) == 0
    due = json.loads(capsys.readouterr().out)
    kinds = {one["kind"]: one for one in due["dues"]}
    assert kinds["drain check"]["last"] == "2026-04-09 by Ada: clear"
    assert kinds["dip"]["last"] == "never done"
    assert kinds["dip"]["state"] == "overdue"
    assert main(["due", path, "--now", "--csv"]) == 1
    assert "never done" in capsys.readouterr().out
    assert main(["due", path, "--kind", "drain check"]) == 0


def test_a_drain_check_by_command(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    site = site_of(tmp_path)
    fill(site, movements=False, last=1)
    path = str(site.path)
    assert main(["drain-check", path, "palm", "--water", "250 mL", "--looked", "hazy", "--by", "Ada"]) == 0
    out = capsys.readouterr().out
    assert "250 mL of water, hazy" in out
    assert "bond the vessel" in out
    assert main(["drain-check", path, "palm", "--not-done", "storm", "--by", "Bo", "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["why"] == "storm"
    assert main(["drain-check", path, "palm", "--withdraw", "1", "--comment", "other tank", "--by", "Ada"]) == 0
    assert main(["water", path, "--checks"]) == 0
    assert "withdrawn by Ada: other tank" in capsys.readouterr().out
    assert main(["drain-check", path, "palm", "--water", "3", "--looked", "hazy", "--by", "Ada"]) == 2
    assert "has no unit" in capsys.readouterr().err
    assert main(["drain-check", path, "palm", "--clear", "--by", "Ada"]) == 2
    assert "appearance is missing" in capsys.readouterr().err
    assert main(["forecast", path, "--product", "avgas"]) == 2
    assert main(["due", path, "--kind", "wash"]) == 2
