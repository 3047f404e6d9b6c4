"""The past of the demo: it verifies, adds up, and every page of the stock has something to show."""

import json
from collections.abc import Iterator
from itertools import pairwise
from pathlib import Path
from typing import Any, NamedTuple

import pytest

from gaugehouse.bookview import book_json
from gaugehouse.demopast import PERIOD, Past, past_farm
from gaugehouse.leakacts import leak_tests
from gaugehouse.receiptrecords import receipts_of
from gaugehouse.site import Site, load_site
from gaugehouse.stores import Stores, open_stores
from inventory.status import S
from simulator.demo import write_demo
from simulator.demo.layout import PROGRAMME
from simulator.demo.past import DAYS, day_before
from simulator.weather import DAY_MS

pytestmark = pytest.mark.timeout(600)  # a past of days takes a busy machine some minutes, before the first test

END_MS = 1_795_003_200_000
"""2026-11-18 16:00 UTC: inside of a month, in the afternoon."""


class Made(NamedTuple):
    site: Site
    stores: Stores
    past: Past

    def book(self, kind: str, name: str) -> dict[str, Any]:
        return book_json(self.site, self.stores.readings, self.stores.book, END_MS, kind, name)

    def kinds(self, kind: str) -> list[dict[str, Any]]:
        return [dict(entry.body) for entry in self.stores.book.entries([kind])]


def make(folder: Path, days: int = DAYS, seed: int = 1) -> Iterator[Made]:
    site = load_site(write_demo(folder, (50_001, 50_002), PERIOD, stock=True))
    with open_stores(site) as stores:
        past = Past(site, stores, past_farm(seed, END_MS, days), END_MS, "test")
        for done in past.run():
            assert 0 < done <= 1
        yield Made(site, stores, past)


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Made]:
    yield from make(tmp_path_factory.mktemp("past"))


def test_nothing_that_its_people_do_is_refused(made: Made) -> None:
    assert [(told.act, told.fields, answer.text) for told, answer in made.past.refused] == []
    assert made.past.acts > 200


def test_the_record_book_is_unbroken(made: Made) -> None:
    assert made.stores.book.verify().unbroken


def test_the_past_ends_where_the_demo_begins_and_leaves_no_hole(made: Made) -> None:
    for tank in made.site.tanks:
        times = [r.time_ms for r in made.stores.readings.read(tank.id, END_MS - DAYS * DAY_MS, END_MS + 1)]
        assert times[-1] == END_MS
        assert max(b - a for a, b in pairwise(times)) <= 180_000
    assert made.past.farm.now_ms == END_MS
    assert made.past.farm.layout.programme is PROGRAMME


def test_the_book_adds_up(made: Made) -> None:
    """Each day: opening + papers = book, physical - book = variance, and a day opens with the closing before it."""
    month = made.book("month", "2026-11")
    for product in month["products"]:
        for tank in product["tanks"]:
            before = None
            for row in tank["days"]:
                if row["opening_standard_m3"] is None or row["period"] < "2026-11-11":
                    continue
                papers = sum(row[f"{name}_standard_m3"] for name in COLUMNS)
                assert row["book_standard_m3"] == pytest.approx(row["opening_standard_m3"] + papers, abs=1e-6)
                if row["physical_standard_m3"] is not None:
                    off = row["physical_standard_m3"] - row["book_standard_m3"]
                    assert row["variance_standard_m3"] == pytest.approx(off, abs=1e-6)
                if before is not None:
                    assert row["opening_standard_m3"] == pytest.approx(before, abs=1e-6)
                before = row["physical_standard_m3"]


COLUMNS = ("receipts", "issues", "transfers", "draws", "adjustments")


def test_papers_come_near_what_the_tanks_say_but_for_what_was_forgotten(made: Made) -> None:
    """One ticket of some 14 m3 was never written: Palm is off by about that on one day, and little else is.

    On the last day North's receipt and an issue of Palm still run: they have no paper yet.
    """
    month = made.book("month", "2026-11")
    jet = next(product for product in month["products"] if product["product"] == "jet")
    north, palm, ridge = (tank for tank in jet["tanks"] if tank["tank"] != "slop")
    assert -16.5 < palm["whole"]["variance_gross_m3"] < -10.0
    assert abs(ridge["whole"]["variance_gross_m3"]) < 1.5
    assert all(
        abs(row["variance_gross_m3"]) < 1.0 for row in north["days"][:-1] if row["variance_gross_m3"] is not None
    )
    assert not any("without a paper: receipt" in remark for remark in jet["remarks"])
    off = {row["period"]: row["variance_gross_m3"] for row in palm["days"] if row["variance_gross_m3"] is not None}
    assert min(off.values()) < -10.0
    assert [day for day, value in off.items() if value < -3.0 and day < max(off)] == [
        min(off, key=lambda day: off[day])
    ]


def test_days_are_closed_but_the_newest_ones(made: Made) -> None:
    closed = [(body["product"], body["name"]) for body in made.kinds("stock_close")]
    assert ("jet", "2026-11-15") in closed
    assert not any(name >= "2026-11-17" for _, name in closed)
    assert len(closed) == len(set(closed))


def test_every_part_of_the_stock_has_something_to_show(made: Made) -> None:
    core, site = made.past.core, made.site
    assert all(made.kinds(kind) for kind in ("document", "dip", "density_sample", "drain_check", "tank_status"))
    assert all(made.kinds(kind) for kind in ("movement", "alarm", "fault", "fault_entry", "plan", "receipt"))
    assert len(leak_tests(made.stores.book)) == 1
    decided = [one for one in receipts_of(made.stores.book) if one.get("decision") == "accepted"]
    assert len(decided) == 1
    assert sorted(one.stage.value for one in core.receipts.all()) == ["planned", "started"]
    assert core.receipts.paper(1) is None
    assert {core.status.state(tank.id).status for tank in site.tanks} >= {S.RECEIVING, S.IN_USE}
    assert [view.id for view in core.alarms.standing() if view.state.value == "shelved"] == ["slop.low"]
    due = core.waterlog.next_due("north", END_MS).day
    assert due < "2026-11-18"
    assert any(dip.tank == "palm" for dip in core.dips.dips("palm"))


def test_the_drifting_gauge_shows_in_its_dips(made: Made) -> None:
    """1.2 mm a day (DRIFT_M_PER_H) between the first dip and the last, within what two dips leave in doubt."""
    offs = [body["difference_m"] for body in made.kinds("dip") if body["tank"] == "palm"]
    assert offs[-1] - offs[0] == pytest.approx(0.0012 * (len(offs) - 1) * 2, abs=0.003)


def test_the_same_seed_makes_the_same_past(tmp_path: Path) -> None:
    def told(folder: Path, seed: int) -> list[str]:
        for one in make(folder, days=1, seed=seed):
            return [json.dumps([e.kind, e.time_ms, dict(e.body)], sort_keys=True) for e in one.stores.book.entries()]
        raise AssertionError

    first = told(tmp_path / "a", 1)
    assert first == told(tmp_path / "b", 1)
    assert first != told(tmp_path / "c", 2)


def test_a_day_of_the_past_is_like_the_demo_s_but_never_the_same() -> None:
    days = [day_before(day, 1).movements for day in range(DAYS)]
    assert len({tuple(p.volume_m3 for p in one) for one in days}) == DAYS
    assert not any("ridge" in (p.tank, p.into) for p in days[-1])
