"""Levels of concern and the latency budget, against rows that name their source."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from models.concern import (
    LATENCY_WORDS,
    LEAST_GAP_M,
    LEAST_RESPONSE_S,
    Latency,
    critical_high,
    high_high,
    maximum_working,
    minimum_working,
    rise_s,
    set_down,
)
from models.errors import OutOfRange
from models.geometry import LyingCylinder, UprightCylinder
from models.geometry_tables import table_of
from tests.reference import rows

TABLE = table_of(UprightCylinder(10, 14))
AREA = math.pi * 25
LITRES_PER_MIN = 1 / 60_000


@pytest.mark.parametrize("row", rows("alarms/overfill_levels.csv"), ids=lambda row: row["id"])
def test_high_high_lies_below_critical_high_as_in_the_rows(row: dict[str, str]) -> None:
    """Source: each row's own; the least gap is API 2350's, secondary."""
    top_m = float(row["critical_high_mm"]) / 1000
    table = table_of(UprightCylinder(float(row["tank_diameter_m"]), top_m + 0.5))
    rate = float(row["max_fill_L_per_min"]) * LITRES_PER_MIN
    found = high_high(table, top_m, rate, 60 * float(row["response_time_min"]))
    assert 1000 * found == pytest.approx(float(row["high_high_mm"]), abs=0.0006)
    assert 1000 * (top_m - found) == pytest.approx(float(row["gap_mm"]), abs=0.0006)
    rise_mm_per_min = 60_000 * 1e-3 / rise_s(table, top_m - 1, top_m - 0.999, rate)
    assert rise_mm_per_min == pytest.approx(float(row["rise_mm_per_min"]), abs=5e-4)


@pytest.mark.parametrize("row", rows("alarms/overfill_latency.csv"), ids=lambda row: row["id"])
def test_the_latency_budget_adds_up_as_in_the_rows(row: dict[str, str]) -> None:
    """Source: each row's own. The rows count no missed poll and put people, valve and line together."""
    found = Latency(
        poll_s=float(row["poll_s"]),
        filter_s=float(row["filter_tau_s"]),
        on_delay_s=float(row["on_delay_s"]),
        notification_s=float(row["notify_s"]),
        valve_closing_s=float(row["stop_flow_s"]),
    )
    assert found.total_s == pytest.approx(float(row["total_s"]))
    rise = float(row["rise_mm_per_min"])
    assert 1000 * found.consumed_m(rise / 60_000) == pytest.approx(float(row["level_consumed_mm"]), abs=5e-5)
    assert found.unseen_s == pytest.approx(found.total_s - float(row["stop_flow_s"]))


def test_every_part_of_the_budget_has_its_word() -> None:
    assert len(LATENCY_WORDS) == len(Latency._fields)
    assert Latency(*range(1, 11)).total_s == 55


def test_working_levels_leave_the_operator_s_time() -> None:
    """Computed: 3000 L/min over 10 min is 30 m3, 381.97 mm of a 10 m tank."""
    assert maximum_working(TABLE, 11.0, 3000 * LITRES_PER_MIN, 600) == pytest.approx(11 - 30 / AREA, abs=1e-6)
    assert minimum_working(TABLE, 0.5, 3000 * LITRES_PER_MIN, 600) == pytest.approx(0.5 + 30 / AREA, abs=1e-6)


def test_the_lowest_ceiling_is_critical_high() -> None:
    assert critical_high(12.6, None, 12.4) == 12.4
    with pytest.raises(OutOfRange, match="give critical_high"):
        critical_high(None, None)


def test_a_rate_that_leaves_no_level_is_told_with_the_mend() -> None:
    with pytest.raises(OutOfRange, match="lower the rate or the time"):
        high_high(TABLE, 12.0, 1.0, 3600)
    with pytest.raises(OutOfRange, match="lower the rate or time"):
        minimum_working(TABLE, 0.5, 1.0, 3600)


def test_a_level_is_set_to_a_tenth_of_a_millimetre_and_never_up() -> None:
    assert [set_down(x) for x in (11.23459, 11.2345, 11.23451)] == [11.2345, 11.2345, 11.2345]


@given(
    rate=st.floats(1e-4, 0.2), response=st.floats(0, 3600), top=st.floats(1.5, 2.5), lying=st.booleans()
)  # fmt: skip
def test_the_rise_from_high_high_to_critical_high_is_never_short(
    rate: float, response: float, top: float, lying: bool
) -> None:
    """Law: whatever the shape, the gap holds the response time, five minutes and 75 mm."""
    table = LYING if lying else UPRIGHT
    try:
        found = high_high(table, top, rate, response)
    except OutOfRange:
        assert table.volume_m3(top) <= rate * max(response, LEAST_RESPONSE_S) + 1e-9
        return
    assert rise_s(table, found, top, rate) >= max(response, LEAST_RESPONSE_S) * (1 - 1e-9) - 1e-6
    assert top - found >= LEAST_GAP_M - 1e-9


LYING = table_of(LyingCylinder(2.5, 10))
UPRIGHT = table_of(UprightCylinder(3, 3))
