"""The slope of a water cut against scipy, and over drains."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import linregress

from inventory.watertrend import DAY_MS, Cut, trend

START = 1_700_000_000_000


def cuts(values: list[float], source: str = "signal") -> list[Cut]:
    return [Cut(START + day * DAY_MS, value, source) for day, value in enumerate(values)]


def test_without_a_drain_slope_and_error_are_scipys() -> None:
    """General reference library: scipy.stats.linregress."""
    noise = np.random.default_rng(5).normal(0, 0.002, 20)
    values = [0.01 + 0.0004 * day + float(noise[day]) for day in range(20)]
    found = trend(cuts(values), [])
    by = linregress(np.arange(20.0), values)
    assert found.slope_m_per_day == pytest.approx(by.slope, rel=1e-9)
    assert found.standard_error_m_per_day == pytest.approx(by.stderr, rel=1e-9)
    assert (found.points, found.stretches) == (20, 1)


@given(st.floats(-0.002, 0.002), st.lists(st.integers(3, 40), min_size=1, max_size=4, unique=True))
def test_a_drain_is_a_step_and_no_fall(slope: float, drained: list[int]) -> None:
    values, level = [], 0.02
    for day in range(44):
        level = 0.005 if day in drained else level + slope
        values.append(level)
    found = trend(cuts(values), [START + day * DAY_MS - 1 for day in drained])
    assert found.slope_m_per_day == pytest.approx(slope, abs=1e-9)
    assert found.standard_error_m_per_day == pytest.approx(0, abs=1e-7)


def test_a_rise_in_the_noise_is_not_told_as_one() -> None:
    quiet = trend(cuts([0.010, 0.012, 0.009, 0.011, 0.010, 0.012, 0.010]), [])
    rising = trend(cuts([0.010, 0.015, 0.019, 0.026, 0.030, 0.034, 0.041]), [])
    assert quiet.rises is False
    assert rising.rises is True


@pytest.mark.parametrize("values", [[], [0.01], [0.01] * 4])
def test_too_little_says_so(values: list[float]) -> None:
    found = trend(cuts(values), [])
    assert found.slope_m_per_day is None
    assert found.rises is None
    assert "a slope is told from 5 over 3 days on" in found.why


def test_single_cuts_between_drains_say_nothing_of_a_slope() -> None:
    found = trend(cuts([0.01, 0.02, 0.01, 0.02, 0.01, 0.02]), [START + day * DAY_MS + 1 for day in range(6)])
    assert found.slope_m_per_day is None
    assert found.points == 0
