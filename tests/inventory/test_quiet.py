"""Quiet hours: what is left when movements, their waits and missing readings are taken out."""

from itertools import pairwise

from hypothesis import given
from hypothesis import strategies as st

from inventory.quiet import (
    DAY_MS,
    HOUR_MS,
    Disturbance,
    Stretch,
    newest_window,
    quiet_stretches,
    touching,
    trimmed,
)

H = HOUR_MS


def test_a_receipt_takes_its_wait_with_it_and_an_issue_a_shorter_one():
    found = [Disturbance(10 * H, 12 * H, 24 * H, "receipt"), Disturbance(50 * H, 51 * H, 2 * H, "issue")]
    assert quiet_stretches(0, 60 * H, found) == [(0, 10 * H), (36 * H, 50 * H), (53 * H, 60 * H)]


def test_what_goes_on_leaves_nothing_after_it():
    assert quiet_stretches(0, 60 * H, [Disturbance(5 * H, None, 0, "issue")]) == [(0, 5 * H)]


def test_hours_without_readings_part_a_stretch():
    assert quiet_stretches(0, 10 * H, [], [Stretch(3 * H, 4 * H)]) == [(0, 3 * H), (4 * H, 10 * H)]


def test_a_wait_that_began_before_the_time_asked_for_counts():
    assert quiet_stretches(0, 10 * H, [Disturbance(-9 * H, -8 * H, 12 * H, "receipt")]) == [(4 * H, 10 * H)]


@given(
    st.lists(st.tuples(st.integers(-50, 150), st.integers(0, 20), st.integers(0, 40)), max_size=8),
    st.lists(st.tuples(st.integers(0, 100), st.integers(1, 10)), max_size=5),
)
def test_no_quiet_hour_touches_anything(moved, holes):
    disturbances = [Disturbance(a, a + b, wait, "x") for a, b, wait in moved]
    gaps = [Stretch(a, a + b) for a, b in holes]
    left = quiet_stretches(0, 100, disturbances, gaps)
    taken = {t for one in disturbances for t in range(one.start_ms, max(one.start_ms + 1, one.until_ms or 0))}
    taken |= {t for gap in gaps for t in range(*gap)}
    assert {t for one in left for t in range(*one)} == set(range(100)) - taken
    assert all(a.end_ms < b.start_ms for a, b in pairwise(left))


def test_from_a_day_on_whole_days_are_taken_from_the_end():
    assert trimmed(Stretch(0, 53 * H), 8 * H, 72 * H) == (5 * H, 53 * H)
    assert trimmed(Stretch(0, 23 * H), 8 * H, 72 * H) == (0, 23 * H)
    assert trimmed(Stretch(0, 7 * H), 8 * H, 72 * H) is None
    assert trimmed(Stretch(0, 200 * H), 8 * H, 72 * H) == (128 * H, 200 * H)


def test_a_whole_day_goes_before_a_newer_night_but_not_for_ever():
    day, night = Stretch(0, DAY_MS), Stretch(5 * DAY_MS, 5 * DAY_MS + 9 * H)
    assert newest_window([day, night], 8 * H, 72 * H) == day
    late = Stretch(9 * DAY_MS, 9 * DAY_MS + 9 * H)
    assert newest_window([day, late], 8 * H, 72 * H) == late
    assert newest_window([Stretch(0, 2 * H)], 8 * H, 72 * H) is None


def test_a_window_is_touched_by_what_runs_into_it_and_by_a_wait_that_is_not_over():
    window = Stretch(10 * H, 20 * H)
    inside = Disturbance(12 * H, 13 * H, 0, "issue")
    waiting = Disturbance(0, 2 * H, 9 * H, "receipt")
    over = Disturbance(0, 2 * H, 8 * H, "receipt")
    after = Disturbance(20 * H, None, 0, "issue")
    assert touching(window, [inside, waiting, over, after]) == [inside, waiting]
