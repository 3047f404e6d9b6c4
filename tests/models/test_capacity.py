import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from models.capacity import CapacityTable
from models.errors import BadTable, OutOfRange
from models.geometry import LyingCylinder, UprightCylinder
from models.geometry_tables import table_of
from tests.reference import rows

SHAPE = LyingCylinder(2.5, 8)
LYING = table_of(SHAPE)
INCH_M, GALLON_M3 = 0.0254, 0.003785411784  # exact: NIST SP 811 appendix B


def test_a_dip_between_two_rows_is_interpolated_not_rounded_to_a_row() -> None:
    """Source: Wisconsin tank training page (public): 33 in = 337, 34 in = 345 gal, so 33 1/4 in = 339 gal."""
    table = CapacityTable([33 * INCH_M, 34 * INCH_M], [337 * GALLON_M3, 345 * GALLON_M3])
    assert table.volume_m3(33.25 * INCH_M) / GALLON_M3 == pytest.approx(339, abs=0.5)


@pytest.mark.parametrize("row", [r for r in rows("stock/capacity_elementary.csv") if r["id"] == "ve1"])
def test_an_upright_cylinder_agrees_with_elementary_geometry(row: dict[str, str]) -> None:
    assert row["inputs"] == "D=12 m, h=7.531 m"
    table = table_of(UprightCylinder(12, 14))
    assert table.volume_m3(7.531) == pytest.approx(float(row["expected"]), rel=1e-8), row["source"]


def test_95_percent_of_level_in_a_lying_cylinder_is_98_1_percent_of_volume() -> None:
    """Computed, not published: area of a circular segment at h/D = 0.95."""
    table = LYING
    assert 100 * table.volume_m3(0.95 * 2.5) / table.capacity_m3 == pytest.approx(98.1, abs=0.05)
    assert table.volume_m3(1.25) == pytest.approx(table.capacity_m3 / 2, rel=1e-9)
    assert table.capacity_m3 == pytest.approx(math.pi / 4 * 2.5**2 * 8, rel=1e-9)


@given(st.floats(0, 2.5))
@settings(max_examples=200, deadline=None)
def test_a_lying_table_agrees_with_the_exact_segment_to_a_millionth_of_capacity(level: float) -> None:
    assert abs(LYING.volume_m3(level) - SHAPE.volume_m3(level)) <= 1e-6 * LYING.capacity_m3


@pytest.mark.parametrize(("diameter", "length"), [(0.5, 2), (1.0, 3), (4, 20)])
def test_small_and_large_lying_tanks_agree_too(diameter: float, length: float) -> None:
    shape = LyingCylinder(diameter, length)
    table = table_of(shape)
    for k in range(20_000):
        level = diameter * (k / 20_000) ** 3  # most of them where the shape curves fastest
        assert abs(table.volume_m3(level) - shape.volume_m3(level)) <= 1e-6 * table.capacity_m3


def test_rows_are_no_coarser_than_a_millimetre() -> None:
    for table in (LYING, table_of(UprightCylinder(10, 13.7213))):
        steps = [b - a for a, b in zip(table.levels_m, table.levels_m[1:], strict=False)]
        assert max(steps) <= 0.001 + 1e-12
        assert min(steps) > 0


@given(st.floats(0.0005, 2.4995))
@settings(max_examples=200, deadline=None)
def test_level_to_volume_to_level_comes_back(level: float) -> None:
    low, high = LYING.levels_of(LYING.volume_m3(level))
    assert low == high == pytest.approx(level, abs=1e-9)


@given(st.floats(0, 2.5), st.floats(0, 2.5))
@settings(max_examples=200, deadline=None)
def test_volume_never_falls_as_the_level_rises(a: float, b: float) -> None:
    low, high = sorted((a, b))
    assert LYING.volume_m3(low) <= LYING.volume_m3(high)


def test_the_inverse_in_a_flat_stretch_is_the_whole_stretch() -> None:
    table = CapacityTable([0, 1, 2, 3, 4], [0, 10, 10, 10, 20])
    assert table.levels_of(10) == (1, 3)
    assert table.levels_of(15) == (3.5, 3.5)
    assert table.levels_of(0) == (0, 0)


@pytest.mark.parametrize("level", [-0.001, 13.001])
def test_a_level_off_the_table_has_no_volume(level: float) -> None:
    with pytest.raises(OutOfRange, match="capacity table"):
        table_of(UprightCylinder(10, 13)).volume_m3(level)


def test_a_volume_off_the_table_has_no_level() -> None:
    with pytest.raises(OutOfRange, match="not in the capacity table"):
        CapacityTable([0, 1], [0, 10]).levels_of(10.5)


@pytest.mark.parametrize(
    ("levels", "volumes", "words"),
    [
        ([0, 1, 1], [0, 1, 2], "row 3: level 1 m is not above"),
        ([0, 1, 2], [0, 2, 1], "row 3: volume 1 m3 is below"),
        ([0, 1], [0, 1, 2], "2 levels but 3 volumes"),
        ([0], [0], "at least two rows"),
        ([0, 1], [-1, 1], "negative"),
        ([0, 1], [5, 5], "flat"),
        ([0, float("nan")], [0, 1], "row 2"),
    ],
)
def test_a_table_that_breaks_its_rules_names_the_row(levels: list[float], volumes: list[float], words: str) -> None:
    with pytest.raises(BadTable, match=words):
        CapacityTable(levels, volumes)


def test_a_size_that_is_no_tank_is_refused() -> None:
    with pytest.raises(OutOfRange, match="diameter 1000 m"):
        UprightCylinder(1000, 10)


PRACTICE = {row["what"]: row for row in rows("stock/inventory_control.csv")}


def test_the_printed_rows_of_stick_readings_and_of_water_come_out() -> None:
    """Source: Wisconsin tank training page (33 1/4 in between two rows); US Army QM5097 p. 51 (fuel less water)."""
    inches = CapacityTable([33 * 0.0254, 34 * 0.0254], [337.0, 345.0])  # gallons stand for themselves
    row = PRACTICE["interpolation"]
    assert inches.volume_m3(33.25 * 0.0254) == pytest.approx(float(row["expected"]), abs=0.5)
    whole = CapacityTable([0.0, 0.1, 1.0], [0.0, 255.6, 17181.4])
    net = whole.volume_m3(1.0) - whole.volume_m3(0.1)
    assert net == pytest.approx(float(PRACTICE["net gross volume"]["expected"]))
    assert net * 0.9950 == pytest.approx(float(PRACTICE["standard volume"]["expected"]), abs=0.5)
