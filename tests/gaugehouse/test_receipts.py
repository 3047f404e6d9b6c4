"""Receipts from call to signature, on the simulated farm with its physics of its own.

Reference: what the farm's pumps really moved. The papers are made of that, or wrongly on purpose.
"""

from pathlib import Path
from typing import Any

import pytest

from gaugehouse.act import Answer
from gaugehouse.acts import act_of
from gaugehouse.core import Tick
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

    def state(self, number: int = 1) -> dict[str, Any]:
        from gaugehouse.receiptjson import receipt_json

        receipt = self.core.receipts.get(number)
        assert receipt is not None
        return receipt_json(self.core, receipt)


def test_a_receipt_from_call_to_signature(tmp_path: Path) -> None:
    kept = Receiving(tmp_path, 41, "ridge")
    kept.run(1800)
    planned = kept.do("plan_receipt", tank="ridge", rate_m3_per_s=60 / 3600, **PAPER)
    assert planned.status == "done", planned.text
    found = planned.body["forecast"]
    assert found["fits"] == "fits"
    assert found["lasts_s"] == pytest.approx(1800, rel=0.01)
    before = kept.farm.truth()["ridge"]
    assert kept.do("start_receipt", number=1).status == "done"
    assert kept.core.plans.get("ridge").receipt == 1
    kept.run(120)
    assert kept.state()["phase"] == "awaits flow"
    kept.farm.start(Planned(0, Move.RECEIVE, "ridge", 60, volume_m3=30))
    kept.run(900)
    half = kept.state()
    assert half["phase"] == "receiving"
    assert half["prompt"]["state"] in ("waits", "due")
    assert half["progress"]["rate_off_frac"] == pytest.approx(0, abs=0.1)
    assert kept.do("check_receipt_line", number=1, figure_m3=15.0).status == "done"
    refused = kept.do("decide_receipt", number=1, decision="accepted")
    assert refused.status == "refused"
    assert "not calm" in refused.text
    kept.run(1800)
    whole = kept.state()
    assert whole["phase"] == "calm"
    after = kept.farm.truth()["ridge"]
    moved_m3 = after.standard_m3 - before.standard_m3
    assert whole["reconciliation"]["moved"]["gsv_m3"] == pytest.approx(
        moved_m3, abs=whole["reconciliation"]["moved"]["gsv_u95_m3"]
    )
    answer = kept.do("decide_receipt", number=1, decision="accepted")
    assert answer.status == "done", answer.text
