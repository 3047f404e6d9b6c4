"""Unordered movement: what must be seen within which time, and when it is over. Rule: 100 L/min within 10 min, 20 L/min
within 1 h for a tank of 10 m; 8 mm of it are 628 L (computed, pi / 4 x 10^2)."""

import pytest

from alerts.still import StillWatch

THRESHOLD_M3 = 0.628
HOUR_MS = 3_600_000


def seconds_until_seen(litres_per_min: float, noise_m3: float = 0.0) -> int | None:
    watch = StillWatch(HOUR_MS)
    for second in range(2 * 3600):
        wave = noise_m3 if second % 2 else -noise_m3
        moved = litres_per_min / 60_000 * max(0, second - 600)
        if watch.add(second * 1000, 500 - moved + wave):
            watch.judge(THRESHOLD_M3)
        if watch.moving:
            return second - 600
    return None


@pytest.mark.parametrize(("rate", "within_s"), [(100, 600), (-100, 600), (20, 3600), (-20, 3600)])
@pytest.mark.parametrize("noise_m3", [0.0, 0.25])
def test_a_movement_is_seen_in_time_into_the_tank_and_out_of_it(rate: float, within_s: int, noise_m3: float) -> None:
    seen = seconds_until_seen(rate, noise_m3)
    assert seen is not None
    assert THRESHOLD_M3 / abs(rate) * 60_000 <= seen <= within_s


def test_what_moves_less_than_the_threshold_in_the_window_is_no_movement() -> None:
    assert seconds_until_seen(5) is None


def test_it_is_over_when_the_tank_has_been_still_for_a_while_and_the_next_one_counts_from_there() -> None:
    watch, seen = StillWatch(HOUR_MS), []
    for minute in range(300):
        moved = 0.05 * min(max(0, minute - 60), 40) + 0.05 * max(0, minute - 200)
        if watch.add(minute * 60_000, 500 - moved):
            watch.judge(THRESHOLD_M3)
        if not seen or seen[-1][1] is not watch.moving:
            seen.append((minute, watch.moving))
    begins, ends, again = (minute for minute, _ in seen[1:])
    assert 60 < begins < 80
    assert 100 < ends < 135
    assert 200 < again < 216


def test_a_movement_that_was_ordered_leaves_nothing_behind() -> None:
    watch = StillWatch(HOUR_MS)
    for minute in range(120):
        volume = 500 + 2.0 * min(max(0, minute - 30), 20)
        if watch.add(minute * 60_000, volume):
            watch.judge(THRESHOLD_M3)
        if 30 <= minute <= 52:
            watch.excuse()
        assert not watch.moving


def test_a_signal_that_was_away_hides_no_movement() -> None:
    watch = StillWatch(HOUR_MS)
    for minute in (*range(30), *range(50, 60)):
        if watch.add(minute * 60_000, 500.0 if minute < 30 else 498.0):
            watch.judge(THRESHOLD_M3)
    assert watch.moving
    assert watch.moved_m3 == pytest.approx(-2.0)
