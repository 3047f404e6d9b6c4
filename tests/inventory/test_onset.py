"""When a pump was started, by the level that it moves. Reference: flows that were made up with a ramp, a filter and a
register of their own, stepped in hundredths of a second; nothing of them is the fit's own shape."""

import random
from collections.abc import Callable

import numpy as np
import pytest

from inventory.hinge import Bend, bend
from inventory.onset import RAMP_MS, onset, risen

STEP_M = 0.001
NOISE_M = STEP_M / 12**0.5


def seen(
    flow: Callable[[float], float], lag_s: float, poll_s: int, until_s: float, seed: int, ripple_m: float = 0.0003
) -> list[tuple[float, float]]:
    """A level of 6 m moved by a flow in m/s, behind a first-order filter, read to whole mm. Times in ms."""
    chance, level, shown, points = random.Random(seed), 6.0 + random.Random(seed + 1).uniform(0, STEP_M), 0.0, []
    shown = level
    for k in range(round(until_s * 100)):
        level += flow(k / 100) * 0.01
        if k % 100 == 0:  # the gauge measures each second
            surface = level + chance.gauss(0, ripple_m)
            shown = surface if not lag_s else shown + (surface - shown) * (1 - float(np.exp(-1 / lag_s)))
            if k % (100 * poll_s) == 0:
                points.append((10.0 * k, round(shown, 3)))
    return points


def ramped(start_s: float, full: float, ramp_s: float) -> Callable[[float], float]:
    return lambda s: full * min(1.0, max(0.0, s - start_s) / ramp_s) if ramp_s else full * (s >= start_s)


def found(points: list[tuple[float, float]], lag_s: float, *, slow_start: bool = False) -> Bend:
    near = bend(points)
    assert near is not None
    best = onset(points, 1000 * lag_s, near, NOISE_M, slow_start=slow_start)
    assert best is not None
    return best


FULL = 1.0 / 60 / 78.54
"""1000 L/min into a tank of 10 m: 0.21 mm/s."""


@pytest.mark.parametrize("ramp_s", [0.0, 6.0, 12.0, 20.0])
@pytest.mark.parametrize(("lag_s", "poll_s"), [(0.0, 1), (0.0, 5), (10.0, 1), (30.0, 5)])
def test_the_start_of_a_pump_is_found_within_the_houses_rule(ramp_s: float, lag_s: float, poll_s: int) -> None:
    """max(2 polls + known lag, 3 x noise / rate of rise)."""
    allowed_s = max(2 * poll_s + lag_s, 3 * 0.00042 / FULL)
    off = [
        abs(found(seen(ramped(300, FULL, ramp_s), lag_s, poll_s, 420 + 2 * lag_s, seed), lag_s).at / 1000 - 300)
        for seed in range(10)
    ]
    assert sum(error <= allowed_s for error in off) >= 9, off


def test_the_told_uncertainty_holds_about_95_of_100_starts() -> None:
    """Coverage of k = 2 (JCGM 100), whatever the ramp: of 80 starts of all kinds, 70 is three deviations below."""
    held = 0
    for seed in range(80):
        chance = random.Random(1000 + seed)
        lag_s, poll_s, ramp_s = chance.choice([0.0, 10.0, 30.0]), chance.choice([1, 5]), chance.uniform(0, 20)
        full = FULL * chance.choice([0.1, 0.3, 1.0])
        at = chance.uniform(300, 310)
        one = found(seen(ramped(at, full, ramp_s), lag_s, poll_s, 460 + 2 * lag_s, seed), lag_s)
        held += abs(one.at / 1000 - at) <= one.u95 / 1000
    assert held >= 70


@pytest.mark.parametrize(("lag_s", "poll_s"), [(0.0, 1), (10.0, 1), (10.0, 5)])
def test_a_slow_start_is_told_from_what_comes_after_it(lag_s: float, poll_s: int) -> None:
    def flow(s: float) -> float:
        return ramped(300, 0.3 * FULL, 8)(s) + ramped(345, 0.7 * FULL, 8)(s)

    allowed_s = max(2 * poll_s + lag_s, 3 * 0.00042 / (0.3 * FULL))
    off = []
    for seed in range(10):
        points = seen(flow, lag_s, poll_s, 420 + lag_s, seed)
        off.append(abs(found(points, lag_s, slow_start=True).at / 1000 - 300))
    assert sum(error <= allowed_s for error in off) >= 9, off
    assert sum(off) / len(off) < allowed_s / 2


def test_one_flow_is_not_taken_for_two() -> None:
    early = 0
    for seed in range(20):
        points = seen(ramped(300, FULL, 10), 10.0, 5, 440, seed)
        early += found(points, 10.0, slow_start=True).at / 1000 < 285
    assert early <= 1


@pytest.mark.parametrize("lag_ms", [0.0, 3_000.0, 30_000.0])
def test_the_shape_is_that_of_a_ramped_flow_behind_a_filter(lag_ms: float) -> None:
    """By stepping the same in tenths of a second."""
    times = np.arange(0, 120_000, 100.0)
    flow = np.clip(times / RAMP_MS, 0, 1)
    level = np.concatenate([[0.0], np.cumsum((flow[1:] + flow[:-1]) / 2 * 100.0)])
    shown, behind = 0.0, []
    for value in level:
        behind.append(value if not lag_ms else shown)
        shown += (value - shown) * (1 - np.exp(-100.0 / lag_ms)) if lag_ms else 0.0
    assert risen(times, lag_ms) == pytest.approx(np.array(behind), abs=120.0)  # ms of full flow: a tenth of a step
    assert risen(np.array([-5.0, 0.0]), lag_ms).tolist() == [0.0, 0.0]


def test_too_little_to_fit_is_nothing() -> None:
    near = Bend(1000.0, 0.0, 1.0, 100.0)
    points = [(1000.0 * k, 0.0) for k in range(3)]
    assert onset(points, 0.0, near, NOISE_M, slow_start=False) is None
    flat = [(1000.0 * k, 6.0) for k in range(300)]
    assert onset(flat, 0.0, Bend(150_000.0, 6.0, 1e-9, 10.0), NOISE_M, slow_start=False) is None
