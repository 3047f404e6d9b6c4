"""Figures of a loop's faults: how often they came back, how long it was watched, what that may be called.

Pure. A mean time between failures is the time watched over the number of failures (the usual point estimate, IEC
60050-192, from memory); from fewer than five it would promise more than it knows, so that count and exposure are
printed alone (common practice, no source).
"""

from bisect import bisect_left, bisect_right
from collections.abc import Sequence
from typing import Final, NamedTuple

from alerts.watchtime import DAY_MS, Watched

LEAST_FOR_MEAN: Final = 5
HOUR_MS: Final = 3_600_000


class LoopFigures(NamedTuple):
    """Of one loop over some days.

    faults: how many began. availability: the part of the time watched with a trustworthy signal, None where it was not
    watched. mean_h: mean time between failures in hours of watching, None from fewer than five.
    """

    days: int
    faults: int
    watched_h: float
    lost_h: float
    availability: float | None
    mean_h: float | None


def loop_figures(starts_ms: Sequence[int], watched: Watched, now_ms: int, days: int) -> LoopFigures:
    """starts_ms: when its faults began. watched: over the same days."""
    count = sum(now_ms - days * DAY_MS <= start <= now_ms for start in starts_ms)
    hours = watched.watched_ms / HOUR_MS
    return LoopFigures(
        days,
        count,
        hours,
        watched.lost_ms / HOUR_MS,
        1 - watched.lost_ms / watched.watched_ms if watched.watched_ms else None,
        hours / count if count >= LEAST_FOR_MEAN and hours > 0 else None,
    )


def repeats(starts_ms: Sequence[int], at_ms: int, days: int) -> int:
    """How many faults of the rising `starts_ms` began in the `days` up to a time, the one of that time among them."""
    return bisect_right(starts_ms, at_ms) - bisect_left(starts_ms, at_ms - days * DAY_MS)
