"""The points of a tank's figure for `history.aggregates`, out of a store that gives columns.

Knows which quality goes with which figure and when readings are too far apart to belong together; refuses to know how
aggregates are made. Between two readings further apart than that stands a point without a value.
"""

from collections.abc import Iterable
from typing import Final, NamedTuple, Protocol

import numpy as np

from history.aggregates import Result, aggregate, rule_of
from history.block import Columns, status_parts
from history.errors import BadQuestion
from history.points import STANDARD, Points, Treatment
from history.store import COUNTS_WHEN_BAD
from models.reading import QUANTITY

LONGEST_MS: Final = 400 * 86_400_000
MOST_READINGS: Final = 6_000_000
STOCK: Final = frozenset({"gsv_m3", "mass_kg", "gsv_u95_m3"})
"""Figures whose quality is that of the stock: it rests on more than the level."""
OF_READINGS: Final = frozenset(
    {"Average", "Minimum", "Maximum", "Range", "Start", "End", "Delta", "Count", "WorstQuality"}
)
"""Aggregates of the readings alone: a gap between them is none of these."""
OVER_TIME: Final = frozenset({"TimeAverage2", "Total2"})
"""Those that draw nothing where nobody measured."""
NONE_LEFT: Final = "its single readings are no longer kept; a trend tells the means, lows and highs of that time"


class Columnar(Protocol):
    """What this needs of a store."""

    def columns(self, tank: str, start_ms: int, end_ms: int, wanted: Iterable[str]) -> list[Columns]: ...

    def rows_between(self, tank: str, start_ms: int, end_ms: int) -> tuple[int, int]: ...


class Question(NamedTuple):
    """An aggregate of a tank's column over start_ms <= t < end_ms. gap_ms: readings further apart leave a gap."""

    tank: str
    quantity: str
    name: str
    start_ms: int
    end_ms: int
    interval_ms: int
    gap_ms: int
    treatment: Treatment = STANDARD


def aggregated(store: Columnar, asked: Question) -> list[Result]:
    """The answer by the single readings. Raises `BadQuestion` where there is none, or none are left."""
    if asked.quantity not in QUANTITY:
        raise BadQuestion(f"no quantity is called {asked.quantity!r}; there are {', '.join(QUANTITY)}")
    rule_of(asked.name, asked.start_ms, asked.end_ms, asked.interval_ms)
    if asked.end_ms - asked.start_ms > LONGEST_MS:
        raise BadQuestion("a span of more than 400 days; ask for it in parts")
    kept, thinned = store.rows_between(asked.tank, asked.start_ms, asked.end_ms)
    if thinned:
        raise BadQuestion(f"tank {asked.tank}: {NONE_LEFT}")
    if kept > MOST_READINGS:
        raise BadQuestion(f"{kept} readings in that time, at most {MOST_READINGS} are taken at once; ask in parts")
    margin = asked.gap_ms
    found = store.columns(asked.tank, asked.start_ms - margin, asked.end_ms + margin, (asked.quantity,))
    readings = points_of(found, asked.quantity)
    points = lasting = with_gaps(readings, asked.gap_ms)
    if asked.name in OF_READINGS:
        points = readings
    elif asked.name in OVER_TIME:
        points = ended(points, asked.end_ms, asked.gap_ms)
    return aggregate(points, asked.name, *asked[3:6], asked.treatment, lasting)


def points_of(found: list[Columns], quantity: str) -> Points:
    """By rising time; of readings of one millisecond the last counts, where a clock stepped back the later ones."""
    if not found:
        return Points(np.zeros(0, np.int64), np.zeros(0), np.zeros(0, np.int64))
    time_ms = np.concatenate([part.time_ms for part in found])
    value = np.concatenate([part.figure(quantity) for part in found])
    quality = np.concatenate([_quality(part, quantity) for part in found])
    quality = np.where(np.isfinite(value), quality, 2)
    if (np.diff(time_ms) <= 0).any():
        order = np.argsort(time_ms, kind="stable")
        last = np.append(np.diff(time_ms[order]) > 0, True)
        order = order[last]
        time_ms, value, quality = time_ms[order], value[order], quality[order]
    return Points(time_ms, value, quality)


def _quality(part: Columns, quantity: str) -> np.ndarray:
    if quantity in COUNTS_WHEN_BAD:
        return np.zeros(len(part), np.int64)
    if quantity not in STOCK:
        return part.quality
    worst = {int(status): max(*status_parts(int(status))[0:3:2]) for status in np.unique(part.status)}
    codes, place = np.unique(part.status, return_inverse=True)
    graded: np.ndarray = np.array([worst[int(code)] for code in codes], np.int64)[place]
    return graded


def with_gaps(points: Points, gap_ms: int) -> Points:
    """The same with a point of no value just after each reading that the next does not follow within `gap_ms`."""
    apart = np.flatnonzero(np.diff(points.time_ms) > gap_ms)
    if not len(apart):
        return points
    at = apart + 1
    return Points(
        np.insert(points.time_ms, at, points.time_ms[apart] + 1),
        np.insert(points.value, at, np.nan),
        np.insert(points.quality, at, 2),
    )


def ended(points: Points, end_ms: int, gap_ms: int) -> Points:
    """The same with a point of no value just after the last reading, where that is further than `gap_ms` from the end:
    a value that nobody measured again is not held for hours."""
    if not len(points.time_ms) or end_ms - points.time_ms[-1] <= gap_ms:
        return points
    return Points(
        np.append(points.time_ms, points.time_ms[-1] + 1),
        np.append(points.value, np.nan),
        np.append(points.quality, 2),
    )
