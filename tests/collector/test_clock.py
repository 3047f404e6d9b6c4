import time
from collections.abc import Iterator

import pytest

from collector.clock import RealClock

_time_ns = time.time_ns


def time_of_day_s() -> float:
    return _time_ns() / 1e9


def utc_ms() -> int:
    return time.time_ns() // 1_000_000


def test_at_normal_speed_it_is_the_computers_clock() -> None:
    clock = RealClock()
    before_ms, now_ms, after_ms = utc_ms(), clock.now_ms(), utc_ms()
    assert before_ms <= now_ms <= after_ms


async def test_a_faster_site_starts_now_and_runs_that_many_times_faster() -> None:
    """However long the machine takes from one reading to the next: each lies between two of its own."""
    before_s, before_ms = time.monotonic(), utc_ms()
    clock = RealClock(speed=1000.0)
    begun_s, begun_ms = time.monotonic(), utc_ms()
    now_ms, elapsed_ms = clock.both_ms()
    assert before_ms <= now_ms - elapsed_ms <= begun_ms
    asked_s, due = time.monotonic(), clock.elapsed_ms() + 20_000
    await clock.sleep_until_elapsed(due)
    least_s = time.monotonic() - begun_s
    elapsed_ms = clock.elapsed_ms()
    assert elapsed_ms >= due
    assert 1_000_000 * least_s - 1 <= elapsed_ms <= 1_000_000 * (time.monotonic() - before_s)
    assert 0.019 <= time.monotonic() - asked_s


async def test_a_step_of_the_computers_clock_moves_no_delay(monkeypatch: pytest.MonkeyPatch) -> None:
    clock = RealClock()
    before_s = time.monotonic()
    before, now = clock.elapsed_ms(), clock.now_ms()
    real = time.time_ns
    monkeypatch.setattr(time, "time_ns", lambda: real() - 3_600_000_000_000)
    assert clock.now_ms() < now - 3_500_000
    assert 0 <= clock.elapsed_ms() - before <= 1000 * (time.monotonic() - before_s) + 1


async def test_sleeping_never_ends_early() -> None:
    clock = RealClock()
    for _ in range(20):
        due = clock.elapsed_ms() + 2
        await clock.sleep_until_elapsed(due)
        assert clock.elapsed_ms() >= due


@pytest.mark.parametrize("speed", [0.0, -1.0, 1e6, float("nan")])
def test_an_impossible_speed_is_refused(speed: float) -> None:
    with pytest.raises(ValueError, match="allowed above 0 to 10000"):
        RealClock(speed)


def test_both_clocks_are_of_one_moment_at_any_speed(monkeypatch: pytest.MonkeyPatch) -> None:
    real_s = time.monotonic
    for speed in (1.0, 120.0):
        clock = RealClock(speed)
        first_now_ms, first_elapsed_ms = clock.both_ms()
        stalls = iter([3.0, 0.0, 0.0, 3.0] + [0.0] * 50)  # the machine stands still between two readings
        behind = [0.0]

        def stalled(behind: list[float] = behind, stalls: Iterator[float] = stalls) -> float:
            behind[0] += next(stalls)
            return real_s() + behind[0]

        monkeypatch.setattr(time, "monotonic", stalled)
        monkeypatch.setattr(time, "time_ns", lambda behind=behind: int((time_of_day_s() + behind[0]) * 1e9))
        now_ms, elapsed_ms = clock.both_ms()
        monkeypatch.undo()
        assert elapsed_ms - first_elapsed_ms >= 3000
        assert abs((now_ms - first_now_ms) - (elapsed_ms - first_elapsed_ms)) <= 60


async def test_a_clock_that_starts_elsewhere_goes_on_from_there_at_its_speed() -> None:
    start_ms = 1_796_115_600_000  # 2026-12-01T09:00Z
    for speed in (1.0, 50.0):
        clock = RealClock(speed, start_ms)
        assert clock.now_ms() >= start_ms
        await clock.sleep_until_elapsed(clock.elapsed_ms() + 20)
        now_ms, elapsed_ms = clock.both_ms()
        assert now_ms == start_ms + elapsed_ms
        assert elapsed_ms >= 20
