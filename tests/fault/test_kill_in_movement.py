"""kill -9 while liquid moves: what the files hold makes it one movement with its start, and its whole volume."""

import signal
import subprocess
import sys
from pathlib import Path

import pytest

from gaugehouse.movementrecords import movement_rows
from gaugehouse.stores import open_stores
from gaugehouse.wiring import core_of
from simulator.layout import Act, Planned
from tests.fault.lives import ROOT
from tests.gaugehouse.test_movements import START_MS, Kept

SEED, STILL_S, BEFORE_S = 35, 1800, 600
MOVES = Planned(0, Act.ISSUE, "north", 60, volume_m3=40)


def dies(folder: Path) -> None:
    """The first life: it ends itself by SIGKILL, the stores open, in the middle of the movement."""
    kept = Kept(folder, SEED, "north")
    with open_stores(kept.site) as kept.stores:
        kept.run(STILL_S)
        kept.farm.start(MOVES)
        kept.run(BEFORE_S)
        signal.raise_signal(signal.SIGKILL)


@pytest.mark.timeout(240)
def test_a_movement_that_outlives_a_kill_is_one_with_its_start(tmp_path: Path) -> None:
    life = f"from pathlib import Path; from {__name__} import dies; dies(Path({str(tmp_path)!r}))"
    assert subprocess.run([sys.executable, "-c", life], cwd=ROOT, check=False).returncode == -signal.SIGKILL
    kept = Kept(tmp_path, SEED, "north")
    kept.run(STILL_S)
    kept.farm.start(MOVES)
    kept.run(BEFORE_S)  # the same farm at the same moment
    with open_stores(kept.site) as kept.stores:
        (begun,) = movement_rows(kept.stores.book)
        kept.core = core_of(kept.site)
        kept.core.restore(kept.stores.book.state())
        kept.run(2 * 3600)
        (whole,) = movement_rows(kept.stores.book)
        assert kept.stores.book.verify().unbroken
    assert begun["end"] is None
    assert (whole["number"], whole["start"], whole["stage"]) == (begun["number"], begun["start"], "final")
    assert whole["start"] == kept.told[0]["start"]  # what a core that never died told of it
    assert whole["tov_m3"] == pytest.approx(-40, abs=0.4)
    assert START_MS < kept.told[0]["start_ms"]
