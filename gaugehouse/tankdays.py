"""Kept readings as site days: what a tank held, how warm it was, where its water stood, day by day.

Asks the store for hours, which it has as roll-ups, and puts them together by the site's own days; so a year of a tank
takes a moment. Knows readings; refuses to know documents.
"""

import statistics
from collections.abc import Sequence
from typing import Final, NamedTuple

from gaugehouse.days import Day, Days
from history.store import HOUR_MS, MOST_POINTS, Store

QUANTITIES: Final = ("tov_m3", "temperature_degC", "water_m")


class Spread(NamedTuple):
    """A figure over one day: lowest, median of the hours' means, mean of them, highest."""

    low: float
    median: float
    mean: float
    high: float


class ReadDay(NamedTuple):
    """A tank's day by its readings; None where the day has no figure. watched: share of its hours with a Good level."""

    day: Day
    tov_m3: Spread | None
    temperature_degC: Spread | None
    water_m: Spread | None
    watched: float


def last_days(days: Days, count: int, now_ms: int) -> list[Day]:
    """So many whole site days before today, oldest first."""
    found: list[Day] = []
    day = days.at(now_ms)
    for _ in range(count):
        day = days.at(day.start_ms - 1)
        found.append(day)
    return found[::-1]


def read_days(store: Store, tank: str, days: Sequence[Day]) -> list[ReadDay]:
    """The days of a tank, which must follow each other."""
    hours = {quantity: _hours(store, tank, quantity, days) for quantity in QUANTITIES}
    watched = {start: good for start, (_, _, _, good) in hours["tov_m3"].items()}
    found = []
    for day in days:
        starts = range(-(-day.start_ms // HOUR_MS) * HOUR_MS, day.end_ms, HOUR_MS)
        spreads = {quantity: _spread(hours[quantity], starts) for quantity in QUANTITIES}
        share = sum(watched.get(start) or 0.0 for start in starts) / max(1, len(starts))
        found.append(ReadDay(day, spreads["tov_m3"], spreads["temperature_degC"], spreads["water_m"], share))
    return found


_Hour = tuple[float | None, float | None, float | None, float | None]


def _hours(store: Store, tank: str, quantity: str, days: Sequence[Day]) -> dict[int, _Hour]:
    """Lowest, mean, highest and Good share of each hour, by its first millisecond."""
    found: dict[int, _Hour] = {}
    if not days:
        return found
    start, end = days[0].start_ms // HOUR_MS * HOUR_MS, days[-1].end_ms
    while start < end:
        points = max(10, min(MOST_POINTS, -(-(end - start) // HOUR_MS)))
        trend = store.trend(tank, quantity, start, points * HOUR_MS, points)
        found.update(zip(trend.t, zip(trend.min, trend.mean, trend.max, trend.good, strict=True), strict=True))
        start += points * HOUR_MS
    return found


def _spread(hours: dict[int, _Hour], starts: range) -> Spread | None:
    known = [hour for hour in (hours.get(start) for start in starts) if hour is not None and hour[1] is not None]
    means = [mean for _, mean, _, _ in known if mean is not None]
    if not means:
        return None
    lows = [low for low, _, _, _ in known if low is not None]
    highs = [high for _, _, high, _ in known if high is not None]
    return Spread(min(lows), statistics.median(means), statistics.fmean(means), max(highs))
