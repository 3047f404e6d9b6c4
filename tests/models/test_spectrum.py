"""Spectra, folding and what filters leave, against scipy, against runs of the filters themselves and against theory.

The signals are made here; every figure is computed unless its source is named.
"""

import math

import numpy as np
import pytest
import scipy.special
from hypothesis import given
from hypothesis import strategies as st

from models.errors import OutOfRange
from models.filters import FilterKind, FilterSpec, LevelFilter
from models.slosh import ZEROS, slosh_Hz
from models.spectrum import detrended, folded_Hz, left_by_first_order, slope_per_s, spectrum, unfolded_Hz


def sines(seconds, rate, *lines, noise=0.0, seed=1):
    t = np.arange(0, seconds, 1 / rate)
    total = np.random.default_rng(seed).normal(0, noise, t.size) if noise else np.zeros(t.size)
    for frequency, amplitude in lines:
        total = total + amplitude * np.sin(2 * math.pi * frequency * t + 0.3)
    return total


@pytest.mark.parametrize("frequency", [0.3, 0.85, 3.7, 24.7, 49.9, 63.21, 97.0])
def test_a_line_in_a_recorders_file_is_found_within_a_fifth_of_a_hertz(frequency):
    found = spectrum(sines(60, 200, (frequency, 2.0), noise=1.0), 200)
    assert found.peaks[0].frequency_Hz == pytest.approx(frequency, abs=0.05)
    assert found.peaks[0].amplitude == pytest.approx(2.0, rel=0.1)


def test_a_short_burst_still_finds_its_line():
    found = spectrum(sines(5, 200, (24.7, 2.0), noise=1.0), 200)
    assert found.peaks[0].frequency_Hz == pytest.approx(24.7, abs=0.2)


def test_several_lines_come_strongest_first():
    found = spectrum(sines(60, 200, (24.7, 3.0), (50.0, 2.0), (0.3, 5.0), noise=0.5), 200)
    assert [round(peak.frequency_Hz, 1) for peak in found.peaks] == [0.3, 24.7, 50.0]
    assert found.highest_Hz == 100


def test_a_pure_sine_shows_no_side_lobes():
    assert len(spectrum(sines(60, 200, (24.73, 3.0)), 200).peaks) == 1


def test_vibration_polled_once_a_second_shows_where_slosh_does():
    (peak,) = spectrum(sines(3600, 1, (24.7, 4.0), noise=1.0), 1).peaks
    assert peak.frequency_Hz == pytest.approx(0.3, abs=0.002)


@pytest.mark.parametrize("rate", [1.0, 200.0])
@pytest.mark.parametrize("kind", ["white", "wandering"])
def test_noise_alone_shows_hardly_ever_a_line(kind, rate):
    shown = 0
    for seed in range(200):
        noise = np.random.default_rng(seed).normal(size=3600)
        shown += bool(spectrum(np.cumsum(noise) if kind == "wandering" else noise, rate).peaks)
    assert shown <= 10  # 2 in 200 are meant, twice as many looked for in two lengths of segments


def test_a_level_that_does_not_move_has_no_line_and_no_noise():
    still = np.full(600, 6.123)
    assert spectrum(still, 1).peaks == ()
    assert left_by_first_order(still, 1, 0, poll_Hz=1) == pytest.approx(0, abs=1e-9)


@pytest.mark.parametrize(
    ("true_Hz", "rate", "shown_Hz"),
    [(24.7, 1, 0.3), (50, 1, 0.0), (49.7, 1, 0.3), (0.3, 1, 0.3), (0.7, 1, 0.3), (60, 50, 10), (120, 100, 20)],
)
def test_a_frequency_folds_to_its_place(true_Hz, rate, shown_Hz):
    assert folded_Hz(true_Hz, rate) == pytest.approx(shown_Hz, abs=1e-9)


@given(st.floats(0.01, 0.49), st.floats(0.2, 10))
def test_what_is_said_to_show_alike_does(part, rate):
    shown = part * rate
    others = unfolded_Hz(shown, rate, 20 * rate)
    assert len(others) >= 38
    assert all(folded_Hz(other, rate) == pytest.approx(shown, abs=1e-6 * rate) for other in others)


@pytest.mark.parametrize(("diameter", "hertz"), [(10, 0.30), (8, 0.34)])
def test_the_surface_of_a_tank_swings_as_linear_theory_says(diameter, hertz):
    # Source: NASA SP-106, linear theory (from memory); values computed
    assert slosh_Hz(diameter, 7)[0] == pytest.approx(hertz, abs=0.005)


def test_the_zeros_are_scipys():
    zeros = (scipy.special.jnp_zeros(1, 2)[0], scipy.special.jnp_zeros(0, 1)[0], scipy.special.jnp_zeros(1, 2)[1])
    assert ZEROS == pytest.approx(zeros, abs=5e-9)


def test_a_shallow_surface_swings_as_slowly_as_long_waves():
    # computed: for small depth tanh(kh) is kh, so that f is k sqrt(g h) / 2 pi
    expected = ZEROS[0] / 5 * math.sqrt(9.80665 * 0.05) / (2 * math.pi)
    assert slosh_Hz(10, 0.05)[0] == pytest.approx(expected, rel=1e-3)
    assert slosh_Hz(10, 0) == (0, 0, 0)


@pytest.mark.parametrize(("tau", "percent"), [(10, 5), (30, 2)])
def test_damping_cuts_slosh_to_so_many_percent(tau, percent):
    # computed: 1 / sqrt(1 + (2 pi x 0.3 Hz x tau)^2)
    swing = sines(2000, 20, (0.3, 1.0))
    left = left_by_first_order(swing, 20, tau, poll_Hz=None) / left_by_first_order(swing, 20, 0, poll_Hz=None)
    assert 100 * left == pytest.approx(percent, abs=0.5)


@pytest.mark.parametrize("tau", [1, 5, 20])
def test_what_is_left_is_what_a_running_filter_leaves(tau):
    levels = sines(4000, 1, (0.3, 3.0), (0.02, 1.0), noise=1.0)
    damper = LevelFilter(FilterSpec(FilterKind.FIRST_ORDER, tau), 3000)
    ran = [damper.add(1000 * k, 1000 * k, float(level)) for k, level in enumerate(levels)]
    assert left_by_first_order(levels, 1, tau, poll_Hz=1) == pytest.approx(np.std(detrended(ran[200:])), rel=0.03)


def test_a_filter_behind_the_polls_sees_vibration_folded_and_the_transmitter_does_not():
    burst = sines(60, 200, (24.7, 3.0))
    every_poll = burst[::200]
    behind = left_by_first_order(burst, 200, 2, poll_Hz=1)
    damper = LevelFilter(FilterSpec(FilterKind.FIRST_ORDER, 2), 3000)
    ran = [damper.add(1000 * k, 1000 * k, float(level)) for k, level in enumerate(every_poll)]
    assert behind == pytest.approx(np.std(ran[15:]), rel=0.1)
    assert left_by_first_order(burst, 200, 2, poll_Hz=None) < behind / 50


def test_lines_that_are_left_out_are_gone_from_the_sum():
    burst = sines(60, 200, (24.7, 3.0), (50, 4.0))
    assert left_by_first_order(burst, 200, 0, poll_Hz=1) == pytest.approx(5 / math.sqrt(2), rel=0.01)
    assert left_by_first_order(burst, 200, 0, poll_Hz=1, without_Hz=(50.0,)) == pytest.approx(
        3 / math.sqrt(2), rel=0.01
    )


def test_a_straight_line_is_no_noise_and_its_slope_is_told():
    rising = 0.002 * np.arange(600) / 2
    assert np.abs(detrended(rising)).max() < 1e-9
    assert slope_per_s(rising, 2) == pytest.approx(0.002)


@pytest.mark.parametrize("values", [[1.0] * 63, [1.0] * 99 + [math.nan]])
def test_too_few_samples_or_no_numbers_are_refused(values):
    with pytest.raises(OutOfRange):
        spectrum(values, 1)
