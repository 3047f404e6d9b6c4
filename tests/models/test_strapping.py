"""Strapping measurements -> table. No published worked example was at hand: computed values and elementary geometry."""

import math
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad

from models.errors import BadTable, OutOfRange
from models.strapping import (
    GRAVITY,
    STEEL_PA,
    BottomRow,
    Course,
    Deadwood,
    LiquidHead,
    Strapping,
    Tape,
    head_growth_m3,
    rings_of,
    table_of_strapping,
    volume_m3,
)
from tests.reference import rows

COMPUTED = {row["id"]: row for row in rows("stock/tank_geometry.csv")}
# st01 and st03 of the file are the lowest and highest of three courses; the middle one follows from their sum, st04
MIDDLE_M = 47.1942
COURSES = (
    Course((47.2001,), 0.008, 1.5),
    Course((MIDDLE_M,), 0.007, 1.5),
    Course((47.1880,), 0.006, 1.5),
)


def test_courses_hold_their_computed_volumes() -> None:
    """Computed: pi (C / 2 pi - t)^2 H."""
    strapping = Strapping(COURSES)
    rings = rings_of(strapping)
    assert rings[0].radius_m == pytest.approx(7.504129229, abs=1e-9)
    assert rings[2].radius_m == pytest.approx(7.504203455, abs=1e-9)
    first, third = (float(COMPUTED[key]["expected"]) for key in ("st01", "st03"))
    assert volume_m3(strapping, rings, 1.5) == pytest.approx(first, abs=1e-6)
    upper = volume_m3(strapping, rings, 4.5) - volume_m3(strapping, rings, 3.0)
    assert upper == pytest.approx(third, abs=1e-6)


@pytest.mark.parametrize(("key", "below"), [("lh01", 0.0), ("lh03", 3.0)])
def test_the_shell_grows_under_its_liquid_by_the_computed_volume(key: str, below: float) -> None:
    """Computed: thin-wall hoop strain at the mean pressure of each course, liquid 4.5 m of 800 kg/m3."""
    row = COMPUTED[key]
    ring = next(r for r in rings_of(Strapping(COURSES)) if r.low_m == below)
    found = head_growth_m3((ring,), 4.5, 800.0, 2e11)
    assert found == pytest.approx(float(row["expected"]), abs=float(row["tolerance"]))


@pytest.mark.parametrize("level", [0.7, 1.5, 2.2, 4.5])
def test_growth_under_a_part_filled_shell_agrees_with_quadrature(level: float) -> None:
    rings = rings_of(Strapping(COURSES))

    def growth(z: float) -> float:
        ring = next(r for r in rings if z <= r.high_m)
        pressure = 800 * GRAVITY * (level - z)
        return 2 * math.pi * ring.radius_m * pressure * ring.radius_m**2 / (STEEL_PA * ring.plate_m)

    expected = quad(growth, 0, level, points=[b for b in (1.5, 3.0) if b < level] or None)[0]
    assert head_growth_m3(rings, level, 800.0, STEEL_PA) == pytest.approx(expected, rel=1e-9)


def test_liquid_in_the_tank_while_it_was_taped_is_taken_out_again() -> None:
    """A shell that stood full when taped, with the head of the same liquid put back, holds what was taped."""
    head = LiquidHead(800.0, level_at_strapping_m=4.5, density_at_strapping_kgpm3=800.0)
    full = volume_m3(Strapping(COURSES, head=head), rings_of(Strapping(COURSES, head=head)), 4.5)
    taped = volume_m3(Strapping(COURSES), rings_of(Strapping(COURSES)), 4.5)
    assert full == pytest.approx(taped, abs=1e-4)  # second order: strain squared, and mean against local pressure
    empty = rings_of(Strapping(COURSES, head=head))
    assert all(e.radius_m < t.radius_m for e, t in zip(empty, rings_of(Strapping(COURSES)), strict=True))


def test_a_steel_tape_on_a_steel_shell_only_keeps_its_own_calibration() -> None:
    """With one expansion for both, the temperature of the day drops out to second order: only 20 -> 15 degC stays."""
    hot, cold = (
        rings_of(Strapping(COURSES, tape=Tape(shell_degC=t)))[0].radius_m for t in (40.0, 0.0)
    )  # fmt: skip
    assert hot == pytest.approx(cold, rel=1e-7)
    bare = rings_of(Strapping(COURSES))[0].radius_m
    assert hot / bare == pytest.approx(1 - 5 * 1.12e-5, rel=1e-6)


def test_deadwood_bottom_and_tilt_act_where_they_are() -> None:
    strapping = Strapping(
        COURSES,
        bottom=(BottomRow(0.0, 0.4), BottomRow(0.1, 10.0), BottomRow(0.2, 28.0)),
        deadwood=(Deadwood(1.0, 2.0, 0.5), Deadwood(0.6, 1.2, -0.2)),
    )
    table, plain = table_of_strapping(strapping), rings_of(Strapping(COURSES))
    assert table.bottom_m == 0.0
    assert table.volume_m3(0.0) == pytest.approx(0.4)
    assert table.volume_m3(0.15) == pytest.approx(19.0)
    above = math.pi * plain[0].radius_m ** 2
    assert table.volume_m3(0.6) == pytest.approx(28.0 + 0.4 * above, abs=1e-6)
    assert table.volume_m3(1.2) == pytest.approx(28.0 + 1.0 * above + 0.2 - 0.1, abs=1e-6)
    leaning = volume_m3(Strapping(COURSES, tilt=0.02), plain, 4.5) / volume_m3(Strapping(COURSES), plain, 4.5)
    assert leaning == pytest.approx(math.sqrt(1 + 0.02**2), rel=1e-12)


def test_the_table_has_a_row_each_millimetre_and_agrees_with_the_strapping() -> None:
    strapping = Strapping(
        (Course((31.45, 31.4506), 0.007, 2.0004), Course((31.44,), 0.006, 1.9996)),
        deadwood=(Deadwood(0.10035, 0.3, 0.05),),
        head=LiquidHead(800.0),
    )
    table, rings = table_of_strapping(strapping), rings_of(strapping)
    levels = table.levels_m
    assert max(b - a for a, b in pairwise(levels)) <= 0.001 + 1.01e-6
    assert table.top_m == pytest.approx(4.0)
    for k in range(0, 4000, 37):
        level = k / 1000 + 0.00037
        assert table.volume_m3(level) == pytest.approx(volume_m3(strapping, rings, level), abs=1e-6 * table.capacity_m3)


@settings(max_examples=40, deadline=None)
@given(
    st.lists(st.tuples(st.floats(20, 20.05), st.floats(0.005, 0.02), st.floats(0.3, 2.0)), min_size=1, max_size=5),
    st.floats(-0.03, 0.03),
)
def test_any_sane_strapping_makes_a_table(courses: list[tuple[float, float, float]], tilt: float) -> None:
    strapping = Strapping(tuple(Course((c,), t, h) for c, t, h in courses), head=LiquidHead(850.0), tilt=tilt)
    table = table_of_strapping(strapping)  # its constructor refuses a volume that falls
    assert table.bottom_m == 0.0
    assert table.capacity_m3 > 0


@pytest.mark.parametrize(
    ("words", "call"),
    [
        ("at least one course", lambda: Strapping(())),
        ("course 1: give circumferences", lambda: Strapping((Course((), 0.008, 1.5),))),
        ("course 1: circumferences 47 and 48 m differ", lambda: Strapping((Course((47.0, 48.0), 0.008, 1.5),))),
        ("course 2: plate 0.2", lambda: Strapping((COURSES[0], Course((47.0,), 0.2, 1.5)))),
        ("course 1: height 15", lambda: Strapping((Course((47.0,), 0.008, 15),))),
        ("course 1: paint", lambda: Strapping((Course((47.0,), 0.008, 1.5, 0.01),))),
        ("tilt 4 %", lambda: Strapping(COURSES, tilt=0.04)),
        ("deadwood 1", lambda: Strapping(COURSES, deadwood=(Deadwood(4, 5, 1),))),
        ("bottom row 2", lambda: Strapping(COURSES, bottom=(BottomRow(0, 1), BottomRow(0.1, 0.5)))),
        ("within the first course", lambda: Strapping(COURSES, bottom=(BottomRow(0, 1), BottomRow(1.6, 5)))),
        ("outside of the strapped", lambda: volume_m3(Strapping(COURSES), rings_of(Strapping(COURSES)), 4.6)),
    ],
)
def test_what_was_not_measured_well_is_refused(words: str, call: object) -> None:
    with pytest.raises(OutOfRange, match=words):
        call()  # type: ignore[operator]


def test_deadwood_that_fills_the_tank_is_a_bad_table() -> None:
    with pytest.raises(BadTable):
        table_of_strapping(Strapping(COURSES, deadwood=(Deadwood(1.0, 1.1, 500.0),)))
