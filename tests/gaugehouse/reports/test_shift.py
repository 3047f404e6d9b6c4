"""A shift on the simulated farm told by its reports: a delivery with its decision, alarms, a fault, an order, a status.

Reference: the core's own movement, and what the farm's pumps really moved.
"""

from pathlib import Path
from typing import Any

import pytest

from gaugehouse.core import StepResult, Tick
from gaugehouse.days import iso_ms
from gaugehouse.reports.catalogue import make
from gaugehouse.reports.model import Report, report_json
from gaugehouse.reports.papers import report_pdf
from gaugehouse.reports.periods import Asked
from gaugehouse.reports.sources import Sources, state_of
from gaugehouse.stores import Stores, open_stores
from simulator.layout import Act as Move
from simulator.layout import Planned
from tests.gaugehouse.test_movements import START_MS
from tests.gaugehouse.test_receipts import PAPER, Receiving


def rows_of(report: Report, name: str) -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = next(one for one in report_json(report)["tables"] if one["name"] == name)["rows"]
    return found


def made(kept: Receiving, stores: Stores, kind: str, now_ms: int, **asked: str) -> Report:
    sources = Sources(kept.site, stores.readings, stores.book, state_of(kept.core, now_ms), now_ms, "Ann")
    return make(kind, sources, Asked(**asked))


@pytest.fixture(scope="module")
def shift(tmp_path_factory: pytest.TempPathFactory) -> Any:
    """Receipt of 30 m3 into ridge, decided; then a second one planned, an alarm shelved, a loop that is silent."""
    folder: Path = tmp_path_factory.mktemp("shift")
    kept = Receiving(folder, 41, "ridge")
    with open_stores(kept.site) as stores:
        kept.stores = stores
        step = kept.core.step

        def keeping(tick: Tick) -> StepResult:
            result = step(tick)
            stores.readings.append(result.readings)
            return result

        kept.core.step = keeping  # type: ignore[method-assign]
        kept.run(900)
        assert kept.do("plan_receipt", tank="ridge", rate_m3_per_s=60 / 3600, **PAPER).status == "done"
        assert kept.do("start_receipt", number=1).status == "done"
        before = kept.farm.truth()["ridge"].standard_m3
        kept.farm.start(Planned(0, Move.RECEIVE, "ridge", 60, volume_m3=30))
        kept.run(4200)
        gained = kept.farm.truth()["ridge"].standard_m3 - before
        decided = kept.do("decide_receipt", number=1, decision="accepted with protest", comment="=late")
        assert decided.status == "done", decided.text
        assert kept.do("plan_receipt", tank="ridge", **PAPER | {"note": "DN-2"}).status == "done"
        assert kept.do("shelve", alarm="ridge.high", reason="crane at work", span_s=3600.0).status == "done"
        kept.silent.add("LI-ridge" if "LI-ridge" in kept.farm.instruments else next(iter(kept.farm.instruments)))
        kept.run(120)
        yield kept, stores, START_MS + 1000 * kept.second + 1, gained


def test_a_shift_s_handover_tells_what_stands_moved_was_decided_and_is_open(shift: Any) -> None:
    kept, stores, now_ms, gained = shift
    report = made(kept, stores, "handover", now_ms)
    (movement,) = rows_of(report, "movements")
    assert (movement["tank"], movement["kind"], movement["stage"]) == ("ridge", "receipt", "final")
    assert movement["gsv_m3"] == pytest.approx(gained, abs=movement["gsv_u95_m3"])
    open_one, decided = rows_of(report, "receipts")
    assert (open_one["note"], open_one["stage"], open_one["paper_m3"]) == ("DN-2", "planned", 30.0)
    assert "not done: " in open_one["told"]
    assert (decided["stage"], decided["by"], decided["note"]) == ("accepted with protest", "Ann", "DN-1")
    assert decided["difference_m3"] == pytest.approx(decided["tank_m3"] - decided["paper_m3"], abs=1e-4)
    assert "=late" in decided["told"]
    stands = {(row["source"], row["state"]): row for row in rows_of(report, "alarms")}
    shelved = stands["ridge", "shelved"]
    assert (shelved["by"], shelved["comment"]) == ("Ann", "crane at work")
    assert shelved["until"] is not None
    assert any(state == "not acknowledged" for _, state in stands)
    (fault,) = rows_of(report, "faults")
    assert (fault["class"], fault["end"], fault["flag"]) == ("no answer", None, "goes on")
    assert "DN-2" in str(report_json(report))
    assert report_pdf(report).startswith(b"%PDF")


def test_what_stood_at_the_end_of_a_past_shift_comes_from_the_record_book(shift: Any) -> None:
    kept, stores, now_ms, _ = shift
    now = rows_of(made(kept, stores, "handover", now_ms), "alarms")
    past = rows_of(
        made(kept, stores, "handover", now_ms + 10 * 3_600_000, start=iso_ms(START_MS), end=iso_ms(now_ms)), "alarms"
    )
    told = ("source", "state", "priority", "name", "until")
    assert [[row[name] for name in told] for row in past] == [[row[name] for name in told] for row in now]


def test_the_list_of_movements_sums_what_the_core_found(shift: Any) -> None:
    kept, stores, now_ms, _ = shift
    report = made(kept, stores, "movements", now_ms, start=iso_ms(START_MS), end=iso_ms(now_ms))
    (row,), (together,) = rows_of(report, "movements"), rows_of(report, "together")
    assert report.tables[0].sums == {"gov_m3": row["gov_m3"], "gsv_m3": row["gsv_m3"]}
    assert (together["tank"], together["count"], together["gsv_m3"]) == ("ridge", 1.0, row["gsv_m3"])
