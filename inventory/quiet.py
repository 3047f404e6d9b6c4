"""Quiet hours of a tank: stretches in which nothing was moved, the liquid has settled, and the readings are whole.

Knows times only: what disturbed the tank, how long it must be left alone after that, where readings are missing.
Refuses to judge what the quiet hours show: that is of `inventory.leak`.
"""

from collections.abc import Iterable, Sequence
from typing import Final, NamedTuple

HOUR_MS: Final = 3_600_000
DAY_MS: Final = 24 * HOUR_MS


class Disturbance(NamedTuple):
    """Something that moved or stirred the liquid. end_ms: None while it goes on. wait_ms: rest that it asks for."""

    start_ms: int
    end_ms: int | None
    wait_ms: int
    what: str

    @property
    def until_ms(self) -> int | None:
        """When the tank is quiet again; None while it is not known."""
        return None if self.end_ms is None else self.end_ms + self.wait_ms


class Stretch(NamedTuple):
    """start <= t < end."""

    start_ms: int
    end_ms: int

    @property
    def hours(self) -> float:
        return (self.end_ms - self.start_ms) / HOUR_MS


def quiet_stretches(
    from_ms: int, to_ms: int, disturbances: Iterable[Disturbance], holes: Iterable[Stretch] = ()
) -> list[Stretch]:
    """What is left of from <= t < to, oldest first. holes: stretches without trusted readings."""
    taken = [
        Stretch(one.start_ms, to_ms if one.until_ms is None else max(one.start_ms + 1, one.until_ms))
        for one in disturbances
    ]
    left, at_ms = [], from_ms
    for start_ms, end_ms in sorted([*taken, *holes]):
        if start_ms > at_ms:
            left.append(Stretch(at_ms, min(start_ms, to_ms)))
        at_ms = max(at_ms, end_ms)
        if at_ms >= to_ms:
            break
    if at_ms < to_ms:
        left.append(Stretch(at_ms, to_ms))
    return [one for one in left if one.end_ms > one.start_ms]


def newest_window(stretches: Sequence[Stretch], shortest_ms: int, longest_ms: int) -> Stretch | None:
    """The newest stretch that is long enough, whole days of it where it lasts a day: the day's swing closes in them.

    A stretch of a whole day goes before a newer one that is shorter, where the day is not more than a week older.
    """
    windows = [one for stretch in stretches if (one := trimmed(stretch, shortest_ms, longest_ms)) is not None]
    if not windows:
        return None
    newest = windows[-1]
    whole = [one for one in windows if one.hours >= 24 and newest.end_ms - one.end_ms <= 7 * DAY_MS]
    return whole[-1] if whole else newest


def trimmed(stretch: Stretch, shortest_ms: int, longest_ms: int) -> Stretch | None:
    """The end of a stretch, as long as a test may be; whole days from a day on. None where it is too short."""
    length = min(stretch.end_ms - stretch.start_ms, longest_ms)
    if length < shortest_ms:
        return None
    if length >= DAY_MS:
        length -= length % DAY_MS
    return Stretch(stretch.end_ms - length, stretch.end_ms)


def touching(window: Stretch, disturbances: Iterable[Disturbance]) -> list[Disturbance]:
    """What of it stirs a window, or has not been over for long enough when it begins."""
    return [
        one
        for one in disturbances
        if one.start_ms < window.end_ms and (one.until_ms is None or one.until_ms > window.start_ms)
    ]
