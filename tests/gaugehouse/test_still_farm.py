"""Unordered movement on the simulated farm, whose physics is its own: layers in the tank, a probe that lags and sits in
one place, a shell and a gauge mount that move with the sun, 1 mm registers. Day and night must raise nothing."""

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import pytest

from gaugehouse.acts import Act, act_of
from gaugehouse.core import Core, StepResult, Tick
from gaugehouse.site import load_site
from gaugehouse.wiring import core_of
from models.reading import OK, TIMEOUT, Instant, Sample
from simulator.demo import write_demo
from simulator.demo.layout import DEMO
from simulator.farm import Farm
from simulator.layout import Act as Move
from simulator.layout import Planned, Programme

pytestmark = pytest.mark.timeout(900)  # days of a farm: many times as long on a busy machine

START_MS = 1_700_000_000_000  # 22:13 UTC
STEP_S = 10
DAY_S = 86_400


class Watched:
    """Tank North of the demo alone (10 m, 11.8 m of jet, gauge on the roof), watched for movements."""

    def __init__(self, folder: Path, seed: int, at: str) -> None:
        path = write_demo(folder, [1, 2], "10 s")
        head, north, *others = path.read_text(encoding="utf-8").split("\n[[tank]]\n")
        north = f'{north.rstrip()}\n\n[tank.watch]\nunordered_movement = "{at}"\n'
        path.write_text("\n[[tank]]\n".join([head, north, *others]), encoding="utf-8")
        site = load_site(path)
        assert "unordered_movement" in {limit.condition for limit in site.watches["north"].limits}
        self.core: Core = core_of(site)
        tanks = tuple(tank for tank in DEMO.tanks if tank.id == "north")
        units = tuple(unit for unit in DEMO.units if unit.tank == "north")
        self.farm = Farm(seed, START_MS, replace(DEMO, tanks=tanks, units=units, programme=Programme()))
        self.second = self.seq = 0

    def run(self, seconds: int) -> list[tuple[int, str]]:
        """What became of the alarm, by second."""
        seen = []
        for _ in range(seconds // STEP_S):
            self.second += STEP_S
            ms = START_MS + 1000 * self.second
            self.farm.advance(ms)
            samples = []
            for name in self.farm.instruments:
                values = self.farm.wire(name)
                samples.append(Sample(name, ms, TIMEOUT if values is None else OK, values or {}))
            seen += [
                (self.second, t.event.value)
                for t in self._step(samples).transitions
                if t.condition == "unordered_movement"
            ]
        return seen

    def do(self, name: str, **fields: object) -> None:
        answer = self._step([], [act_of(name, {"tank": "north", "by": "Ann", **fields})]).answers[0]
        assert answer.status.value == "done", answer.text

    def _step(self, samples: Sequence[Sample], acts: Sequence[Act] = ()) -> StepResult:
        self.seq += 1
        at = Instant(self.seq, START_MS + 1000 * self.second, 1000 * self.second)
        return self.core.step(Tick(at, samples, acts))


def test_a_day_and_a_night_raise_nothing_at_half_the_usual_threshold(tmp_path: Path) -> None:
    assert Watched(tmp_path, 4, "4 mm").run(DAY_S) == []


@pytest.mark.soak
@pytest.mark.parametrize("seed", [11, 12, 13, 14])
def test_ten_days_and_nights_raise_nothing(tmp_path: Path, seed: int) -> None:
    assert Watched(tmp_path, seed, "8 mm").run(10 * DAY_S) == []


@pytest.mark.parametrize(("litres_per_min", "within_s"), [(100, 600), (20, 3600)])
def test_a_leak_through_an_open_valve_is_seen_in_time(tmp_path: Path, litres_per_min: float, within_s: int) -> None:
    """Rule: 100 L/min within 10 min, 20 L/min within 1 h for a tank of 10 m."""
    watched = Watched(tmp_path, 5, "8 mm")
    assert watched.run(3600) == []
    watched.farm.start(Planned(0, Move.ISSUE, "north", litres_per_min * 0.06, volume_m3=500))
    (seen,) = watched.run(within_s)
    assert seen[1] == "raised"


def test_an_ordered_issue_and_what_settles_after_it_raise_nothing(tmp_path: Path) -> None:
    watched = Watched(tmp_path, 6, "8 mm")
    assert watched.run(1800) == []
    watched.do("plan_movement", kind="issue", quantity_m3=60.0)
    watched.farm.start(Planned(0, Move.ISSUE, "north", 72, volume_m3=60))
    assert watched.run(3600) == []
    assert watched.run(4 * 3600) == []
    assert watched.core.plans.get("north") is None  # it ended by itself
    watched.do("plan_movement", kind="receipt", quantity_m3=30.0)
    watched.farm.start(Planned(0, Move.RECEIVE, "north", 108, volume_m3=30))
    assert watched.run(4 * 3600) == []
    assert watched.core.plans.get("north") is None
