"""The liquid: expansion of the right size, nothing lost in layers, warm above cold."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from simulator.demo.layout import AVGAS, DIESEL, JET
from simulator.errors import SimulatorError
from simulator.geometry import Course, Upright
from simulator.liquid import Column, Product
from simulator.weather import Air

SHAPE = Upright((Course(12.0, 10.0),))


@pytest.mark.parametrize(
    ("product", "alpha_per_degC"),
    [
        # computed from the published constants of API MPMS 11.1-2004 for the density of each, at 15 degC
        (JET, 9.29e-4),
        (DIESEL, 8.44e-4),
        (AVGAS, 1.25e-3),
    ],
)
def test_liquids_swell_about_as_much_as_the_tables_say(product: Product, alpha_per_degC: float) -> None:
    assert product.swelling(16.0) - 1 == pytest.approx(alpha_per_degC, rel=0.03)


@settings(max_examples=40, deadline=None)
@given(
    moves=st.lists(
        st.tuples(st.floats(0.0, 60.0), st.floats(0.0, 25.0), st.floats(5.0, 40.0)), min_size=1, max_size=12
    ),
    ambient=st.floats(-10.0, 40.0),
)
def test_standard_volume_changes_only_by_what_is_pumped(
    moves: list[tuple[float, float, float]], ambient: float
) -> None:
    column = Column(JET, 400.0, 22.0, 2.0)
    expected = column.standard_m3
    for into, out, warm in moves:
        expected += into / JET.swelling(warm)
        column.pump_in(into, warm)
        expected -= out / JET.swelling(column.bottom_degC)
        column.pump_out(out)
        column.settle(60.0, 5.0, SHAPE, Air(ambient, 0.5), 20.0)
    assert column.standard_m3 == pytest.approx(expected, rel=1e-9)
    assert column.volume_m3 == pytest.approx(
        column.standard_m3 * sum(map(JET.swelling, column.temperatures_degC)) / 6, rel=1e-9
    )


@settings(max_examples=40, deadline=None)
@given(warm=st.floats(0.0, 50.0), into=st.floats(0.01, 300.0), ambient=st.floats(-20.0, 45.0))
def test_no_layer_is_ever_warmer_than_the_one_above(warm: float, into: float, ambient: float) -> None:
    column = Column(JET, 400.0, 22.0, 2.0)
    column.pump_in(into, warm)
    for _ in range(10):
        column.settle(300.0, 5.0, SHAPE, Air(ambient, 0.0), 15.0)
    assert column.temperatures_degC == sorted(column.temperatures_degC)


def test_a_cold_receipt_lies_down_below_the_old_liquid() -> None:
    column = Column(JET, 300.0, 30.0, 0.0)
    column.pump_in(100.0, 10.0)
    column.settle(0.0, 5.0, SHAPE, Air(30.0, 0.0), 30.0)
    assert column.bottom_degC == pytest.approx(10.0)
    assert column.temperatures_degC[-1] == pytest.approx(30.0)
    heat = 100 / JET.swelling(10.0) * 10 + 300 / JET.swelling(30.0) * 30
    assert column.mean_degC == pytest.approx(heat / column.standard_m3, rel=1e-9)


def test_an_issue_takes_the_lowest_layer_away() -> None:
    column = Column(JET, 300.0, 20.0, 6.0)
    coldest = column.bottom_degC
    column.pump_out(120.0)
    column.settle(0.0, 5.0, SHAPE, Air(20.0, 0.0), 20.0)
    assert column.bottom_degC > coldest + 1


def test_the_sun_warms_the_top_first_and_one_spot_does_not_tell_the_mean() -> None:
    column = Column(JET, 500.0, 20.0, 0.0)
    for _ in range(36):
        column.settle(600.0, 6.4, SHAPE, Air(28.0, 1.0), 20.0)
    assert column.at_frac(1.0) > column.mean_degC + 0.1 > column.at_frac(0.1)


def test_a_tank_pumped_dry_is_said_so() -> None:
    column = Column(JET, 10.0, 20.0, 0.0)
    with pytest.raises(SimulatorError, match="dry"):
        column.pump_out(11.0)
