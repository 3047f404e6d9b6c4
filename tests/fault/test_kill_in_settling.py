"""kill -9 while a tank settles: the countdown goes on by the site's clock, and a flow in between begins it anew."""

import signal
import subprocess
import sys
from pathlib import Path

import pytest

from gaugehouse.statusrecords import status_rows
from gaugehouse.stores import open_stores
from gaugehouse.wiring import core_of
from history.chain import Entry
from simulator.layout import Act, Planned
from tests.fault.lives import ROOT
from tests.gaugehouse.test_movements import START_MS
from tests.gaugehouse.test_tank_status import Farm

SEED, STILL_S, MOVES_S, SETTLES_S, DOWN_S = 45, 1800, 1800, 1800, 1800
RECEIPT = Planned(0, Act.RECEIVE, "north", 120, volume_m3=40)


class Booked(Farm):
    """The farm with its record book written as the daemon writes it, state of the last seconds included."""

    def step(self, samples, acts=()):  # type: ignore[no-untyped-def]
        result = super().step(samples, acts)
        if self.stores is not None:
            ms = self.core.at.time_ms
            entries = [Entry(d.kind, ms, self.seq, d.body) for d in result.decisions]
            if entries:
                self.stores.book.commit(entries, self.core.changed_state())
            if self.seq % 6 == 0:
                self.stores.book.save_state(self.core.slow_state())
        return result


def dies(folder: Path) -> None:
    """The first life: it ends itself by SIGKILL, the stores open, while the tank settles."""
    farm = Booked(folder, SEED, "north")
    with open_stores(farm.site) as farm.stores:
        farm.run(STILL_S)
        farm.farm.start(RECEIPT)
        farm.run(MOVES_S + SETTLES_S)
        signal.raise_signal(signal.SIGKILL)


@pytest.mark.timeout(240)
@pytest.mark.parametrize("issued_m3", [0.0, 10.0])
def test_a_countdown_that_outlives_a_kill_goes_on_unless_something_flowed(tmp_path: Path, issued_m3: float) -> None:
    life = f"from pathlib import Path; from {__name__} import dies; dies(Path({str(tmp_path)!r}))"
    assert subprocess.run([sys.executable, "-c", life], cwd=ROOT, check=False).returncode == -signal.SIGKILL
    farm = Booked(tmp_path, SEED, "north")
    farm.run(STILL_S)
    farm.farm.start(RECEIPT)
    farm.run(MOVES_S + SETTLES_S)  # the same farm at the same moment; its core never died
    countdown = farm.core.status.state("north").countdown
    assert countdown is not None
    left_ms = countdown.left_ms
    if issued_m3:
        farm.farm.start(Planned(0, Act.ISSUE, "north", 60, volume_m3=issued_m3))
    elapsed_s = farm.second
    farm.second += DOWN_S
    farm.down_s = DOWN_S
    farm.farm.advance(START_MS + 1000 * farm.second)
    with open_stores(farm.site) as farm.stores:
        assert [row["to"] for row in status_rows(farm.stores.book)] == ["receiving", "settling"]
        farm.core = core_of(farm.site)
        farm.core.restore(farm.stores.book.state())
        farm.run(600)
        assert farm.stores.book.verify().unbroken
    after = farm.core.status.state("north").countdown
    assert after is not None
    assert farm.second - elapsed_s == DOWN_S + 600
    if issued_m3:
        assert after.left_ms >= 2 * 3_600_000 - 600_000  # two hours anew
    else:
        assert left_ms - after.left_ms == pytest.approx((DOWN_S + 600) * 1000, abs=90_000)
        assert after.down_ms == pytest.approx(DOWN_S * 1000, abs=90_000)
