"""A figure over time as the rules of OPC UA Part 13 (Aggregates) take it: points with a quality, under a treatment.

Knows values between and beyond points and how long a quality lasted; refuses to know aggregates, stores and clocks.
"""

from dataclasses import dataclass
from typing import Final, NamedTuple

import numpy as np

from history.store import Flags, Floats, Ints


class Treatment(NamedTuple):
    """How points are taken (Part 13, 4.2.1.2, with the standard's defaults).

    stepped: a value holds until the next one, instead of a straight line between the two. uncertain_is_bad: Uncertain
    points are not used. percent_good: from this share of Good time (or points) on a result is Good. sloped_beyond:
    after the last point the last two are drawn on, instead of holding the last.
    """

    stepped: bool = False
    uncertain_is_bad: bool = True
    percent_good: float = 100.0
    sloped_beyond: bool = False


STANDARD: Final = Treatment()


@dataclass(frozen=True, slots=True)
class Points:
    """A figure over time. time_ms: rising, no two alike. quality: 0 Good, 1 Uncertain, 2 Bad; a value of NaN is Bad."""

    time_ms: Ints
    value: Floats
    quality: Ints


class Bound(NamedTuple):
    """The value of a figure at an end of an interval. known: whether it has one there."""

    value: float
    quality: int
    known: bool


class Series:
    """Points under one treatment, with what is asked of them again and again: times in ms, start <= t < end.

    t, v, q: times, values and qualities of all points; ut, uv, uq: of the usable ones. seam: of each stretch between
    two usable points, whether it is not Good from end to end.
    """

    def __init__(self, points: Points, treatment: Treatment) -> None:
        known = np.isfinite(points.value)
        self.t, self.v = points.time_ms, points.value
        self.q = np.where(known, points.quality, 2)
        self.treatment = treatment
        self.usable: Flags = self.q == 0 if treatment.uncertain_is_bad else self.q < 2
        self.effective = np.where(self.usable, self.q, 2)
        self.ut, self.uv, self.uq = self.t[self.usable], self.v[self.usable], self.q[self.usable]
        between = np.diff(np.flatnonzero(self.usable)) > 1  # a point that is not usable lies in between
        self.seam: Flags = between | (self.uq[:-1] > 0) | (self.uq[1:] > 0)
        self.first, self.last = int(self.t[0]), int(self.t[-1])

    def touches(self, start: int, end: int) -> bool:
        """Whether an interval has any data: it does not end before the first point or begin after the last."""
        return end > self.first and start <= self.last

    def partial(self, start: int, end: int) -> bool:
        return start < self.first or end > self.last

    def inside(self, start: int, end: int) -> slice:
        low, high = np.searchsorted(self.t, (start, end))
        return slice(int(low), int(high))

    def line(self, at: Floats) -> Floats:
        """The straight line through the usable points, at rising times from the first of them on."""
        values = np.interp(at, self.ut, self.uv)
        if self.treatment.sloped_beyond and len(self.ut) > 1:
            slope = (self.uv[-1] - self.uv[-2]) / (self.ut[-1] - self.ut[-2])
            beyond = at > self.ut[-1]
            values[beyond] = self.uv[-1] + slope * (at[beyond] - self.ut[-1])
        return values

    def bound(self, at: int) -> Bound:
        """Simple bounding value (Part 13) at a time that is not before the first point.

        A neighbour that is not usable is never passed over. Quality is 2 where the point before is not usable.
        """
        before = int(np.searchsorted(self.t, at, side="right")) - 1
        if not self.usable[before]:
            return Bound(0.0, 2, False)
        value, quality = float(self.v[before]), int(self.q[before])
        if self.t[before] == at or self.treatment.stepped:
            return Bound(value, quality, True)
        after = before + 1
        if after == len(self.t) or not self.usable[after]:
            return Bound(value, 1, True)
        share = (at - self.t[before]) / (self.t[after] - self.t[before])
        both = max(quality, int(self.q[after]))
        return Bound(float(value + share * (self.v[after] - value)), min(both, 1), True)

    def lasted_ms(self, start: int, end: int, quality: int = 0) -> int:
        """How long an interval was Good, or of another quality: a point's quality lasts until the next point."""
        start, end = max(start, self.first), min(end, self.last + 1)
        if start >= end:
            return 0
        inner = self.inside(start + 1, end)
        knots = np.concatenate(([start], self.t[inner], [end]))
        first = self.bound(start).quality
        if first == 1 and self.treatment.uncertain_is_bad:
            first = 2
        qualities = np.concatenate(([first], self.effective[inner]))
        return int(np.diff(knots)[qualities == quality].sum())
