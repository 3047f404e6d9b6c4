"""Where a line bends. Reference: lines whose bend is known because they were made so; the spread of the found bend
over many noises against the uncertainty that is told with it."""

import random
from collections.abc import Callable

import pytest

from inventory.hinge import bend, end_behind, turned


def line(at: float, slope: float, noise: float = 0.0, seed: int = 1, step: float = 1.0) -> list[tuple[float, float]]:
    chance = random.Random(seed)
    times = [k * step for k in range(240)]
    return [(t, 5.0 + slope * max(0.0, t - at) + chance.gauss(0, noise)) for t in times]


@pytest.mark.parametrize("slope", [0.01, -0.01, 2.0])
def test_a_clean_line_bends_where_it_was_bent(slope: float) -> None:
    found = bend(line(120, slope))
    assert found is not None
    assert found.at == pytest.approx(120, abs=1e-6)
    assert found.slope == pytest.approx(slope)
    assert found.flat == pytest.approx(5.0)


def test_turned_round_it_is_the_end_that_is_found() -> None:
    points = [(t, min(v, 5.0 + 100 * 0.01)) for t, v in line(20, 0.01)]  # ends 100 after its start
    found = bend(turned(points[25:]))
    assert found is not None
    assert -found.at == pytest.approx(120, abs=1)


def test_the_told_uncertainty_holds_the_bend_in_about_95_of_100_noises() -> None:
    """Coverage of k = 2 (JCGM 100): 95 %; 200 noises make +-3 % of it."""
    held = 0
    for seed in range(200):
        found = bend(line(120.4, 0.05, 0.3, seed))
        assert found is not None
        held += abs(found.at - 120.4) <= found.u95
    assert held >= 184


@pytest.mark.parametrize("points", [[], [(0.0, 1.0)] * 3, [(float(k), 1.0) for k in range(9)]])
def test_where_nothing_bends_nothing_is_found(points: list[tuple[float, float]]) -> None:
    assert bend(points) is None


def behind(lag: float, level: Callable[[float], float], noise: float, seed: int) -> list[tuple[float, float]]:
    """A level through a first-order filter, in a hundred small steps a second; the filter is none of ours."""
    chance, seen, points = random.Random(seed), level(0.0), []
    for k in range(60_000):
        seen += (level(k / 100) - seen) * 0.01 / lag
        if k % 100 == 0:
            points.append((k / 100, seen + chance.gauss(0, noise)))
    return points


@pytest.mark.parametrize("lag", [3.0, 10.0, 30.0])
def test_an_end_behind_a_filter_is_found_where_the_level_became_flat(lag: float) -> None:
    points = [p for p in behind(lag, lambda s: 5.0 + 0.05 * min(s, 300), 0.05, 2) if p[0] > 200]
    rough = bend(turned(points))
    assert rough is not None
    found = end_behind(points, lag, rough._replace(at=-rough.at))
    assert found.at == pytest.approx(300, abs=2.5)
    assert found.slope == pytest.approx(0.05, rel=0.1)
