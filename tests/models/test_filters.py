"""Filters of a level, against the computed rows of tests/data/signal and against scipy.signal."""

import math
import statistics

import numpy as np
import pytest
import scipy.signal
from hypothesis import given
from hypothesis import strategies as st

from models.filters import STEP_95, FilterKind, FilterSpec, LevelFilter, alpha_of
from tests.reference import rows

HOLE_MS = 3_000


def by_id(row: dict[str, str]) -> str:
    return row["id"]


def run(spec: FilterSpec, values: list[float], period_s: float = 1.0) -> list[float]:
    damper = LevelFilter(spec, round(3000 * period_s))
    return [damper.add(round(1000 * k * period_s), round(1000 * k * period_s), value) for k, value in enumerate(values)]


@pytest.mark.parametrize("row", rows("signal/first_order_filter.csv"), ids=by_id)
def test_the_rows_of_a_first_order_filter_come_out(row):
    dt, tau = float(row["dt_s"]), float(row["tau_s"])
    spec = FilterSpec(FilterKind.FIRST_ORDER, tau)
    assert alpha_of(dt, tau) == pytest.approx(float(row["alpha"]), abs=5e-9)
    assert spec.noise_frac(dt) ** 2 == pytest.approx(float(row["variance_ratio"]), abs=5e-9)
    assert spec.noise_frac(dt) == pytest.approx(float(row["noise_sd_ratio"]), abs=5e-9)
    assert spec.lag_s(dt) == pytest.approx(float(row["ramp_lag_s"]), abs=5e-7)
    assert tau * STEP_95 == pytest.approx(float(row["t95_step_s"]), abs=5e-7)


@pytest.mark.parametrize("row", rows("signal/first_order_filter.csv"), ids=by_id)
def test_a_running_first_order_filter_does_what_the_rows_say(row):
    dt, tau = float(row["dt_s"]), float(row["tau_s"])
    spec = FilterSpec(FilterKind.FIRST_ORDER, tau)
    step = run(spec, [0.0] + [1.0] * math.ceil(5 * tau / dt), dt)
    at_95 = next(k for k, value in enumerate(step) if value >= 0.95) * dt
    assert at_95 - dt < float(row["t95_step_s"]) <= at_95 + 1e-9
    ramp = run(spec, [0.01 * k * dt for k in range(round(20 * tau / dt))], dt)
    assert (0.01 * (len(ramp) - 1) * dt - ramp[-1]) / 0.01 == pytest.approx(float(row["ramp_lag_s"]), rel=1e-5)
    noise = np.random.default_rng(5).normal(size=60_000)
    left = statistics.pvariance(run(spec, list(noise), dt)[200:])
    assert left == pytest.approx(float(row["variance_ratio"]), rel=0.15)  # of 60 000 values, correlated over tau


@given(st.lists(st.floats(-5, 20), min_size=2, max_size=60), st.floats(0.1, 60))
def test_a_first_order_filter_is_scipys(values, tau):
    alpha = alpha_of(1.0, tau)
    theirs, _ = scipy.signal.lfilter([alpha], [1, alpha - 1], values, zi=[(1 - alpha) * values[0]])
    assert run(FilterSpec(FilterKind.FIRST_ORDER, tau), values) == pytest.approx(list(theirs), abs=1e-9)


@pytest.mark.parametrize("row", rows("signal/median_filter.csv"), ids=by_id)
def test_the_rows_of_a_median_come_out_once_its_window_is_full(row):
    window = int(row["window"])
    found = run(FilterSpec(FilterKind.MEDIAN, polls=window), [float(cell) for cell in row["input"].split(";")])
    assert found[window - 1 :] == [float(cell) for cell in row["output_full_windows"].split(";")]


@given(st.lists(st.floats(-5, 20), min_size=9, max_size=60), st.sampled_from([3, 5, 7, 9]))
def test_a_median_is_scipys_half_a_window_later(values, window):
    found = run(FilterSpec(FilterKind.MEDIAN, polls=window), values)[window - 1 :]
    half = window // 2
    assert found == list(scipy.signal.medfilt(values, window)[half : len(values) - half])


@pytest.mark.parametrize("polls", [2, 5, 30])
def test_a_mean_leaves_one_part_in_n_of_the_variance_and_lags_half_its_window(polls):
    # computed: moving average of N, variance 1/N, lag (N - 1)/2 x dt
    spec = FilterSpec(FilterKind.MEAN, polls=polls)
    assert spec.noise_frac(1.0) ** 2 == pytest.approx(1 / polls)
    ramp = run(spec, [2.0 * k for k in range(100)])
    assert (2.0 * 99 - ramp[-1]) / 2 == pytest.approx(spec.lag_s(1.0)) == (polls - 1) / 2


@pytest.mark.parametrize("polls", [3, 5, 9, 31])
def test_a_median_leaves_no_more_noise_than_is_told(polls):
    noise = np.random.default_rng(11).normal(size=40_000)
    left = statistics.pstdev(run(FilterSpec(FilterKind.MEDIAN, polls=polls), list(noise))[polls:])
    told = FilterSpec(FilterKind.MEDIAN, polls=polls).noise_frac(1.0)
    assert 0.85 * told < left < 1.05 * told


@pytest.mark.parametrize("spec", [FilterSpec(FilterKind.FIRST_ORDER, 30), FilterSpec(FilterKind.MEAN, polls=9),
                                  FilterSpec(FilterKind.MEDIAN, polls=9)], ids=lambda spec: spec.kind)  # fmt: skip
class TestEveryFilter:
    def test_begins_with_the_first_level_and_anew_after_a_hole(self, spec):
        damper = LevelFilter(spec, HOLE_MS)
        assert damper.add(0, 0, 5.0) == 5.0
        assert damper.add(1000, 1000, 9.0) < 9.0
        assert damper.add(4001, 4001, 9.0) == 9.0

    def test_keeps_on_over_lost_polls(self, spec):
        damper = LevelFilter(spec, HOLE_MS)
        damper.add(0, 0, 5.0)
        assert damper.add(3000, 3000, 9.0) < 9.0

    def test_goes_on_after_a_short_restart_and_begins_anew_after_a_long_one(self, spec):
        before = LevelFilter(spec, HOLE_MS)
        for second in range(20):
            before.add(1000 * second, 1000 * second, 5.0)
        saved = before.save()
        for seconds_down, goes_on in ((2, True), (60, False)):
            after = LevelFilter(spec, HOLE_MS)
            after.restore(saved)
            # the core's own clock stood still meanwhile
            assert (after.add(20_000, 19_000 + 1000 * seconds_down, 9.0) < 9.0) is goes_on

    def test_leaves_what_another_kind_has_saved(self, spec):
        other = FilterKind.MEAN if spec.kind is not FilterKind.MEAN else FilterKind.MEDIAN
        saved = LevelFilter(FilterSpec(other, polls=3), HOLE_MS)
        saved.add(0, 0, 5.0)
        after = LevelFilter(spec, HOLE_MS)
        after.restore(saved.save())
        assert after.add(1000, 1000, 9.0) == 9.0

    @given(st.lists(st.floats(-5, 20), min_size=1, max_size=40))
    def test_never_leaves_what_it_was_given(self, spec, values):
        for k, value in enumerate(run(spec, values)):
            assert min(values[: k + 1]) - 1e-9 <= value <= max(values[: k + 1]) + 1e-9
