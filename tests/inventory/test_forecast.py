"""Days of cover and the order point: exact where the pattern is exact, refused where days are few, robust to gaps."""

from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.forecast import ForecastRules, IssueDay, Pattern, Refusal, cover, order_point, pattern

MONDAY = date(2026, 3, 2)
RULES = ForecastRules()


def days(issued: list[float | None], last: date = MONDAY) -> list[IssueDay]:
    """Days that end the day before `last`."""
    first = last - timedelta(days=len(issued))
    return [IssueDay((first + timedelta(days=k)).isoformat(), value) for k, value in enumerate(issued)]


def made(issued: list[float | None], rules: ForecastRules = RULES) -> Pattern:
    found = pattern(days(issued), MONDAY, rules)
    assert isinstance(found, Pattern)
    return found


def test_an_even_issue_gives_stock_by_issue() -> None:
    by = made([10.0] * 56)
    assert by.sd_m3 == pytest.approx(0)
    for answer in cover(125.0, by, MONDAY):
        assert answer == pytest.approx(12.5)
    point = order_point(125.0, by, MONDAY, 3.5)
    assert point.usable_m3 == pytest.approx(35.0)
    assert point.in_days == pytest.approx(9.0)


def test_weekdays_are_told_apart() -> None:
    week = [20.0, 10.0, 10.0, 10.0, 30.0, 2.0, 2.0]
    by = made(week * 8)
    assert by.mean_m3 == pytest.approx(12.0, rel=0.03)
    assert by.by_weekday == pytest.approx(week, abs=4.0)  # each drawn a little to the mean of all
    friday = cover(25.0, by, MONDAY + timedelta(days=4)).days
    saturday = cover(25.0, by, MONDAY + timedelta(days=5)).days
    assert friday is not None
    assert saturday is not None
    assert friday < 1 < 2 < saturday


def test_a_gap_is_not_a_day_without_issues() -> None:
    whole, holed = made([10.0] * 56), made([10.0, None, 10.0, None] * 14)
    assert holed.by_weekday == pytest.approx(whole.by_weekday)
    assert (holed.days, holed.asked) == (28, 56)
    quiet = made([10.0, 0.0, 10.0, 0.0] * 14)
    assert quiet.mean_m3 == pytest.approx(5.0, rel=0.05)


def test_one_enormous_day_does_not_make_a_pattern() -> None:
    usual: list[float | None] = [10.0 + (k % 5) for k in range(56)]
    plain = made(usual)
    usual[-3] = 900.0
    assert made(usual).mean_m3 < 1.1 * plain.mean_m3


@pytest.mark.parametrize("known", [0, 1, 13])
def test_too_few_days_are_refused_with_their_number(known: int) -> None:
    found = pattern(days([None] * 20 + [5.0] * known), MONDAY, RULES)
    assert isinstance(found, Refusal)
    assert found.why == f"only {known} of the last 56 days are known; a forecast is told from 14 on"


def test_days_too_old_and_today_itself_do_not_count() -> None:
    old = days([99.0] * 30, MONDAY - timedelta(days=60))
    today = [IssueDay(MONDAY.isoformat(), 500.0)]
    by = pattern([*old, *days([10.0] * 20), *today], MONDAY, RULES)
    assert isinstance(by, Pattern)
    assert by.days == 20
    assert by.mean_m3 == pytest.approx(10.0)


def test_no_issues_at_all_last_beyond_the_horizon() -> None:
    by = made([0.0] * 30)
    assert cover(10.0, by, MONDAY) == (None, None, None)
    assert order_point(10.0, by, MONDAY, 5).in_days is None


def test_nothing_usable_is_no_day() -> None:
    by = made([10.0] * 30)
    assert cover(0.0, by, MONDAY) == (0, 0, 0)
    assert order_point(-3.0, by, MONDAY, 2).in_days == 0


issues = st.lists(st.one_of(st.none(), st.floats(0, 80)), min_size=30, max_size=56)


@given(issues, st.floats(0, 2000), st.floats(0, 2000), st.integers(0, 6))
def test_more_stock_lasts_no_less_and_the_interval_is_in_order(
    issued: list[float | None], a: float, b: float, weekday: int
) -> None:
    by = pattern(days(issued), MONDAY, ForecastRules(least_days=2))
    if isinstance(by, Refusal):
        assert sum(one is not None for one in issued) < 2
        return
    start = MONDAY + timedelta(days=weekday)
    beyond = 1e9
    less, more = cover(min(a, b), by, start), cover(max(a, b), by, start)
    for name in ("days", "earliest", "latest"):
        few, many = getattr(less, name), getattr(more, name)
        assert (beyond if few is None else few) <= (beyond if many is None else many) + 1e-9
    ends = [beyond if one is None else one for one in (less.earliest, less.days, less.latest)]
    assert ends == sorted(ends)


@given(issues, st.floats(0, 30), st.floats(0, 30))
def test_a_longer_lead_orders_earlier(issued: list[float | None], a: float, b: float) -> None:
    by = pattern(days(issued), MONDAY, ForecastRules(least_days=2))
    if isinstance(by, Refusal):
        return
    short, long = (order_point(500.0, by, MONDAY, lead) for lead in sorted((a, b)))
    assert short.usable_m3 <= long.usable_m3 + 1e-9
    assert (1e9 if long.in_days is None else long.in_days) <= (1e9 if short.in_days is None else short.in_days) + 1e-9
