"""The stock book end to end: papers and closes through the core and the record book, stands by kept readings."""

import csv
import io
import itertools
import math
from collections.abc import Iterator
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from console.stock_csv import book_csv
from gaugehouse.acts import Taken
from gaugehouse.closerecords import closes_of
from gaugehouse.days import Days, iso_ms
from gaugehouse.documentrecords import documents_of
from gaugehouse.errors import CallError
from history.chain import Entry
from inventory.documents import document_json
from tests.gaugehouse.ledgers import RULE, Ledger, site_text

AREA_M2 = math.pi * 25


@pytest.fixture
def ledger(tmp_path: Path) -> Iterator[Ledger]:
    made = Ledger(tmp_path)
    yield made
    made.close()


def opened(ledger: Ledger, day: str = "2026-01-01", litres: float = 400_000) -> None:
    for tank in ("palm", "ridge"):
        ledger.add("opening balance", day, tank=tank, observed=f"{litres} L", standard=f"{litres} L")


def level(m3: float) -> float:
    return m3 / AREA_M2


def test_a_day_reads_as_the_sum_that_it_is(ledger: Ledger) -> None:
    opened(ledger)
    ledger.add("delivery note", "2026-01-01", tank="palm", paper="D1", observed="36 m3", standard="36 m3")
    ledger.add("fuelling ticket", "2026-01-01", tank="palm", paper="T1", observed="6 m3", standard="6 m3")
    ledger.end_of("palm", "2026-01-01", level(429.9))
    ledger.end_of("ridge", "2026-01-01", level(400.0))
    ledger.until("2026-01-02T08:00:00Z")
    row = ledger.tank("day", "2026-01-01")["whole"]
    assert (row["opening_gross_m3"], row["receipts_gross_m3"], row["issues_gross_m3"]) == (400.0, 36.0, -6.0)
    assert row["book_gross_m3"] == 430.0
    assert row["physical_gross_m3"] == pytest.approx(429.9, abs=1e-4)
    assert row["variance_gross_m3"] == pytest.approx(-0.1, abs=1e-4)
    assert row["physical_source"] == "gauge"
    assert row["complete"]
    whole = ledger.product("day", "2026-01-01")["whole"]
    assert whole["book_gross_m3"] == 830.0
    assert whole["variance_gross_m3"] == pytest.approx(-0.1, abs=2e-4)


def test_what_the_tank_can_tell_stands_beside_every_comparison(ledger: Ledger) -> None:
    opened(ledger)
    ledger.end_of("palm", "2026-01-01", level(399.98))
    ledger.end_of("palm", "2026-01-02", level(399.96))
    ledger.until("2026-01-03T00:00:00Z")
    for row in (ledger.tank("day", "2026-01-02")["whole"], ledger.tank("month", "2026-01")["days"][1]):
        assert row["disputed_u95_m3"] == row["variance_gross_u95_m3"]
        assert abs(row["disputed_m3"]) == pytest.approx(0.02, abs=2e-4)
        assert row["telling"] == "neither"
        # two readings of one tank at rest: about the repeatability twice, 78.5 L a mm (computed)
        assert 0.05 < row["variance_gross_u95_m3"] < 0.5


def test_a_stand_is_no_paper_of_what_moved_and_a_totaliser_that_stood_still_is(ledger: Ledger) -> None:
    opened(ledger)
    ledger.add("outside stock", "2026-01-02", place="bowser", observed="3 m3")
    ledger.add("meter totaliser", "2026-01-03", meter="rack", meter_opening="100 m3", meter_closing="100 m3")
    for day in ("2026-01-01", "2026-01-02", "2026-01-03"):
        ledger.end_of("palm", day, level(400.0))
        ledger.end_of("ridge", day, level(400.0))
    ledger.until("2026-01-04T06:00:00Z")
    told = [ledger.product("day", f"2026-01-0{n}")["whole"]["complete"] for n in (1, 2, 3)]
    assert told == [False, False, True]


def test_owners_state_a_place_together_though_one_paper_has_no_standard_volume(tmp_path: Path) -> None:
    owners = "".join(f'[[stock.documents.owner]]\nid = "{owner}"\n' for owner in ("north", "south"))
    ledger = Ledger(tmp_path, site_text(more=RULE + owners))
    for owner, rest in (("south", {"temperature": "20 degC", "density": "800 kg/m3"}), ("north", {})):
        ledger.add("outside stock", "2026-01-02", place="bowser", owner=owner, observed="1 m3", **rest)
    (place,) = ledger.product("month", "2026-01")["outside"]
    ledger.close()
    assert (place["stand_gross_m3"], place["stand_standard_m3"]) == (2.0, None)


def test_a_warm_tank_is_no_gain_at_the_reference_temperature(ledger: Ledger) -> None:
    opened(ledger)
    ledger.end_of("palm", "2026-01-01", level(400.0))
    grown = 400.0 * (1 + 9.29e-4 * 10)  # alpha of jet at 800 kg/m3, computed from API MPMS 11.1
    ledger.end_of("palm", "2026-01-02", level(grown), 25.0)
    ledger.until("2026-01-03T00:00:00Z")
    tank = ledger.tank("day", "2026-01-02")
    assert tank["whole"]["variance_gross_m3"] == pytest.approx(grown - 400.0, abs=1e-3)
    assert tank["whole"]["variance_standard_m3"] == pytest.approx(0.0, abs=0.05)
    parts = {term["part"]: term for term in tank["split"]}
    assert parts["temperature"]["amount_m3"] == pytest.approx(grown - 400.0, abs=0.05)
    assert parts["unexplained"]["amount_m3"] == pytest.approx(0.0, abs=0.05)


def test_a_paper_without_a_temperature_is_taken_at_the_tank_s_own_and_that_is_said(ledger: Ledger) -> None:
    opened(ledger)
    ledger.add("fuelling ticket", "2026-01-01", tank="palm", paper="T1", observed="10 m3")
    ledger.end_of("palm", "2026-01-01", level(390.0), 30.0)
    ledger.until("2026-01-02T00:00:00Z")
    product = ledger.product("day", "2026-01-01")
    issues = product["whole"]["issues_standard_m3"]
    assert issues == pytest.approx(-10 * (1 - 9.29e-4 * 15), abs=0.01)
    assert any("no temperature" in remark for remark in product["remarks"])


@pytest.mark.parametrize(
    ("level_m", "before_ms", "why"),
    [(None, 1000, "level is Bad"), (5.0, 700_000, "no reading within 10 min")],
)
def test_what_was_not_measured_says_why(ledger: Ledger, level_m: float | None, before_ms: int, why: str) -> None:
    opened(ledger)
    ledger.end_of("palm", "2026-01-01", level_m, before_ms=before_ms)
    ledger.until("2026-01-02T00:00:00Z")
    row = ledger.tank("day", "2026-01-01")["whole"]
    assert row["physical_gross_m3"] is None
    assert row["variance_gross_m3"] is None
    assert why in row["physical_why"]
    assert row["closing_gross_m3"] == row["book_gross_m3"] == 400.0


def test_a_dip_measures_where_the_gauge_does_not(ledger: Ledger) -> None:
    opened(ledger)
    ledger.end_of("palm", "2026-01-01", None)
    ledger.until("2026-01-01T23:30:00Z")
    said = ledger.do(
        "add_dip", tank="palm", readings_m=[5.092, 5.092], temperature_degC=15.0, temperature_kind="average",
        time_ms=ledger.ms, purpose="stock", method="innage",
    )  # fmt: skip
    assert said.status is Taken.DONE, said
    ledger.until("2026-01-02T00:10:00Z")
    row = ledger.tank("day", "2026-01-01")["whole"]
    assert row["physical_source"] == "dip"
    assert row["physical_gross_m3"] == pytest.approx(5.092 * AREA_M2, abs=0.2)


def test_a_month_is_signed_once_and_locks_its_papers(ledger: Ledger) -> None:
    month(ledger)
    found = ledger.closing("month", "2026-01")
    assert found.obstacles == []
    assert found.refusal("0" * 16) != ""
    assert found.refusal(found.seal) == ""
    before = ledger.product("month", "2026-01")["whole"]
    said = ledger.sign("month", "2026-01")
    assert said.status is Taken.DONE
    (signed,) = closes_of(ledger.book)
    assert signed.body["head"] == said.body["head"] == found.fields["figures"]["head"]
    assert signed.body["edition"] == "API MPMS 11.1-2004"
    assert signed.body["reference_degC"] == 15.0
    assert signed.body["rows"][0]["variance_standard_m3"] == before["variance_standard_m3"]
    late = ledger.do("add_document", kind="fuelling ticket", day="2026-01-15", tank="palm", paper="late",
                     observed="5 m3", sure=True)  # fmt: skip
    assert late.status is Taken.REFUSED
    again = ledger.do("close_stock", **found.fields | {"by": "Bo"})
    assert again.status is Taken.ALREADY
    assert again.body["by"] == "Ada"
    ledger.restart()
    assert ledger.core.closes.closed("jet", "month", "2026-01") is not None
    assert ledger.do("close_stock", **found.fields).status is Taken.ALREADY
    closed = ledger.product("month", "2026-01")
    assert closed["closed"]["by"] == "Ada"
    assert closed["whole"]["variance_standard_m3"] == before["variance_standard_m3"]


def month(ledger: Ledger) -> None:
    opened(ledger)
    for number in range(31):
        day = (date(2026, 1, 1) + timedelta(days=number)).isoformat()
        ledger.add("fuelling ticket", day, tank="palm", paper=f"T{number}", observed="5 m3", standard="5 m3")
        ledger.end_of("palm", day, level(400.0 - 5.0 * (number + 1) - 0.003 * number))
        ledger.end_of("ridge", day, level(400.0))
    ledger.until("2026-02-01T06:00:00Z")


def test_a_signed_stand_is_the_next_opening_whatever_the_readings_say_later(ledger: Ledger) -> None:
    month(ledger)
    ledger.sign("month", "2026-01")
    signed = ledger.tank("month", "2026-01")["whole"]["closing_gross_m3"]
    ledger.readings["palm"][-1] = ledger.readings["palm"][-1]._replace(gov_m3=1.0, gsv_m3=1.0)
    row = ledger.tank("day", "2026-02-01")["whole"]
    assert row["opening_gross_m3"] == signed
    assert ledger.tank("month", "2026-01")["whole"]["closing_gross_m3"] == signed


def test_figures_that_are_no_longer_those_that_were_signed_are_told(ledger: Ledger) -> None:
    month(ledger)
    ledger.add("delivery note", "2026-01-31", tank="ridge", paper="D1", observed="36 m3", standard="36 m3")
    ledger.readings["ridge"].pop()
    ledger.end_of("ridge", "2026-01-31", level(412.0))
    over_the_boundary(ledger, "ridge", "2026-01-31", 400.0, 436.0)
    ledger.until("2026-02-02T06:00:00Z")
    ledger.sign("month", "2026-01")
    told = ledger.product("month", "2026-01")
    assert told["whole"]["receipts_gross_m3"] == pytest.approx(12.0, abs=0.01)
    assert not any("since it was signed" in one for one in told["remarks"])
    ledger.readings.clear()
    again = ledger.product("month", "2026-01")
    assert any("book_gross_m3" in one and "since it was signed" in one for one in again["remarks"])
    assert again["closed"]["rows"] == told["closed"]["rows"]
    assert again["whole"]["closing_gross_m3"] == told["whole"]["closing_gross_m3"]  # the stand stays as it was signed


def test_a_correction_after_the_close_counts_on_an_open_day(ledger: Ledger) -> None:
    month(ledger)
    before = ledger.tank("month", "2026-01")["whole"]
    ledger.sign("month", "2026-01")
    old = next(one for one in documents_of(ledger.book) if one.paper == "T3")
    said = ledger.do(
        "correct_document", number=old.number, old=document_json(old), observed="5.5 m3", standard="5.5 m3",
        comment="misread", sure=True,
    )  # fmt: skip
    assert said.status is Taken.DONE, said
    after = ledger.tank("month", "2026-01")["whole"]
    assert after["issues_gross_m3"] == before["issues_gross_m3"]
    assert ledger.tank("day", "2026-02-01")["whole"]["issues_gross_m3"] == -0.5


def test_figures_that_changed_since_they_were_looked_at_are_not_signed(ledger: Ledger) -> None:
    month(ledger)
    found = ledger.closing("month", "2026-01")
    ledger.add("fuelling ticket", "2026-01-20", tank="palm", paper="more", observed="1 m3", standard="1 m3")
    assert ledger.do("close_stock", **found.fields).status is Taken.REFUSED
    assert ledger.closing("month", "2026-01").refusal(found.seal) != ""


def test_what_stands_in_the_way_of_a_month_is_said(tmp_path: Path) -> None:
    ledger = Ledger(tmp_path, site_text(accepted=False))
    opened(ledger)
    ledger.add("fuelling ticket", "2026-01-02", tank="palm", paper="T", observed="5 m3", standard="5 m3")
    ledger.until("2026-01-20T06:00:00Z")
    said = "; ".join(ledger.closing("month", "2026-01").obstacles)
    for piece in ("not over yet", "book incomplete", "not measured", "no calibration certificate", "accepted_by"):
        assert piece in said
    refused = ledger.do("close_stock", **ledger.closing("month", "2026-01").fields)
    assert refused.status is Taken.REFUSED
    ledger.close()


def test_months_are_closed_in_their_order_and_a_day_needs_its_papers(ledger: Ledger) -> None:
    month(ledger)
    ledger.until("2026-03-01T06:00:00Z")
    assert any("2026-01 is not closed yet" in one for one in ledger.closing("month", "2026-02").obstacles)
    assert ledger.sign("day", "2026-01-03").status is Taken.DONE
    assert ledger.closing("day", "2026-01-02").obstacles == []  # covered: `ALREADY`
    assert ledger.do("close_stock", **ledger.closing("day", "2026-01-02").fields).status is Taken.ALREADY
    assert ledger.sign("month", "2026-01").status is Taken.DONE
    assert any("incomplete" in one for one in ledger.closing("day", "2026-02-01").obstacles)


def test_a_month_that_goes_on_is_told_up_to_now(ledger: Ledger) -> None:
    opened(ledger)
    ledger.add("fuelling ticket", "2026-01-01", tank="palm", paper="T", observed="5 m3", standard="5 m3")
    ledger.end_of("palm", "2026-01-01", level(395.0))
    ledger.until("2026-01-02T10:00:00Z")
    ledger.read_at("palm", ledger.ms - 2000, level(394.9))
    told = ledger.look("month", "2026-01")
    assert not told["over"]
    palm = ledger.tank("month", "2026-01")
    assert [day["period"] for day in palm["days"]] == ["2026-01-01", "2026-01-02"]
    assert palm["whole"]["variance_gross_m3"] == pytest.approx(-0.1, abs=2e-4)
    assert ledger.tank("day", "2026-01-03")["whole"]["physical_why"] == "this day is still to come"


@pytest.mark.parametrize("name", ["2026-13", "2026-1", "january", "2026-02-30"])
def test_a_period_that_is_none_is_refused(ledger: Ledger, name: str) -> None:
    with pytest.raises(CallError, match="write it as"):
        ledger.look("month", name)


def test_a_month_as_csv_read_again_gives_the_same_sums(ledger: Ledger) -> None:
    month(ledger)
    answer = ledger.look("month", "2026-01")
    rows = list(csv.DictReader(io.StringIO(book_csv(answer))))
    palm = [row for row in rows if row["account"] == "palm"]
    days, whole = palm[:-1], palm[-1]
    assert len(days) == 31
    for name in ("receipts", "issues", "transfers", "draws", "adjustments", "variance"):
        for side in ("gross", "standard"):
            column = f"{name}_{side}_m3"
            assert round(math.fsum(float(row[column]) for row in days), 4) == float(whole[column])
    for before, after in itertools.pairwise(days):
        assert after["opening_gross_m3"] == before["physical_gross_m3"]


def over_the_boundary(ledger: Ledger, tank: str, day: str, before_m3: float, after_m3: float) -> None:
    """What the record book tells of a receipt from half an hour before a day's end until an hour after it."""
    boundary = Days("Etc/UTC", 0).on(day).end_ms
    moved, start_ms, end_ms = after_m3 - before_m3, boundary - 1_800_000, boundary + 3_600_000
    told = {
        "tank": tank, "kind": "receipt", "start": iso_ms(start_ms), "end": iso_ms(end_ms),
        "level_start_m": level(before_m3), "level_end_m": level(after_m3), "gov_m3": moved, "gsv_m3": moved,
        "ordered": "", "pair": "", "gsv_u95_m3": 0.4, "gov_u95_m3": 0.4, "tov_m3": moved, "tov_u95_m3": 0.4,
        "number": 1, "stage": "final", "start_u95_s": 10.0, "end_u95_s": 10.0, "mean_m3_per_h": 24.0,
        "peak_m3_per_h": 25.0, "blind_s": 0.0, "faults": "", "rough": "", "change": "final", "revision": 1,
        "amends": None, "start_ms": start_ms, "end_ms": end_ms,
    }  # fmt: skip
    ledger.seq += 1
    ledger.book.commit([Entry("movement", end_ms, ledger.seq, told)], {})


def test_a_delivery_over_the_boundary_is_split_by_the_readings(ledger: Ledger) -> None:
    opened(ledger)
    ledger.add("delivery note", "2026-01-01", tank="palm", paper="D1", observed="36 m3", standard="36 m3")
    ledger.end_of("palm", "2026-01-01", level(412.0))
    ledger.end_of("palm", "2026-01-02", level(436.0))
    over_the_boundary(ledger, "palm", "2026-01-01", 400.0, 436.0)
    ledger.until("2026-01-03T00:00:00Z")
    first, second = (ledger.tank("day", f"2026-01-0{n}")["whole"] for n in (1, 2))
    assert first["receipts_gross_m3"] == pytest.approx(12.0, abs=0.001)
    assert first["receipts_gross_m3"] + second["receipts_gross_m3"] == pytest.approx(36.0, abs=1e-9)
    assert first["variance_gross_m3"] == pytest.approx(0.0, abs=0.001)
    assert second["variance_gross_m3"] == pytest.approx(0.0, abs=0.001)


ZONES = [
    ("Europe/Berlin", "06:00"),
    ("America/New_York", "00:00"),
    ("Etc/UTC", "23:30"),
    ("Australia/Lord_Howe", "02:00"),
]


@settings(max_examples=8, suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow])
@given(st.data())
def test_every_opening_is_the_closing_before_over_restarts_closes_dst_and_other_zones(
    tmp_path_factory: pytest.TempPathFactory, data: st.DataObject
) -> None:
    """Days of 23 to 25 h around a change of the clocks; the site's zone may change half way, as may its day's start."""
    zones = st.sampled_from(ZONES)
    zone, starts = data.draw(zones)
    text = site_text(zone=zone, day_starts=starts, more=RULE)
    first = date.fromisoformat(data.draw(st.sampled_from(["2026-03-25", "2026-10-22", "2026-03-05", "2026-04-01"])))
    ledger = Ledger(tmp_path_factory.mktemp("book"), text, f"{first}T12:00:00Z")
    days = [(first + timedelta(days=n)).isoformat() for n in range(6)]
    try:
        opened(ledger, days[0])
        for number, day in enumerate(days):
            ledger.ms = Days(ledger.site.zone, ledger.site.day_starts_min).on(day).end_ms - 7_200_000
            for _ in range(data.draw(st.integers(0, 2))):
                kind = data.draw(st.sampled_from(["fuelling ticket", "delivery note", "adjustment"]))
                litres = (
                    data.draw(st.integers(-9000, 9000)) if kind == "adjustment" else data.draw(st.integers(0, 9000))
                )
                fields: dict[str, Any] = {"observed": f"{litres} L", "standard": f"{litres} L", "comment": "spill"}
                tank = data.draw(st.sampled_from(["palm", "ridge"]))
                ledger.do("add_document", kind=kind, day=day, tank=tank, paper=f"P{ledger.seq}", sure=True, **fields)
            for tank in ("palm", "ridge"):
                ledger.end_of(tank, day, data.draw(st.none() | st.floats(4.9, 5.3)), data.draw(st.floats(-5, 40)))
            if data.draw(st.booleans()):
                ledger.restart()
            if number == 4 and data.draw(st.booleans()):
                zone, starts = data.draw(zones)
                ledger.restart(site_text(zone=zone, day_starts=starts, more=RULE))
            ledger.ms = Days(ledger.site.zone, ledger.site.day_starts_min).on(day).end_ms + 1000
            found = ledger.closing("day", day)
            if not found.obstacles and data.draw(st.booleans()):
                assert ledger.do("close_stock", **found.fields).status is Taken.DONE
        for tank in ("palm", "ridge"):
            rows = [ledger.tank("day", day, tank)["whole"] for day in days]
            for before, after in itertools.pairwise(rows):
                for side in ("gross", "standard"):
                    assert after[f"opening_{side}_m3"] == before[f"closing_{side}_m3"]
    finally:
        ledger.close()


def test_a_months_rows_begin_where_the_book_begins(ledger: Ledger) -> None:
    for tank, day in (("palm", "2026-01-10"), ("ridge", "2026-01-12")):
        ledger.until(f"{day}T08:00:00Z")
        ledger.add("opening balance", day, tank=tank, observed="400 m3", standard="400 m3")
    ledger.end_of("palm", "2026-01-13", level(400.0))
    ledger.until("2026-01-14T08:00:00Z")
    product = ledger.product("month", "2026-01")
    assert product["begun"] == "2026-01-10"
    assert [day["period"] for day in product["days"]] == [f"2026-01-{n}" for n in (10, 11, 12, 13, 14)]
    palm, ridge = product["tanks"]
    assert palm["days"][0]["period"] == palm["begun"] == "2026-01-10"
    assert ridge["days"][0]["period"] == ridge["begun"] == "2026-01-12"
    assert all("no opening balance" not in day["missing"] for tank in (palm, ridge) for day in tank["days"])
