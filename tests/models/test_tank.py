import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from models.gauging import Gauged, level_rule, reading_of
from models.quantity import Calculation, Gauging, Product, Quantities, Shell
from models.reading import OK, TIMEOUT, WRONG_REPLY, Bound, Instant, Quality, Reading, Reason, Sample
from models.signal import Band
from models.tank import LevelKind, Linear, Measured, Measures, Tank
from models.trust import Trust
from tests.models.tanks import RANGE_M, TABLE, loop_tank


def sample(outcome: str = OK, **values: float | None) -> Sample:
    return Sample("palm-top", 0, outcome, values)


def figures(tank: Tank, gauging: Gauging) -> Quantities:
    return Calculation(tank.vessel, Product("jet", 800.0))(gauging)


GOOD, UNCERTAIN, BAD = Quality.GOOD, Quality.UNCERTAIN, Quality.BAD


@pytest.mark.parametrize(
    ("current", "quality", "reason", "level", "bound"),
    [
        # NE 43 (2003) limits, tolerance 0.25 % of span = 0.04 mA; the pairing with OPC UA symbols is the project's own
        (0.0, BAD, Reason.SENSOR_FAILURE, None, Bound.NONE),
        (3.6, BAD, Reason.SENSOR_FAILURE, None, Bound.NONE),
        (3.7, BAD, Reason.OUT_OF_RANGE, None, Bound.NONE),
        (3.8, UNCERTAIN, Reason.UNITS_EXCEEDED, -0.15, Bound.NONE),
        (3.95, UNCERTAIN, Reason.UNITS_EXCEEDED, -0.0375, Bound.NONE),
        (3.96, GOOD, Reason.NONE, -0.03, Bound.NONE),
        (4.0, GOOD, Reason.NONE, 0.0, Bound.NONE),
        (12.0, GOOD, Reason.NONE, 6.0, Bound.NONE),
        (20.0, GOOD, Reason.NONE, 12.0, Bound.NONE),
        (20.04, GOOD, Reason.NONE, 12.03, Bound.NONE),
        (20.05, UNCERTAIN, Reason.UNITS_EXCEEDED, 12.0, Bound.AT_LEAST),
        (20.5, UNCERTAIN, Reason.UNITS_EXCEEDED, 12.0, Bound.AT_LEAST),
        (20.6, BAD, Reason.OUT_OF_RANGE, 12.0, Bound.AT_LEAST),
        (20.99, BAD, Reason.OUT_OF_RANGE, 12.0, Bound.AT_LEAST),
        (21.0, BAD, Reason.SENSOR_FAILURE, None, Bound.NONE),
        (24.0, BAD, Reason.SENSOR_FAILURE, None, Bound.NONE),
    ],
)
def test_a_loop_current_is_trusted_as_far_as_it_deserves(
    current: float, quality: Quality, reason: Reason, level: float | None, bound: Bound
) -> None:
    measured = loop_tank().measure(sample(current=current))
    assert (measured.quality, measured.reason, measured.bound) == (quality, reason, bound)
    assert measured.level_m == (None if level is None else pytest.approx(level, abs=1e-9))
    assert measured.current_mA == current


@pytest.mark.parametrize(
    ("current", "level", "bound"),
    [(20.3, -0.225, Bound.NONE), (20.7, None, Bound.NONE), (3.9, 12.0, Bound.AT_LEAST), (3.7, 12.0, Bound.AT_LEAST)],
)
def test_a_loop_that_measures_distance_is_full_at_its_low_end(
    current: float, level: float | None, bound: Bound
) -> None:
    tank = loop_tank(measures=Measures.DISTANCE, at_4mA_m=1.5, at_20mA_m=13.5)
    assert tank.range_m == (12.0, 0.0)
    measured = tank.measure(sample(current=current))
    assert measured.bound is bound
    assert measured.level_m == (None if level is None else pytest.approx(level, abs=1e-9))


@pytest.mark.parametrize(
    ("outcome", "reason"),
    [
        (TIMEOUT, Reason.NO_COMMUNICATION),
        (WRONG_REPLY, Reason.COMMUNICATION_ERROR),
        ("exception-02", Reason.COMMUNICATION_ERROR),
    ],
)
def test_a_poll_without_the_level_is_bad_and_says_why(outcome: str, reason: Reason) -> None:
    measured = loop_tank().measure(sample(outcome))
    assert (measured.quality, measured.reason, measured.level_m) == (BAD, reason, None)


def test_an_answer_that_is_no_number_is_bad_never_zero() -> None:
    measured = loop_tank().measure(sample(current=None))
    assert (measured.quality, measured.reason, measured.level_m) == (BAD, Reason.OUT_OF_RANGE, None)


@pytest.mark.parametrize("current", [3.5, 3.7, 21.5])
def test_a_digital_level_is_not_trusted_while_its_loop_signals_a_failure(current: float) -> None:
    tank = loop_tank(kind=LevelKind.LENGTH, level=Linear("palm-top", "level", 0.001))
    assert tank.measure(sample(current=12.0, level=6543.0)).level_m == pytest.approx(6.543)
    measured = tank.measure(sample(current=current, level=6543.0))
    assert (measured.quality, measured.level_m) == (BAD, None)


@pytest.mark.parametrize(
    ("values", "quality", "level", "bound"),
    [
        ({"current": 20.7, "level": None}, BAD, 12.0, Bound.AT_LEAST),
        ({"current": 20.7}, BAD, 12.0, Bound.AT_LEAST),
        ({"current": 20.3, "level": 10_900.0}, UNCERTAIN, 12.0, Bound.AT_LEAST),
        ({"current": 20.3, "level": 12_400.0}, UNCERTAIN, 12.4, Bound.AT_LEAST),
        ({"current": 20.03, "level": 10_900.0}, GOOD, 10.9, Bound.NONE),
        ({"current": 12.0, "level": -3000.0}, BAD, None, Bound.NONE),  # far below the bottom: no level at all
        ({"current": 12.0, "level": -100.0}, UNCERTAIN, -0.1, Bound.NONE),
    ],
)
def test_the_high_side_of_a_digital_level_is_never_held_by_its_loop(
    values: dict[str, float | None], quality: Quality, level: float | None, bound: Bound
) -> None:
    tank = loop_tank(kind=LevelKind.LENGTH, level=Linear("palm-top", "level", 0.001))
    measured = tank.measure(Sample("palm-top", 0, OK, values))
    assert (measured.quality, measured.bound) == (quality, bound)
    assert measured.level_m == (None if level is None else pytest.approx(level))


def test_without_a_declared_range_a_loop_above_20_5_mA_still_says_full() -> None:
    tank = loop_tank(kind=LevelKind.LENGTH, level=Linear("palm-top", "level", 0.001), at_4mA_m=None, at_20mA_m=None)
    measured = tank.measure(Sample("palm-top", 0, OK, {"current": 20.7, "level": 11_900.0}))
    assert (measured.quality, measured.level_m, measured.bound) == (BAD, None, Bound.AT_LEAST)


@pytest.mark.parametrize(
    ("percent", "quality", "reason", "bound"),
    [
        (-25.0, BAD, Reason.SENSOR_FAILURE, Bound.NONE),  # 0 mA
        (-1.5, BAD, Reason.OUT_OF_RANGE, Bound.NONE),  # 3.76 mA
        (-1.0, UNCERTAIN, Reason.UNITS_EXCEEDED, Bound.NONE),
        (104.0, BAD, Reason.OUT_OF_RANGE, Bound.AT_LEAST),  # 20.64 mA
        (107.0, BAD, Reason.SENSOR_FAILURE, Bound.NONE),  # 21.12 mA
    ],
)
def test_a_percent_of_the_range_is_judged_like_the_current_it_is_made_of(
    percent: float, quality: Quality, reason: Reason, bound: Bound
) -> None:
    tank = loop_tank(kind=LevelKind.PERCENT, level=Linear("palm-top", "percent"), current_signal=None)
    measured = tank.measure(sample(percent=percent))
    assert (measured.quality, measured.reason, measured.bound) == (quality, reason, bound)


def test_a_percent_register_is_percent_of_the_declared_range() -> None:
    tank = loop_tank(kind=LevelKind.PERCENT, level=Linear("palm-top", "percent"), current_signal=None)
    assert tank.measure(sample(percent=50.0)).level_m == pytest.approx(RANGE_M / 2)
    assert tank.measure(sample(percent=100.2)).quality is GOOD
    assert tank.measure(sample(percent=100.3)).bound is Bound.AT_LEAST


def test_a_digital_level_needs_no_range() -> None:
    tank = loop_tank(
        kind=LevelKind.LENGTH,
        level=Linear("palm-top", "level", 0.001),
        at_4mA_m=None,
        at_20mA_m=None,
        current_signal=None,
    )
    assert tank.measure(sample(level=12_999.0)).quality is GOOD
    over = tank.measure(sample(level=13_001.0))
    assert (over.quality, over.reason) == (UNCERTAIN, Reason.UNITS_EXCEEDED)
    assert figures(tank, Gauging(13.001)).tov_m3 is None


def test_volumes_follow_the_table_and_the_water_is_taken_off() -> None:
    q = figures(loop_tank(water=Linear("palm-top", "water", 0.001), shell=Shell(11.2e-6)), Gauging(6.0, 40.0, 0.1))
    per_m = math.pi / 4 * 10**2
    assert q.tov_m3 == pytest.approx(6 * per_m)
    assert q.free_water_m3 == pytest.approx(0.1 * per_m)
    ctsh = 1 + 2 * 11.2e-6 * 25 + (11.2e-6 * 25) ** 2
    assert q.gov_m3 == pytest.approx(5.9 * per_m * ctsh)


def test_without_its_water_or_temperature_there_is_no_observed_net_volume() -> None:
    measured_water = loop_tank(water=Linear("palm-top", "water", 0.001))
    assert figures(measured_water, Gauging(6.0, 20.0)).gov_m3 is None
    assert figures(loop_tank(shell=Shell(11.2e-6)), Gauging(6.0)).gov_m3 is None
    q = figures(loop_tank(), Gauging(6.0))
    assert q.gov_m3 == q.tov_m3 is not None


def test_a_level_off_the_table_by_less_than_the_loops_tolerance_counts_as_its_end() -> None:
    """0.25 % of 12 m are 30 mm: an empty tank reads 3.97 mA at times."""
    tank = loop_tank()
    assert figures(tank, Gauging(-0.029)).tov_m3 == 0.0
    assert figures(tank, Gauging(13.029)).tov_m3 == TABLE.capacity_m3
    assert figures(tank, Gauging(-0.031)).tov_m3 is None
    assert figures(tank, Gauging(13.031)).tov_m3 is None


@given(st.floats(0, 30))
def test_every_current_gives_a_level_in_range_or_none(current: float) -> None:
    tank = loop_tank()
    measured = tank.measure(sample(current=current))
    assert measured.band is not None
    if not measured.band.measures:
        assert measured.quality is BAD
    if measured.band is Band.NORMAL:
        assert measured.quality is GOOD
        assert measured.level_m == pytest.approx((current - 4) / 16 * RANGE_M)
    if measured.level_m is not None:
        assert -0.2 <= measured.level_m <= RANGE_M * (1 + tank.tolerance_frac) + 1e-6


@pytest.mark.parametrize(
    ("water_m", "stock"),
    [(5.9, GOOD), (6.03, GOOD), (6.031, UNCERTAIN)],
)
def test_water_above_the_level_is_no_good_stock_of_nothing(water_m: float, stock: Quality) -> None:
    """The loop is known to 30 mm: up to there the tank may hold nothing but water."""
    tank = loop_tank(water=Linear("palm-top", "water", 0.001))
    gauging = Gauging(6.0, 20.0, water_m)
    measured = Measured(GOOD, Reason.NONE, None, 12.0, 6.0, Bound.NONE)
    known = Gauged(gauging, figures(tank, gauging))
    reading = reading_of(Instant(1, 0, 0), tank, measured, Trust(GOOD, Reason.NONE), known, None, None)
    assert (reading.quality, reading.stock_quality) == (GOOD, stock)


def test_a_silent_loop_is_no_digital_level_in_the_chain() -> None:
    silent = Reading(1, 1, "palm", Quality.BAD, Reason.NO_COMMUNICATION)
    assert level_rule(loop_tank(), silent) == "innage at 4 mA 0 m, at 20 mA 12 m, straight line"
