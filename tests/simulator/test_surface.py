"""The surface: slosh of the right period that dies away, and a generator that folds."""

import math
from random import Random

import numpy as np
import pytest

from simulator.geometry import Course, Lying, Upright
from simulator.surface import DECAY_S, Surface


@pytest.mark.parametrize(
    ("diameter_m", "hz"),
    [
        # linear theory of sloshing in a round tank (from memory of the published formula), computed
        (10.0, 0.302),
        (8.0, 0.338),
    ],
)
def test_the_first_mode_of_a_full_tank_has_its_known_frequency(diameter_m: float, hz: float) -> None:
    assert Upright((Course(12.0, diameter_m),)).slosh_hz(10.0) == pytest.approx(hz, abs=0.002)


def test_a_shallow_tank_sloshes_more_slowly() -> None:
    for shape in (Upright((Course(12.0, 10.0),)), Lying(2.5, 9.0)):
        assert shape.slosh_hz(0.3) < 0.6 * shape.slosh_hz(2.5)


def test_a_stopped_pump_leaves_a_slosh_that_decays() -> None:
    surface = Surface(Random(1), ripple_m=0.0, generator_hz=24.8)
    surface.step(0.5, 0.03, 0.3)
    surface.step(0.5, 0.0, 0.3)
    start = surface.amplitude_m
    heights = []
    for step in range(round(DECAY_S / 0.5)):
        surface.step(0.5, 0.0, 0.3)
        heights.append(surface.height_m(500 * step))
    assert surface.amplitude_m == pytest.approx(start / math.e, rel=0.02)
    spectrum = np.abs(np.fft.rfft(heights))
    assert np.fft.rfftfreq(len(heights), 0.5)[spectrum.argmax()] == pytest.approx(0.3, abs=0.014)


def test_a_calm_surface_is_still() -> None:
    surface = Surface(Random(1), ripple_m=0.0, generator_hz=24.8)
    for _ in range(20):
        surface.step(0.5, 0.0, 0.3)
    assert [surface.height_m(t) for t in range(0, 5000, 500)] == [0.0] * 10


@pytest.mark.parametrize(("update_s", "seen_hz"), [(1.0, 0.2), (0.5, 0.8)])
def test_the_generator_is_folded_by_the_gauge_s_own_updates(update_s: float, seen_hz: float) -> None:
    # sampling theorem: 24.8 Hz seen each 1 s is 0.2 Hz away from 25, each 0.5 s it is 0.8 Hz away from 24
    surface = Surface(Random(1), ripple_m=0.0, generator_hz=24.8)
    surface.vibration_m = 0.002
    heights = [surface.height_m(round(1000 * update_s * k)) for k in range(400)]
    spectrum = np.abs(np.fft.rfft(heights))
    assert np.fft.rfftfreq(400, update_s)[spectrum.argmax()] == pytest.approx(seen_hz, abs=0.004)
    assert max(heights) <= 0.002
