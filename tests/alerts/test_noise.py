"""The noise that a loop has while nothing is wrong: estimated, learned, kept over a restart."""

import json
import random
from itertools import pairwise

import pytest

from alerts.faults import FaultTracker
from alerts.noise import LEAST, LoopNoise, Noise, spread
from tests.alerts.timelines import instant, loop, sample

DAY_S = 86_400


def heard(noise: LoopNoise, sds: list[float], start_s: int = 0, every_s: int = 60, seed: int = 5) -> int:
    """Blocks of white noise, one figure each, `every_s` apart; gives the second after the last."""
    rng = random.Random(seed)
    at_s = start_s
    for sd in sds:
        while not noise.take(at_s * 1000, "current", 12 + rng.gauss(0, sd)):
            pass
        noise.learn(at_s * 1000)
        at_s += every_s
    return at_s


@pytest.mark.parametrize("slope", [0.0, 0.02])
@pytest.mark.parametrize("outlier", [0.0, 3.0])
def test_a_figure_is_the_standard_deviation_that_the_samples_were_made_with(slope: float, outlier: float) -> None:
    # independent check: the deviation given to the random numbers; 400 blocks, each good to about 11 %
    rng = random.Random(9)
    found = []
    for _ in range(400):
        values = [rng.gauss(0, 0.01) + slope * i + outlier * (i > 30) for i in range(61)]
        found.append(spread([b - a for a, b in pairwise(values)]))
    assert sum(found) / len(found) == pytest.approx(
        0.01, rel=0.07 if outlier else 0.04
    )  # one clipped difference adds 6 %


def test_a_coarse_register_that_never_moves_has_no_noise() -> None:
    assert spread([0.0] * 60) == 0.0
    assert spread([0.0] * 58 + [5.0, -5.0]) == 0.0


def test_floor_and_loudest_are_known_after_a_day_and_not_before() -> None:
    noise = LoopNoise()
    at = heard(noise, [0.002] * 1000)
    assert noise.known() == Noise("current", noise.now, None, noise.known().usual, None)
    heard(noise, ([0.002] * 9 + [0.01]) * 50, at)
    known = noise.known()
    assert known.floor == pytest.approx(0.002, rel=0.35)
    assert known.usual == pytest.approx(0.002, rel=0.2)
    assert known.loud == pytest.approx(0.01, rel=0.35)


def test_a_loud_block_is_called_so_and_teaches_nothing_until_it_has_lasted_for_a_week() -> None:
    noise = LoopNoise()
    at = heard(noise, [0.002] * 1500)
    before = noise.known()
    at = heard(noise, [0.05] * (7 * 1440 - 1), at)
    assert noise.known().is_loud
    assert noise.known()._replace(now=None) == before._replace(now=None)
    heard(noise, [0.05] * 800, at)
    assert not noise.known().is_loud


def test_old_figures_fade() -> None:
    noise = LoopNoise()
    at = heard(noise, [0.001] * 1500)
    heard(noise, [0.003] * 1500, at + 120 * DAY_S)
    floor = noise.known().floor
    assert floor is not None
    assert floor > 0.0015  # the quietest of 3,000 blocks, of the later half


def test_no_difference_leads_across_a_failed_poll_or_a_fault() -> None:
    noise = LoopNoise()
    for i in range(61):
        noise.take(i * 1000, "current", 12.0)
        if i == 30:
            noise.skipped()
    assert noise.now is None
    noise.take(61_000, "current", 12.0)
    assert noise.now is not None
    assert noise.now <= LEAST
    other = LoopNoise()
    other.take(0, "current", 4.0)
    other.interrupted()
    for i in range(60):
        assert not other.take(i * 1000, "current", 12.0)


def test_the_tracker_learns_only_without_a_fault_and_keeps_it_over_a_restart() -> None:
    rng = random.Random(3)
    tracker = FaultTracker([loop()])
    for second in range(0, 86_400 + 7200):
        current = 3.0 if 40_000 < second < 43_600 else 12 + rng.gauss(0, 0.002)
        tracker.step(instant(second), [sample(current, second)])
    known = tracker.noise("L1")
    assert known is not None
    assert known.signal == "current"
    assert known.floor == pytest.approx(0.002, rel=0.4)
    again = FaultTracker([loop()])
    again.restore(json.loads(json.dumps(tracker.save())))
    assert again.noise("L1") == known
    assert tracker.noise("nobody") is None
    old = tracker.save()["L1"]
    del old["noise"]
    fresh = FaultTracker([loop()])
    fresh.restore({"L1": old})
    assert fresh.noise("L1") == Noise("", None, None, None, None)


def test_a_loop_without_a_current_is_heard_on_its_finest_register() -> None:
    rng = random.Random(3)
    tracker = FaultTracker([loop(current_signal=None, watched=(("level", 0.1), ("percent", 0.1)))])
    for second in range(62):
        values = {"level": round(5000 + rng.gauss(0, 2), 1), "percent": 50.0}
        tracker.step(instant(second), [sample(None, second)._replace(values=values)])
    known = tracker.noise("L1")
    assert known is not None
    assert known.signal == "level"
    assert known.now == pytest.approx(2, rel=0.4)
