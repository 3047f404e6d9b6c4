"""The true shells: elementary geometry where it holds, and laws where flaws come in."""

import math
from random import Random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import integrate

from simulator.errors import BadShell
from simulator.geometry import Course, Lying, Shell, Upright

FLAT = Upright((Course(10.0, 12.0),), bottom_slope=0.0)


def test_a_plain_upright_shell_holds_base_times_height() -> None:
    # computed from elementary geometry: pi/4 x 12^2 x 7.531
    assert Shell(FLAT).volume_m3(7.531) == pytest.approx(851.736034, rel=1e-8)


@pytest.mark.parametrize(
    ("depth_ratio", "part"),
    [
        # handbook table of partial volumes of a lying cylinder (from memory), computed to agree
        (0.01, 0.001692),
        (0.02, 0.004773),
        (0.25, 0.195501),
        (0.50, 0.500000),
        (0.95, 0.981307),
    ],
)
def test_a_lying_shell_fills_as_the_handbook_says(depth_ratio: float, part: float) -> None:
    shell = Shell(Lying(2.5, 9.0))
    whole = math.pi / 4 * 2.5**2 * 9.0
    assert shell.volume_m3(2.5 * depth_ratio) / whole == pytest.approx(part, abs=1.5e-5)


def test_a_coned_bottom_adds_what_a_cone_holds_below_the_datum_plate() -> None:
    # elementary geometry: the mean depth of a cone's bottom lies two thirds of the radius out
    shape = Upright((Course(8.0, 12.0),), bottom_slope=1 / 60, gauge_radius=0.9)
    extra_m = shape.bottom_slope * 6.0 * (0.9 - 2 / 3)
    expected = math.pi * 36 * (5.0 + extra_m)
    assert Shell(shape).volume_m3(5.0) == pytest.approx(expected, rel=1e-8)


def test_a_tilted_lying_shell_agrees_with_integration_along_its_axis() -> None:
    shape = Lying(2.5, 9.0, tilt=0.004)

    def segment_m2(along_m: float) -> float:
        depth = 1.1 + 0.004 * (0.3 * 9.0 - along_m)
        area, _ = integrate.quad(lambda z: 2 * math.sqrt(max(0.0, 1.25**2 - (z - 1.25) ** 2)), 0, depth)
        return float(area)

    expected, _ = integrate.quad(segment_m2, -4.5, 4.5)  # independent: scipy's adaptive quadrature
    assert Shell(shape).volume_m3(1.1) == pytest.approx(expected, rel=2e-4)


def test_the_wall_gives_way_under_the_head_by_hundredths_of_a_percent() -> None:
    rigid, real = Upright((Course(12.0, 10.0),)), Upright((Course(12.0, 10.0),), plate_m=0.008)
    more = Shell(real).volume_m3(12.0) / Shell(rigid).volume_m3(12.0) - 1
    # computed by hand: rho g R / (t E) = 800 x 9.81 x 5 / (0.008 x 2.06e11) = 2.38e-5 per m, integrated over 12 m
    assert more == pytest.approx(2.38e-5 * 12, rel=0.02)


@settings(max_examples=30, deadline=None)
@given(seed=st.integers(0, 10_000), part=st.floats(0.0, 1.0), lying=st.booleans())
def test_every_shell_as_built_goes_from_level_to_volume_and_back(seed: int, part: float, lying: bool) -> None:
    drawn = Lying(2.5, 9.0) if lying else Upright((Course(2.4, 9.5), Course(9.6, 9.5)))
    shell = Shell(drawn.flawed(Random(seed)))
    level = part * drawn.height_m * 0.995
    assert shell.level_m(shell.volume_m3(level)) == pytest.approx(level, abs=1e-9)


def test_shells_as_built_differ_from_the_certificate_by_tenths_of_a_percent() -> None:
    certificate = Shell(FLAT).volume_m3(8.0)
    off = [Shell(FLAT.flawed(Random(seed))).volume_m3(8.0) / certificate - 1 for seed in range(60)]
    spread = math.sqrt(sum(o * o for o in off) / len(off))
    assert 2e-4 < spread < 3e-3
    assert min(off) < 0 < max(off)


def test_a_volume_outside_of_the_shell_is_refused_by_name() -> None:
    with pytest.raises(BadShell, match="volume 5000"):
        Shell(FLAT).level_m(5000.0)
    with pytest.raises(BadShell, match="level -0"):
        Shell(FLAT).volume_m3(-0.1)
