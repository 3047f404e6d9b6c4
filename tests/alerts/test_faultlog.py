"""What stood around a fault: level, noise, movement and blinded alarms.

Which limits a current outside of the measuring range takes away follows from NE 43 as this house applies it
(docs/maintainers.md): below 3.8 mA and from 21 mA on the level is Bad; between 20.5 and 21 mA the high side is judged.
"""

import json
import random
from collections.abc import Mapping

import pytest

from alerts.blinding import BLINDS, blinded
from alerts.faultlog import Case, FaultLog
from alerts.faults import NE107, FaultTracker
from alerts.faulttrace import FaultTraces
from alerts.heard import Heard
from alerts.sheet import default_limit
from alerts.spec import Limit, LoopFacts, TankAlarms
from models.reading import Sample
from tests.alerts.timelines import instant, loop, sample

LIMITS = tuple(
    default_limit(c, at) for c, at in (("critical_high", 11.5), ("high_high", 11.0), ("high", 10.0), ("low", 1.0))
)
TANKS = [
    TankAlarms("T1", "L1", (*LIMITS, default_limit("rise_fast", 0.01, "m/s"))),
    TankAlarms("T2", "L2", LIMITS[1:2]),
]
HIGHS = ("T1.critical_high", "T1.high_high", "T1.high")


@pytest.mark.parametrize(
    ("fault_class", "expected"),
    [
        ("fail_low", (*HIGHS, "T1.low", "T1.rise_fast")),
        ("fail_high", (*HIGHS, "T1.low", "T1.rise_fast")),
        ("gap_low", (*HIGHS, "T1.low", "T1.rise_fast")),
        ("gap_high", ("T1.low", "T1.rise_fast")),
        ("no_answer", (*HIGHS, "T1.low", "T1.rise_fast")),
        ("wrong_reply", (*HIGHS, "T1.low", "T1.rise_fast")),
        ("frozen", (*HIGHS, "T1.low", "T1.rise_fast")),
        ("saturated", ("T1.rise_fast",)),
        ("noisy", ()),
        ("rate_impossible", ()),
    ],
)
def test_a_fault_blinds_the_alarms_that_its_level_can_no_more_raise(
    fault_class: str, expected: tuple[str, ...]
) -> None:
    assert fault_class in NE107
    assert blinded(fault_class, TANKS[:1]) == expected


def test_what_is_watched_by_the_level_is_blinded_with_it() -> None:
    names = ("response_short", "unordered_movement", "level_deviation", "wrong_tank", "water_high")
    tank = TankAlarms("T1", "L1", tuple(Limit(name, 1.0, 0.0, 0, 0, 2) for name in names))
    by_the_level = ("T1.response_short", "T1.unordered_movement", "T1.level_deviation")
    assert blinded("no_answer", [tank]) == blinded("gap_high", [tank]) == by_the_level
    assert blinded("saturated", [tank]) == ("T1.response_short",)


def test_the_table_of_blindness_speaks_of_known_faults_only() -> None:
    assert set(BLINDS) <= set(NE107)


class Farm:
    def __init__(self, **facts: object) -> None:
        self.loop: LoopFacts = loop(m_per_unit={"current": 0.75}, **facts)
        self.tracker = FaultTracker([self.loop])
        self.traces = FaultTraces([self.loop])
        self.log = FaultLog([self.loop], TANKS)
        self.told: list[tuple[str, Case]] = []
        self.around: Mapping[str, float] = {"supply": 24.1}

    def hear(self, second: float, one: Sample, level_m: float | None, movement: str = "filling") -> None:
        now = instant(second)
        self.traces.hear(Heard(now.elapsed_ms, one, one.values.get("current"), level_m, movement))
        changes = self.tracker.step(now, [one])
        cases = self.log.tell(changes, self.traces, self.around)
        self.told += [(change.change, case) for change, case in zip(changes, cases, strict=True)]


def test_a_case_tells_the_last_level_current_and_movement_before_and_the_noise_of_two_minutes() -> None:
    farm, rng = Farm(), random.Random(3)
    for second in range(300):
        current = 12 + rng.gauss(0, 0.02)
        farm.hear(second, sample(current, second), 6.0 + second / 1000)
    for second in range(300, 306):
        farm.hear(second, sample(3.5, second), None, "filling")
    ((change, case),) = farm.told
    assert change == "declared"
    assert case.before_mA == current
    assert case.level_m == 6.299
    assert case.movement == "filling"
    assert case.around == {"supply": 24.1}
    assert case.blinded == (*HIGHS, "T1.low", "T1.rise_fast")
    # computed: 0.02 mA of noise at 0.75 m/mA is 15 mm; from 119 differences good to about 12 % (one sigma)
    assert case.noise_before_m == pytest.approx(0.015, rel=0.4)


def test_a_loop_that_nobody_watched_before_has_a_case_without_figures() -> None:
    farm = Farm()
    for second in range(6):
        farm.hear(second, sample(3.5, second), None, "")
    ((_, case),) = farm.told
    assert case == Case(blinded=(*HIGHS, "T1.low", "T1.rise_fast"), around={"supply": 24.1})


def test_a_fault_that_worsens_blinds_more_and_its_end_tells_all() -> None:
    farm = Farm()
    farm.hear(0, sample(19.0, 0), 11.2)
    for second in range(1, 8):
        farm.hear(second, sample(20.7, second), 12.0)
    for second in range(8, 14):
        farm.hear(second, sample(21.3, second), None)
    for second in range(14, 20):
        farm.hear(second, sample(19.0, second), 11.2)
    assert [change for change, _ in farm.told] == ["declared", "worsened", "ended"]
    assert [len(case.blinded) for _, case in farm.told] == [2, 5, 5]
    assert farm.told[2][1].level_m == 11.2
    assert farm.log.save(False) == {}


def test_a_case_outlives_a_restart_in_mid_fault() -> None:
    farm = Farm()
    farm.hear(0, sample(12.0, 0), 6.0)
    for second in range(1, 8):
        farm.hear(second, sample(3.5, second), None)
    kept = json.loads(json.dumps(farm.log.save(True)))
    assert farm.log.save(True) == {}
    again = Farm()
    again.log.restore(kept | {"L9": {"1": {}}})
    again.tracker.restore(json.loads(json.dumps(farm.tracker.save())))
    for second in range(100, 106):
        again.hear(second, sample(12.0, second), 6.0)
    ((change, case),) = again.told
    assert (change, case) == ("ended", farm.told[0][1])
    assert again.log.save(True) == {"L1": None}
