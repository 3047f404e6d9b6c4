"""Usable and dead stock, room, safe fill by the site's rule, time to a limit."""

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from models.capacity import CapacityTable
from models.errors import OutOfRange
from models.geometry import LyingCylinder, UprightCylinder
from models.geometry_tables import table_of
from models.working import (
    PercentRule,
    ResponseTimeRule,
    StopTimeRule,
    room_m3,
    time_to,
    time_to_high,
    time_to_low,
    working,
)
from tests.reference import rows

TABLE = table_of(UprightCylinder(10, 14))
LYING = table_of(LyingCylinder(2.5, 10))
AREA = math.pi * 25


def test_the_lowest_400_mm_are_stock_but_not_usable() -> None:
    """Computed in the trade's terms: 400 mm under the suction of a 10 m tank are 31 m3."""
    found = working(TABLE, 9.0, 0.4)
    assert found.dead_m3 == pytest.approx(31.4, abs=0.05)
    assert found.usable_m3 + found.dead_m3 == pytest.approx(TABLE.volume_m3(9.0))


def test_below_the_suction_nothing_is_usable() -> None:
    found = working(TABLE, 0.3, 0.4)
    assert found.usable_m3 == 0.0
    assert found.dead_m3 == pytest.approx(0.3 * AREA)


def test_water_above_the_suction_raises_the_floor() -> None:
    assert working(TABLE, 9.0, 0.4, water_m=0.5).usable_m3 == pytest.approx(8.5 * AREA)
    with pytest.raises(OutOfRange, match="water innage"):
        working(TABLE, 0.3, 0.4, water_m=0.5)


def test_safe_fill_by_response_time_leaves_room_for_the_fastest_receipt() -> None:
    """Form of API 2350 (secondary): 120 m3/h for 30 min below a critical high of 13.5 m."""
    found = ResponseTimeRule(13.5, 120 / 3600, 1800).safe_fill(TABLE)
    assert TABLE.volume_m3(13.5) - found.volume_m3 == pytest.approx(60.0)
    assert found.level_m == pytest.approx(13.5 - 60 / AREA, abs=1e-6)
    assert "API 2350" in found.rule


@pytest.mark.parametrize("row", rows("alarms/safe_fill_nh.csv"), ids=lambda row: row["id"])
def test_safe_fill_by_stop_time_is_that_of_the_rows(row: dict[str, str]) -> None:
    """Source: each row's own: the rule read in New Hampshire Env-Or 302.04, the figures computed. Any unit will do."""
    capacity, rate = float(row["rated_capacity"]), float(row["max_fill_rate_per_min"])
    table = CapacityTable([0.0, 10.0], [0.0, capacity])
    found = StopTimeRule(rate / 60, 60 * float(row["stop_time_min"])).safe_fill(table)
    assert found.volume_m3 == pytest.approx(float(row["max_safe_fill_volume"]), abs=0.005)
    assert 100 * found.volume_m3 / capacity == pytest.approx(float(row["percent"]), abs=5e-5)


def test_safe_fill_by_stop_time_takes_two_minutes_at_least() -> None:
    """Source: New Hampshire Env-Or 302.04: capacity - rate x stop time, or 2 min if longer."""
    quick, slow = (StopTimeRule(1 / 60, s).safe_fill(TABLE) for s in (30, 300))
    assert TABLE.capacity_m3 - quick.volume_m3 == pytest.approx(2.0)
    assert TABLE.capacity_m3 - slow.volume_m3 == pytest.approx(5.0)


def test_safe_fill_by_percent_is_of_volume_not_of_level() -> None:
    """Rule: 90 % of capacity, API RP 1525 7.1.4. In a lying cylinder that is 84.4 % of level (computed)."""
    found = PercentRule(90, "API RP 1525 7.1.4").safe_fill(LYING)
    assert found.volume_m3 == pytest.approx(0.9 * LYING.capacity_m3)
    assert 100 * found.level_m / 2.5 == pytest.approx(84.4, abs=0.1)
    assert "API RP 1525" in found.rule


def test_a_rule_that_leaves_nothing_is_refused() -> None:
    with pytest.raises(OutOfRange, match="no safe fill"):
        StopTimeRule(1.0, 3600).safe_fill(TABLE)
    with pytest.raises(OutOfRange, match="allowed above 0"):
        PercentRule(101, "nobody").safe_fill(TABLE)


def test_room_is_negative_above_the_limit() -> None:
    assert room_m3(TABLE, 12.0, 13.0) == pytest.approx(AREA)
    assert room_m3(TABLE, 13.0, 12.0) == pytest.approx(-AREA)


def test_time_to_a_limit_has_an_early_and_a_late_side() -> None:
    found = time_to(60.0, 2.0, 0.5)
    assert found == (30.0, 20.0, 60.0)
    uncertain = time_to(60.0, 2.0, 1.0)
    assert (uncertain.earliest_s, uncertain.latest_s) == (15.0, None)


def test_a_tank_that_moves_away_never_arrives() -> None:
    assert time_to_high(TABLE, 10, 12, -0.1) == (None, None, None)
    assert time_to_low(TABLE, 10, 1, 0.1) == (None, None, None)
    perhaps = time_to_high(TABLE, 10, 12, -0.1, 0.1)
    assert perhaps.expected_s is None
    assert perhaps.earliest_s == pytest.approx(2 * AREA / 0.1)


def test_a_limit_already_reached_takes_no_time() -> None:
    assert time_to_high(TABLE, 12.5, 12, 0.1) == (0.0, 0.0, 0.0)
    assert time_to_low(TABLE, 0.5, 1, -0.1) == (0.0, 0.0, 0.0)


def test_time_counts_volume_so_that_a_lying_tank_is_slow_in_the_middle() -> None:
    low, middle = (time_to_high(LYING, h, h + 0.1, 0.01).expected_s for h in (0.1, 1.2))
    assert low is not None
    assert middle is not None
    assert middle > low


def test_a_negative_spread_is_refused() -> None:
    with pytest.raises(OutOfRange, match="negative"):
        time_to(1, 1, -1)


@settings(max_examples=60, deadline=None)
@given(st.floats(1e-3, 1e4), st.floats(1e-6, 10), st.floats(0, 10))
def test_early_expected_and_late_stand_in_order(distance: float, rate: float, sd: float) -> None:
    found = time_to(distance, rate, sd)
    assert found.earliest_s is not None
    assert found.expected_s is not None
    assert found.earliest_s <= found.expected_s <= (math.inf if found.latest_s is None else found.latest_s)
