"""Water in kerosene: the rows that are at hand, and the laws between them."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from models.bounds import Bounds, between, total
from models.errors import OutOfRange
from models.fuelwater import forum_ppm, rule_ppm, shed_frac, solubility_ppm
from tests.models.stock_cases import cases

WARM = st.floats(-10, 60)


@pytest.mark.parametrize("row", cases("fuel_water", lambda row: row["id"][0] == "k"))
def test_the_rows_of_the_forum_come_out(row: dict[str, str]) -> None:
    """Secondary: the thread that the row names."""
    assert forum_ppm(float(row["temperature_degC"])) == pytest.approx(float(row["water_ppm_by_volume"]), rel=1e-12)


@pytest.mark.parametrize("row", cases("fuel_water", lambda row: row["id"][0] == "f"))
def test_the_rule_of_thumb_comes_out(row: dict[str, str]) -> None:
    """From memory."""
    assert rule_ppm(float(row["temperature_degC"])) == pytest.approx(float(row["water_ppm_by_volume"]), rel=1e-12)


def test_a_tank_that_cools_by_three_degrees_sheds_about_three_litres() -> None:
    """Computed elsewhere from the forum's rows, straight between 20 and 40 degC: 570 m3 by 3 degC shed about 3.2 L."""
    shed = shed_frac(31.5, 28.5)
    assert 1000 * 570 * shed.high == pytest.approx(3.1, abs=0.15)
    assert 1000 * 570 * shed.low == pytest.approx(3.0, abs=0.15)


@given(WARM, WARM, WARM)
def test_more_dissolves_in_warmer_fuel_and_shedding_adds_up(a: float, b: float, c: float) -> None:
    cold, mid, hot = sorted((a, b, c))
    assert solubility_ppm(cold).low <= solubility_ppm(hot).low + 1e-9
    assert solubility_ppm(cold).high <= solubility_ppm(hot).high + 1e-9
    whole, parts = shed_frac(hot, cold), (shed_frac(hot, mid), shed_frac(mid, cold))
    assert whole.high <= total(parts).high + 1e-15
    assert whole.low >= total(parts).low - 1e-15
    assert shed_frac(cold, hot) == (0, 0)


@given(WARM, WARM, st.floats(0, 1), st.floats(0, 1))
def test_drier_fuel_sheds_less(a: float, b: float, x: float, y: float) -> None:
    cold, hot = sorted((a, b))
    held = between(min(x, y), max(x, y))
    shed, saturated = shed_frac(hot, cold, held), shed_frac(hot, cold)
    assert 0 <= shed.low <= shed.high <= saturated.high + 1e-15
    assert shed.low <= saturated.low + 1e-15


def test_what_is_not_known_is_refused() -> None:
    with pytest.raises(OutOfRange, match=r"fuel at 80\.0 degC"):
        solubility_ppm(80)
    with pytest.raises(OutOfRange, match="saturation"):
        shed_frac(30, 20, Bounds(0.5, 1.2))
    with pytest.raises(OutOfRange, match="lies above"):
        between(2, 1)


def test_bounds_scale_and_add() -> None:
    assert Bounds(1, 2).scaled(-3) == (-6, -3)
    assert total([Bounds(1, 2), Bounds(-1, 5)]) == (0, 7)
    assert Bounds(1, 2).holds(2)
    assert not Bounds(1, 2).holds(2.1)
