"""The movement tracker over readings that are made up: a tank of 78.54 m2, a 1 mm register.

Reference: the volumes and times that the readings were made from. That farms with physics of their own agree is in
tests/gaugehouse/test_movements.py and tests/bench/bench_movements.py.
"""

import json
import math
import random
from collections.abc import Callable, Sequence

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from inventory.movement import STAGES, Event, Movement, Stage, Stand
from inventory.movements import Change, MovementTracker
from inventory.pairing import fits, partner

AREA = math.pi * 25
UTC_MS = 1_769_846_400_000


class Tank:
    """A tank whose level is a function of the second; read every `poll` seconds to whole mm after `noise`."""

    def __init__(self, poll: int = 1, noise_m: float = 0.0004, seed: int = 1) -> None:
        self.tracker = MovementTracker("elm", lambda level_m: AREA, 3000 * poll)
        self.poll, self.noise, self.chance = poll, noise_m, random.Random(seed)
        self.second = 0

    def run(
        self, until: int, level_m: Callable[[int], float], ratio: Callable[[int], float | None] = lambda s: 0.99
    ) -> list[Change]:
        seen: list[Change] = []
        while self.second < until:
            self.second += self.poll
            level = round(level_m(self.second) + self.chance.gauss(0, self.noise), 3)
            k = ratio(self.second)
            tov = level * AREA
            gsv = None if k is None else tov * k
            ms = 1000 * self.second
            seen += self.tracker.add(ms, UTC_MS + ms, level, tov, gsv, None if k is None else 20.0, None)
        return seen


def ramp(start: int, end: int, mm_per_min: float, base_m: float = 6.0) -> Callable[[int], float]:
    return lambda s: base_m + mm_per_min / 60_000 * (min(max(s, start), end) - start)


def finals(changes: Sequence[Change]) -> list[Movement]:
    return [change.movement for change in changes if change.event == "final"]


@pytest.mark.parametrize("poll", [1, 5, 10])
@pytest.mark.parametrize("litres_per_min", [1000, 100, 20, -1000, -100, -20])
def test_start_end_and_volume_of_a_movement(litres_per_min: int, poll: int) -> None:
    """Times within max(2 polls, 3 x noise / rate of rise): the house's rule; noise: register and surface."""
    mm_per_min = litres_per_min / AREA
    took = 4800 if abs(litres_per_min) < 50 else 1800
    tank = Tank(poll)
    seen = tank.run(3600 + took + 3000, ramp(3600, 3600 + took, mm_per_min))
    assert [change.event for change in seen] == ["begun", "final"]
    (one,) = finals(seen)
    allowed_s = max(2 * poll, 3 * 0.5 / (abs(mm_per_min) / 60))
    assert one.start_at_ms / 1000 == pytest.approx(3600, abs=allowed_s)
    assert one.end_at_ms is not None
    assert one.end_at_ms / 1000 == pytest.approx(3600 + took, abs=allowed_s)
    assert one.end.tov_m3 - one.start.tov_m3 == pytest.approx(litres_per_min / 1000 * took / 60, abs=0.001 * AREA)
    assert one.sign * litres_per_min > 0
    assert one.start_ms == UTC_MS + one.start_at_ms
    assert abs(one.peak_m3_per_s) * 60_000 == pytest.approx(abs(litres_per_min), rel=0.35)


def test_a_tank_that_breathes_with_the_day_moves_nothing() -> None:
    """10 mm up and down in a day, the probe seeing half of it."""
    day = 2 * math.pi / 86_400
    tank = Tank(10)
    assert (
        tank.run(
            2 * 86_400, lambda s: 6 + 0.010 * math.sin(day * s), lambda s: 0.99 - 0.99 * 0.005 / 6 * math.sin(day * s)
        )
        == []
    )


def test_a_register_that_never_moved_has_told_no_noise() -> None:
    """The probe warms while the level stands on one millimetre: 1.3 mm of the corrected volume in half an hour."""
    tank = Tank(10, 0.0)
    assert tank.run(20_000, lambda s: 12.0, lambda s: 0.99 - 1.2e-7 * s) == []


def test_the_tail_of_a_damped_gauge_is_no_second_movement() -> None:
    """A gauge of 30 s behind 15 m3 in 15 min: it creeps by 6 mm after the flow stood still."""
    tank, lag = Tank(5, 0.0002), 30.0
    tank.tracker = MovementTracker("elm", lambda level_m: AREA, 15_000, 1000 * lag)
    slope = 15 / AREA / 900

    def seen(s: int) -> float:
        behind = [x - lag * (1 - math.exp(-x / lag)) if x > 0 else 0.0 for x in (s - 3600, s - 4500)]
        return 6.0 + slope * (behind[0] - behind[1])

    (one,) = finals(tank.run(9000, seen))
    assert one.start_at_ms == pytest.approx(3_600_000, abs=15_000)
    assert one.end_at_ms == pytest.approx(4_500_000, abs=15_000)
    assert one.end.tov_m3 - one.start.tov_m3 == pytest.approx(15.0, abs=0.0005 * AREA)


def test_a_probe_that_jumps_is_no_movement() -> None:
    tank = Tank(10)
    assert tank.run(40_000, lambda s: 6.0, lambda s: 0.99 if s < 20_000 else 0.985) == []


def test_a_probe_that_is_lost_and_comes_back_is_no_movement() -> None:
    tank = Tank(10)
    assert tank.run(40_000, lambda s: 6.0, lambda s: None if 9_000 < s < 20_000 or s < 300 else 0.99) == []


def test_a_coarse_register_that_flips_is_no_movement() -> None:
    """A register of 0.1 % of 14 m: steps of 14 mm."""
    tank = Tank(1, 0.0)
    assert tank.run(30_000, lambda s: 6.0 if (s // 1700) % 2 else 6.014) == []


def test_a_wave_that_comes_back_is_withdrawn_or_not_seen() -> None:
    tank = Tank(1)
    seen = tank.run(9000, lambda s: 6.01 if 3600 <= s < 3720 else 6.0)
    assert not finals(seen)
    assert tank.tracker.open is None


def test_a_receipt_that_is_followed_by_an_issue_are_two_movements() -> None:
    up, down = ramp(3600, 5400, 12.0), ramp(5400, 7200, -10.0, 0.0)
    seen = finals(Tank(1).run(12_000, lambda s: up(s) + down(s)))
    assert [round(one.end.level_m - one.start.level_m, 2) for one in seen] == [0.36, -0.30]
    assert seen[0].end_at_ms == pytest.approx(5_400_000, abs=60_000)
    assert seen[1].start_at_ms == pytest.approx(5_400_000, abs=60_000)


def test_a_pause_of_a_minute_does_not_cut_a_movement() -> None:
    first, second = ramp(3600, 4500, 12.0), ramp(4560, 5460, 12.0, 0.0)
    seen = Tank(1).run(12_000, lambda s: first(s) + second(s))
    (one,) = finals(seen)
    assert one.end.level_m - one.start.level_m == pytest.approx(0.36, abs=0.001)


def test_a_hole_in_the_readings_is_told_on_the_movement() -> None:
    tank, level = Tank(1), ramp(3600, 7200, 12.0)
    tank.run(4800, level)
    tank.tracker.blind(["no_answer"])
    tank.second = 5100  # five minutes of nothing
    (one,) = finals(tank.run(12_000, level))
    assert one.faults == ["no_answer"]
    assert one.blind_s == pytest.approx(300, abs=60)
    assert not one.unclear
    assert one.end.level_m - one.start.level_m == pytest.approx(0.72, abs=0.001)


def test_what_moved_while_nothing_was_seen_for_long_is_not_clear() -> None:
    tank = Tank(1)
    tank.run(3600, lambda s: 6.0)
    tank.second = 10_800
    (one,) = finals(tank.run(16_000, lambda s: 6.5))
    assert one.kind == "unknown"
    assert one.blind_s == pytest.approx(7200, abs=60)
    assert 3_550_000 <= one.start_at_ms <= 10_830_000
    assert one.end.level_m - one.start.level_m == pytest.approx(0.5, abs=0.001)


def test_a_movement_that_ran_before_watching_began_says_so() -> None:
    (one,) = finals(Tank(1).run(9000, ramp(-600, 1800, 12.0)))
    assert one.start_u95_s is None
    assert one.end_at_ms == pytest.approx(1_800_000, abs=10_000)


@given(st.integers(60, 3590), st.integers(0, 3))
@settings(max_examples=15, deadline=None)
def test_a_restart_anywhere_leaves_one_movement_with_its_start(stopped_s: int, away_min: int) -> None:
    """The core's clock stands still while the daemon is away; the movement does not."""
    level = ramp(1800, 3600, 12.0)
    tank = Tank(1)
    tank.run(stopped_s, level)
    saved = json.loads(json.dumps(tank.tracker.save()))
    tracker = MovementTracker("elm", lambda level_m: AREA, 3000)
    tracker.restore(saved)
    seen: list[Change] = []
    for second in range(stopped_s + 60 * away_min + 1, 7200):
        read = round(level(second), 3)
        ms = 1000 * (second - 60 * away_min)
        seen += tracker.add(ms, UTC_MS + 1000 * second, read, read * AREA, read * AREA * 0.99, 20.0, None)
    (one,) = finals(seen)
    # a mean of half a minute to either side, and the time away where the start lies in it
    assert one.start_ms == pytest.approx(UTC_MS + 1_800_000, abs=45_000 + 60_000 * away_min)
    assert one.end.level_m - one.start.level_m == pytest.approx(0.36, abs=0.002)


def test_the_stages_lead_to_an_end_from_wherever_a_movement_is() -> None:
    for stage in (Stage.MOVING, Stage.SETTLING):
        assert {STAGES.get((stage, event)) for event in Event} >= {Stage.FINAL, Stage.WITHDRAWN}
    assert not [pair for pair in STAGES if pair[0] in (Stage.FINAL, Stage.WITHDRAWN)]


def one_of(tank: str, sign: int, start_s: float, moved_m3: float, end_s: float | None = None) -> Movement:
    stand = Stand(6.0, 500.0, 500.0, None, None)
    return Movement(
        tank, 1, sign, round(1000 * start_s), UTC_MS, 10.0, stand, stand._replace(volume_m3=500.0 + sign * moved_m3),
        None if end_s is None else round(1000 * end_s), None, None if end_s is None else 10.0,
        Stage.MOVING if end_s is None else Stage.FINAL,
    )  # fmt: skip


def test_a_transfer_is_two_that_fit_in_time_and_volume() -> None:
    out = one_of("elm", -1, 100, 30, 1900)
    assert fits(out, one_of("ash", 1, 130, 29.5, 1950))
    assert not fits(out, one_of("ash", 1, 500, 29.5, 1950))  # another start
    assert not fits(out, one_of("ash", 1, 130, 29.5, 2900))  # another end
    assert not fits(out, one_of("ash", 1, 130, 25.0, 1950))  # another volume
    assert not fits(out, one_of("ash", -1, 130, 29.5, 1950))  # the same way
    assert partner(out, [one_of("ash", 1, 130, 29.5, 1950), one_of("oak", 1, 120, 30.0, 1900)]) is None  # which one?
