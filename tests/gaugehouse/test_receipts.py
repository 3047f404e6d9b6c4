"""Receipts from call to signature, on the simulated farm with its physics of its own.

Reference: what the farm's pumps really moved. The papers are made of that, or wrongly on purpose.
"""

import io
import json
from pathlib import Path
from typing import Any

import pytest
from pypdf import PdfReader

from gaugehouse.act import Answer
from gaugehouse.acts import act_of
from gaugehouse.core import Tick
from gaugehouse.errors import CallError
from gaugehouse.paper import pdf_of
from gaugehouse.receiptjson import receipt_json
from gaugehouse.receiptpaper import paper_of
from gaugehouse.receiptrecords import receipts_of
from gaugehouse.stores import open_stores
from gaugehouse.wiring import core_of
from history.chain import Entry
from models.reading import Instant
from simulator.layout import Act as Move
from simulator.layout import Planned
from tests.gaugehouse.test_movements import START_MS, Kept

PAPER = {
    "observed_m3": 30.0,
    "temperature_degC": 27.0,
    "density_15_kgpm3": 800.0,
    "note": "DN-1",
    "batch": "B-7",
    "certificate": "C-7",
    "vehicle": "truck 3",
}


class Receiving(Kept):
    """Some tanks, and a person who does what one does with a delivery."""

    entries: list[dict[str, Any]]

    def do(self, name: str, **fields: Any) -> Answer:
        self.seq += 1
        ms = START_MS + 1000 * self.second
        at = Instant(self.seq, ms, self.core.at.elapsed_ms)
        result = self.core.step(Tick(at, [], [act_of(name, {"by": "Ann", **fields})]))
        self.entries = [dict(d.body) for d in result.decisions if d.kind == "receipt"]
        if self.stores is not None and result.decisions:
            entries = [Entry(d.kind, ms, self.seq, d.body) for d in result.decisions]
            self.stores.book.commit(entries, self.core.changed_state())
        return result.answers[0]

    def alarm(self, name: str) -> bool:
        view = self.core.alarms.view(name)
        assert view is not None
        return view.active

    def state(self, number: int = 1) -> dict[str, Any]:
        receipt = self.core.receipts.get(number)
        assert receipt is not None
        return receipt_json(self.core, receipt)


def arriving(kept: Receiving, volume_m3: float = 30, *, first_s: int = 900, **paper: Any) -> None:
    """A planned and started receipt whose flow begins."""
    kept.run(first_s)
    planned = kept.do("plan_receipt", tank="ridge", rate_m3_per_s=60 / 3600, **PAPER | paper)
    assert planned.status == "done", planned.text
    started = kept.do("start_receipt", number=1)
    assert started.status == "done", started.text
    kept.farm.start(Planned(0, Move.RECEIVE, "ridge", 60, volume_m3=volume_m3))


def test_a_receipt_from_call_to_signature(tmp_path: Path) -> None:
    kept = Receiving(tmp_path, 41, "ridge")
    kept.run(900)
    planned = kept.do("plan_receipt", tank="ridge", rate_m3_per_s=60 / 3600, **PAPER)
    assert planned.status == "done", planned.text
    assert planned.body["forecast"]["fits"] == "fits"
    assert planned.body["forecast"]["lasts_s"] == pytest.approx(1800, rel=0.01)
    before = kept.farm.truth()["ridge"]
    assert kept.do("start_receipt", number=1).status == "done"
    plan = kept.core.plans.get("ridge")
    assert plan is not None
    assert plan.receipt == 1
    kept.run(120)
    assert kept.state()["phase"] == "awaits flow"
    kept.farm.start(Planned(0, Move.RECEIVE, "ridge", 60, volume_m3=30))
    kept.run(900)
    half = kept.state()
    assert half["phase"] == "receiving"
    assert half["prompt"]["state"] in ("waits", "due")
    assert half["progress"]["rate_off_frac"] == pytest.approx(0, abs=0.1)
    truth = kept.farm.truth()["ridge"].standard_m3 - before.standard_m3
    assert half["progress"]["standard_m3"] == pytest.approx(truth, abs=half["progress"]["standard_u95_m3"] + 0.2)
    refused = kept.do("decide_receipt", number=1, decision="accepted")
    assert refused.status == "refused"
    assert "not calm" in refused.text
    kept.run(3000)
    whole = kept.state()
    assert whole["phase"] == "calm"
    moved = whole["reconciliation"]["moved"]
    truth = kept.farm.truth()["ridge"].standard_m3 - before.standard_m3
    assert moved["gsv_m3"] == pytest.approx(truth, abs=moved["gsv_u95_m3"])
    assert whole["prompt"]["missed"] == 1  # nobody held the line against the tank after 15 to 20 minutes
    answer = kept.do("decide_receipt", number=1, decision="accepted")
    assert answer.status == "done", answer.text
    (entry,) = kept.entries
    assert (entry["event"], entry["decision"], entry["decided_by"]) == ("decided", "accepted", "Ann")
    assert entry["checks"][0]["found"] == "not done"
    assert kept.core.plans.get("ridge") is None
    assert kept.do("decide_receipt", number=1, decision="accepted").status == "unknown"


def test_the_delivery_note_is_made_of_the_papers_by_a_person_and_once(tmp_path: Path) -> None:
    kept = Receiving(tmp_path, 41, "ridge")
    arriving(kept, 5, observed_m3=5.2)
    kept.run(1200)
    assert kept.do("document_receipt", number=1).status == "unknown"
    assert kept.do("decide_receipt", number=1, decision="accepted with protest", comment="200 L short").status == "done"
    assert list(kept.core.documents.all()) == []
    saved = kept.core.receipts.save(False)
    kept.core.receipts.restore(json.loads(json.dumps(saved)))
    made = kept.do("document_receipt", number=1, by="Bo", sure=True)
    assert made.status == "done", made.text
    (note,) = kept.core.documents.all()
    assert (note.kind.value, note.tank, note.paper, note.by) == ("delivery note", "ridge", "DN-1", "Bo")
    assert (note.observed_m3, note.temperature_degC) == (5.2, 27.0)  # the paper's, not the tank's 5.0
    assert (note.details["batch"], note.details["certificate"]) == ("B-7", "C-7")
    assert (kept.entries[-1]["event"], kept.entries[-1]["document"]) == ("documented", note.number)
    assert kept.do("document_receipt", number=1).status == "unknown"


def test_a_line_that_says_more_than_the_tank_gains_is_an_alarm_until_it_agrees(tmp_path: Path) -> None:
    kept = Receiving(tmp_path, 41, "ridge")
    arriving(kept, 20)
    kept.run(900)
    gained = kept.state()["progress"]["gross_m3"]
    kept.do("check_receipt_line", number=1, figure_m3=gained + 2)
    kept.run(20)
    assert kept.alarm("ridge.receipt_divergence")
    kept.do("check_receipt_line", number=1, figure_m3=kept.state()["progress"]["gross_m3"] + 0.05)
    kept.run(20)
    assert not kept.alarm("ridge.receipt_divergence")
    kept.do("check_receipt_line", number=1, figure_m3=1.0)
    kept.run(20)
    assert kept.alarm("ridge.receipt_divergence")
    kept.run(1800)
    kept.do("decide_receipt", number=1, decision="rejected", comment="line and tank never agreed")
    kept.run(20)
    assert not kept.alarm("ridge.receipt_divergence")
    wrong = kept.do("check_receipt_line", number=1, figure_m3=1.0)
    assert wrong.status == "unknown"


def test_what_does_not_fit_or_comes_twice_is_refused_with_the_reason(tmp_path: Path) -> None:
    kept = Receiving(tmp_path, 41, "ridge")
    kept.run(300)
    rate = 60 / 3600
    large = kept.do("plan_receipt", tank="ridge", rate_m3_per_s=rate, **PAPER | {"observed_m3": 400.0})
    assert large.body["forecast"]["fits"] == "does not fit"
    refused = kept.do("start_receipt", number=1)
    assert (refused.status, "do not fit" in refused.text) == ("refused", True)
    assert kept.do("plan_receipt", tank="ridge", product="avgas", **PAPER).status == "refused"
    kept.do("plan_receipt", tank="ridge", rate_m3_per_s=rate, **PAPER | {"note": "DN-2"})
    kept.do("plan_receipt", tank="ridge", rate_m3_per_s=rate, **PAPER | {"note": "DN-3"})
    assert kept.do("start_receipt", number=2).status == "done"
    twice = kept.do("start_receipt", number=3)
    assert (twice.status, "has a plan by Ann already" in twice.text) == ("refused", True)
    assert kept.do("decide_receipt", number=3, decision="accepted").status == "refused"
    assert kept.do("decide_receipt", number=3, decision="rejected", comment="water in the sample").status == "done"
    assert kept.do("call_off_receipt", number=2, reason="sender's pump broke").status == "done"
    assert kept.core.plans.get("ridge") is None
    assert kept.do("check_receipt_line", number=1, figure_m3=1.0).status == "refused"
    with pytest.raises(CallError, match="write a number"):
        act_of("check_receipt_line", {"number": 1, "by": "Ann", "figure_m3": "much"})
    with pytest.raises(CallError, match="quantity is missing"):
        act_of("plan_receipt", {"tank": "ridge", "by": "Ann"})


def test_one_that_flowed_already_is_counted_from_its_own_start(tmp_path: Path) -> None:
    kept = Receiving(tmp_path, 41, "ridge")
    kept.run(900)
    before = kept.farm.truth()["ridge"].standard_m3
    kept.farm.start(Planned(0, Move.RECEIVE, "ridge", 60, volume_m3=10))
    kept.run(300)
    kept.do("plan_receipt", tank="ridge", rate_m3_per_s=60 / 3600, **PAPER | {"observed_m3": 10.0})
    started = kept.do("start_receipt", number=1)
    assert "counted from the start of that flow" in started.body["start_note"]
    kept.run(1500)
    found = kept.state()
    moved = found["reconciliation"]["moved"]
    assert moved["gsv_m3"] == pytest.approx(kept.farm.truth()["ridge"].standard_m3 - before, abs=moved["gsv_u95_m3"])


def test_a_lost_level_is_told_and_a_decision_without_the_tank_needs_its_reason(tmp_path: Path) -> None:
    kept = Receiving(tmp_path, 41, "ridge")
    arriving(kept, 10)
    kept.run(400)
    kept.silent.add(kept.site.tank("ridge").instrument)
    kept.run(600)
    lost = kept.state()
    assert (lost["phase"], lost["progress"]) == ("not seen", None)
    blind = kept.do("check_receipt_line", number=1, figure_m3=8.0)
    assert blind.body["line"][0]["tank_m3"] is None
    refused = kept.do("decide_receipt", number=1, decision="accepted")
    assert "cannot be trusted" in refused.text
    assert kept.do("decide_receipt", number=1, decision="accepted", without_tank=True).status == "refused"
    done = kept.do("decide_receipt", number=1, decision="accepted", without_tank=True, comment="loop fault; meter only")
    assert (done.status, done.body["reconciliation"]) == ("done", None)


def test_a_daemon_that_dies_in_mid_receipt_knows_it_afterwards(tmp_path: Path) -> None:
    kept = Receiving(tmp_path, 41, "ridge")
    with open_stores(kept.site) as kept.stores:
        arriving(kept, 15)
        kept.run(600)
        kept.do("check_receipt_line", number=1, figure_m3=kept.state()["progress"]["gross_m3"] + 3)
        kept.run(20)
        before = kept.state()
    with open_stores(kept.site) as kept.stores:  # nothing but what the files hold
        kept.core = core_of(kept.site)
        kept.core.restore(kept.stores.book.state())
        kept.run(60)
        after = kept.state()
        for name in ("stage", "paper", "opening", "begun", "line", "started_by", "rate_m3_per_h"):
            assert after[name] == before[name], name
        assert after["phase"] == "receiving"
        assert kept.alarm("ridge.receipt_divergence")
        kept.run(1800)
        assert kept.do("decide_receipt", number=1, decision="accepted").status == "done"
        (record,) = receipts_of(kept.stores.book)
        assert kept.stores.book.verify().unbroken
    assert (record["number"], record["decision"], record["document"]) == (1, "accepted", None)
    assert record["reconciliation"]["moved"]["tov_m3"] == pytest.approx(15, abs=0.5)
    text = " ".join(" ".join(page.extract_text() for page in PdfReader(io.BytesIO(printed(record))).pages).split())
    for words in ("Receipt record", "RC-1", "API MPMS 11.1-2004", "15 °C", "DN-1", "not done", record["head"][:20]):
        assert words in text, words
    assert printed(record) == printed(record)


def printed(record: dict[str, Any]) -> bytes:
    return pdf_of(paper_of(record, "Demo farm", "Etc/UTC"))
