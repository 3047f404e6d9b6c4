"""kill -9 in the middle of a delivery: its papers, its opening gauge and its checks are there, and it ends as one."""

import signal
import subprocess
import sys
from pathlib import Path

import pytest

from gaugehouse.receiptrecords import receipts_of
from gaugehouse.stores import open_stores
from gaugehouse.wiring import core_of
from simulator.layout import Act, Planned
from tests.fault.lives import ROOT
from tests.gaugehouse.test_receipts import PAPER, Receiving

SEED, STILL_S, BEFORE_S = 41, 900, 600
MOVES = Planned(0, Act.RECEIVE, "ridge", 60, volume_m3=15)


def lives(kept: Receiving, *, acts: bool) -> None:
    """The same farm to the same moment; acts: with the person who receives."""
    kept.run(STILL_S)
    if acts:
        kept.do("plan_receipt", tank="ridge", rate_m3_per_s=60 / 3600, **PAPER | {"observed_m3": 15.0})
        kept.do("note_receipt_check", number=1, what="tank dipped", found="9404 mm")
        kept.do("start_receipt", number=1)
    kept.farm.start(MOVES)
    kept.run(BEFORE_S)


def dies(folder: Path) -> None:
    """The first life: it ends itself by SIGKILL, the stores open, in the middle of the delivery."""
    kept = Receiving(folder, SEED, "ridge")
    with open_stores(kept.site) as kept.stores:
        lives(kept, acts=True)
        kept.do("check_receipt_line", number=1, figure_m3=8.0)
        signal.raise_signal(signal.SIGKILL)


@pytest.mark.timeout(240)
def test_a_receipt_that_outlives_a_kill_is_one_with_its_opening(tmp_path: Path) -> None:
    life = f"from pathlib import Path; from {__name__} import dies; dies(Path({str(tmp_path)!r}))"
    assert subprocess.run([sys.executable, "-c", life], cwd=ROOT, check=False).returncode == -signal.SIGKILL
    kept = Receiving(tmp_path, SEED, "ridge")
    lives(kept, acts=False)
    opening_m3 = 472.873
    with open_stores(kept.site) as kept.stores:
        kept.core = core_of(kept.site)
        kept.core.restore(kept.stores.book.state())
        told = kept.state()
        assert told["opening"]["tov_m3"] == pytest.approx(opening_m3, abs=0.2)
        assert [one["figure_m3"] for one in told["line"]] == [8.0]
        assert [one["found"] for one in told["checks"] if one["done"]] == ["9404 mm"]
        kept.run(2400)
        assert kept.state()["phase"] == "calm"
        assert kept.do("decide_receipt", number=1, decision="accepted").status == "done"
        (record,) = receipts_of(kept.stores.book)
        assert kept.stores.book.verify().unbroken
    assert record["reconciliation"]["moved"]["tov_m3"] == pytest.approx(15, abs=0.5)
    assert record["decided_by"] == "Ann"
