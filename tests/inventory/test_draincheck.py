"""When a drain check is due next: by days, by whether a tank works, by the site's own rule."""

from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.draincheck import DrainCheck, DrainResult, DrainRules, check_from, check_json, next_due

HOUR_MS = 3_600_000
RULES = DrainRules()


@pytest.mark.parametrize(("working", "due"), [(True, "2026-03-02"), (False, "2026-03-08")])
def test_working_tanks_daily_others_weekly(working: bool, due: str) -> None:
    """US Army QM5200 p. 10-3, storage operations g and h: working tanks daily, other tanks weekly."""
    assert next_due("2026-03-01", working, RULES).day == due


def test_what_was_never_checked_has_no_day() -> None:
    assert next_due(None, True, RULES).day is None


def test_a_tank_works_while_fuel_moved_lately_or_the_site_says_so() -> None:
    rules = DrainRules(working=("palm",))
    assert rules.works("palm", None, 0)
    assert not rules.works("fern", None, 0)
    assert rules.works("fern", 100 * HOUR_MS, 172 * HOUR_MS)
    assert not rules.works("fern", 100 * HOUR_MS, 173 * HOUR_MS)


@given(st.dates(date(2000, 1, 1), date(2100, 1, 1)), st.integers(1, 60))
def test_the_next_day_lies_so_many_days_on(day: date, days: int) -> None:
    due = next_due(day.isoformat(), True, DrainRules(working_days=days)).day
    assert due is not None
    assert (date.fromisoformat(due) - day).days == days


@given(
    st.builds(
        DrainCheck,
        number=st.integers(1),
        tank=st.text(min_size=1),
        day=st.just("2026-03-01"),
        time_ms=st.integers(0),
        by=st.text(min_size=1),
        result=st.sampled_from(DrainResult),
        water_m3=st.floats(0, 2),
        document=st.none() | st.integers(1),
    )
)
def test_a_check_reads_back_as_it_was_written(check: DrainCheck) -> None:
    assert check_from(check_json(check)) == check
