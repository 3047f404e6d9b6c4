"""A receipt whose line has a totaliser of its own, on the simulated farm: read at the start, beside tank and papers.

Reference: what the farm's pump really moved; the meter counts that, wrong by a factor on purpose.
"""

import io
import json
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import pytest
from pypdf import PdfReader

from gaugehouse.acts import Act
from gaugehouse.paper import pdf_of
from gaugehouse.receiptpaper import paper_of
from gaugehouse.site import load_site
from gaugehouse.wiring import core_of
from models.reading import OK, TIMEOUT, Sample
from tests.gaugehouse.test_movements import START_MS
from tests.gaugehouse.test_receipts import Receiving, arriving

METER = """
[[instrument]]
id = "totaliser"
name = "Totaliser"
bus = "row"
unit = 90

[[instrument.signal]]
name = "volume"
function = 4
address = 1
counted_from = 1
type = "float64"
unit = "m3"

[[meter]]
id = "hydrant"
name = "Hydrant line"
signal = "totaliser.volume"
kind = "volume"
factor = 1.002
rolls_over_at = "1000 m3"
fills = "ridge"
"""


class Metered(Receiving):
    """One tank, and a totaliser in the line that fills it. reads: what share of the truth its register shows."""

    def __init__(self, folder: Path, reads: float = 1 / 1.002) -> None:
        super().__init__(folder, 41, "ridge")
        path = folder / "site.toml"
        path.write_text(path.read_text(encoding="utf-8") + METER, encoding="utf-8")
        self.site = load_site(path)
        self.core = core_of(self.site)
        self.reads, self.answers = reads, True
        self.begun_m3 = self.farm.truth()["ridge"].volume_m3

    def step(self, samples: Sequence[Sample], acts: Sequence[Act] = ()) -> None:
        if samples:
            came = self.farm.truth()["ridge"].volume_m3 - self.begun_m3
            shown = (990.0 + max(0.0, came) * self.reads) % 1000.0
            ms = START_MS + 1000 * self.second
            told = {"volume": shown} if self.answers else {}
            samples = [*samples, Sample("totaliser", ms, OK if self.answers else TIMEOUT, told)]
        super().step(samples, acts)


def words_of(pdf: bytes) -> str:
    return " ".join(" ".join(page.extract_text() for page in PdfReader(io.BytesIO(pdf)).pages).split())


def pairs(state: dict[str, Any]) -> dict[tuple[str, str], dict[str, Any]]:
    return {(one["of"], one["against"]): one for one in state["reconciliation"]["three"]["pairs"]}


def test_tank_papers_and_meter_stand_beside_each_other_with_each_ones_uncertainty(tmp_path: Path) -> None:
    kept = Metered(tmp_path)
    arriving(kept)
    kept.run(1000)
    running = kept.state()
    assert running["meter"]["observed_m3"] == pytest.approx(running["progress"]["gross_m3"], abs=0.4)
    assert running["meter"]["counts"][0]["opening_m3"] == pytest.approx(990.0, abs=0.01)
    check = kept.do("check_receipt_line", number=1)
    assert check.status == "done", check.text
    (line,) = check.body["line"]
    assert (line["metered"], line["beyond"]) == (True, False)
    kept.run(3000)
    state = kept.state()
    found = state["reconciliation"]["three"]
    assert (found["basis"], found["apart"]) == ("standard", "")
    assert [one["of"] for one in found["figures"]] == ["tank", "paper", "meter"]
    assert all(one["u95_m3"] > 0 for one in found["figures"])
    meter = found["figures"][2]
    assert state["meter"]["observed_m3"] == pytest.approx(30.0, abs=0.2)  # over the register's end, by its factor
    assert meter["m3"] == pytest.approx(pairs(state)["paper", "meter"]["limit_m3"] / 0.005)
    assert pairs(state)["tank", "meter"]["verdict"] != "beyond the limit"
    answer = kept.do("decide_receipt", number=1, decision="accepted")
    assert answer.status == "done"
    record = {**kept.entries[-1], "time_ms": START_MS, "head": f"7:{'ab' * 32}", "simulated": True}
    assert record["reconciliation"]["three"] == found
    told = words_of(pdf_of(paper_of(json.loads(json.dumps(record)), "Demo", "UTC")))
    for needed in ("Tank, papers and line meter, at 15 °C", "Tank less line meter", "Papers less line meter",
                   "Hydrant line: 990 000 L to", "factor 1.0020"):  # fmt: skip
        assert needed in told, needed


def test_a_meter_that_counts_wrongly_stands_apart(tmp_path: Path) -> None:
    kept = Metered(tmp_path, reads=1.05)
    arriving(kept)
    kept.run(4000)
    assert kept.state()["reconciliation"]["three"]["apart"] == "meter"


def test_a_meter_that_was_not_read_at_the_start_is_said_to_be_missing(tmp_path: Path) -> None:
    kept = Metered(tmp_path)
    kept.answers = False
    arriving(kept)
    kept.answers = True
    kept.run(1000)
    state = kept.state()
    assert state["meter"] is None
    assert any("was not read before the flow began" in note for note in state["notes"])
    refused = kept.do("check_receipt_line", number=1)
    assert refused.status == "refused"
    assert "was not read when the receipt was started" in refused.text
    assert kept.do("check_receipt_line", number=1, figure_m3=5.0).status == "done"


def test_a_meter_that_falls_silent_is_told_and_the_register_at_the_start_outlives_a_restart(tmp_path: Path) -> None:
    kept = Metered(tmp_path)
    arriving(kept)
    saved = json.loads(json.dumps(kept.core.receipts.save(False)))
    kept.core.receipts.restore(saved)
    receipt = kept.core.receipts.get(1)
    assert receipt is not None
    assert receipt.meters == {"hydrant": pytest.approx(990.0, abs=0.01)}
    kept.answers = False
    kept.run(600)
    state = kept.state()
    assert state["meter"]["why_not"] == "no reading"
    assert any("is not read now" in note for note in state["notes"])
    assert kept.do("check_receipt_line", number=1).status == "refused"


def test_without_a_totaliser_a_figure_is_asked_for(tmp_path: Path) -> None:
    kept = Receiving(tmp_path, 41, "ridge")
    arriving(kept)
    kept.run(100)
    refused = kept.do("check_receipt_line", number=1)
    assert (refused.status, "no totaliser fills tank ridge" in refused.text) == ("refused", True)
    assert kept.state()["meter"] is None
