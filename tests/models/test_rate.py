import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from models.rate import SlopeWindow
from tests.reference import rows

SLOPES = rows("signal/slope_uncertainty.csv")


@pytest.mark.parametrize("row", SLOPES, ids=lambda row: row["id"])
def test_the_slope_is_as_sure_as_least_squares_says(row: dict[str, str]) -> None:
    """The row's closed form against the scatter of our slopes over many draws of white noise."""
    n, dt, sigma = int(row["N"]), float(row["dt_s"]), float(row["sigma_mm"])
    draws = np.random.default_rng(20).normal(0, sigma, (400, n))
    slopes, said = [], []
    for noise in draws:
        window = SlopeWindow(10**9, hole_ms=10**9, least=2)
        for k, value in enumerate(noise):
            window.add(round(k * dt * 1000), float(value))
        rate = window.rate(round((n - 1) * dt * 1000))
        assert rate is not None
        slopes.append(rate.per_s)
        said.append(rate.sd_per_s)
    expected = float(row["ols_sd_mm_per_s"])
    assert np.std(slopes) == pytest.approx(expected, rel=0.12), row["source"]
    if n > 2:  # a line through two points leaves nothing to tell its spread by
        assert math.sqrt(np.mean(np.square(said))) == pytest.approx(expected, rel=0.06), row["source"]


@given(st.lists(st.tuples(st.integers(200, 3000), st.floats(-50, 900)), min_size=12, max_size=200))
@settings(max_examples=60, deadline=None)
def test_running_sums_agree_with_a_fresh_fit_over_the_window(steps: list[tuple[int, float]]) -> None:
    """Independent reference: numpy.polyfit over the samples that the window should hold."""
    window = SlopeWindow(30_000, hole_ms=10_000)
    at, points = 1_000_000, []
    for step, value in steps:
        at += step
        points.append((at, value))
        window.add(at, value)
    inside = [(t, v) for t, v in points if t >= at - 30_000]
    rate = window.rate(at)
    if len(inside) < 10:
        assert rate is None
        return
    assert rate is not None
    t = np.array([(p - inside[0][0]) / 1000 for p, _ in inside])
    v = np.array([q for _, q in inside])
    slope = np.polyfit(t, v, 1)[0]
    assert rate.per_s == pytest.approx(slope, abs=1e-6 + 1e-7 * abs(slope))


def test_there_is_no_rate_from_too_few_samples_or_over_a_hole() -> None:
    window = SlopeWindow(60_000, hole_ms=3_000)
    for k in range(9):
        window.add(k * 1000, k)
    assert window.rate(8000) is None
    window.add(9000, 9)
    assert window.rate(9000) is not None
    assert window.rate(12_000) is not None
    assert window.rate(12_001) is None  # the hole between the newest sample and now
    window.add(13_000, 13)
    assert window.rate(13_000) is None  # a hole of 4 s inside the window
    for k in range(14, 75):
        window.add(k * 1000, k)
    rate = window.rate(74_000)  # the hole has left the window
    assert rate is not None
    assert rate.per_s == pytest.approx(1)
    assert rate.sd_per_s == pytest.approx(0, abs=1e-6)


def test_samples_at_one_instant_only_give_no_rate() -> None:
    window = SlopeWindow(60_000, hole_ms=3_000)
    for k in range(20):
        window.add(5000, k)
    assert window.rate(5000) is None


def test_a_window_run_for_days_loses_no_digits() -> None:
    window = SlopeWindow(60_000, hole_ms=3_000)
    at = 1_700_000_000_000
    for k in range(200_000):
        window.add(at + k * 1000, 500 + k * 1e-3)
    rate = window.rate(at + 199_999_000)
    assert rate is not None
    assert rate.per_s == pytest.approx(1e-3, rel=1e-9)
