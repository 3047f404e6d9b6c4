"""Aggregates and interpolation of a figure over equal intervals, by the rules of OPC UA Part 13 (Aggregates).

Knows points with a quality and how each aggregate takes them; refuses to know stores, tanks and clocks. A point that is
not usable ends what came before it: only `TimeAverage`, `Total` and `Interpolative` reach across it, as the standard
has them do, and say that they are uncertain then. Every result says what share of its interval was Good.

One setting of the standard, Percent Data Bad, is not here: its published examples with 50 % still give values where
60 % of an interval is bad, so a result is withheld only where nothing of its interval can be used.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final, NamedTuple

import numpy as np

from history.errors import BadQuestion
from history.store import Flags, Floats, Ints

MOST_INTERVALS: Final = 2000

GOOD: Final = "Good"
UNCERTAIN: Final = "Uncertain"
SUB_NORMAL: Final = "UncertainDataSubNormal"
BAD: Final = "Bad"
NO_DATA: Final = "BadNoData"
CALCULATED: Final = "Calculated"
INTERPOLATED: Final = "Interpolated"
PARTIAL: Final = "Partial"


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


class Result(NamedTuple):
    """One interval. status: symbol of Part 13; how: Calculated, Interpolated or empty (a raw value, unchanged).

    partial: data begin or end inside of the interval. good_percent: share of the interval's time that was Good.
    """

    start_ms: int
    value: float | None
    status: str
    how: str
    partial: bool
    good_percent: float

    @property
    def told(self) -> str:
        """Status and its bits in one text, as the standard's examples print them."""
        return ", ".join(part for part in (self.status, self.how, PARTIAL if self.partial else "") if part)


class _Found(NamedTuple):
    """What an aggregate makes of one interval."""

    value: float | None
    status: str
    how: str = CALCULATED
    partial: bool = False


_NOTHING: Final = _Found(None, NO_DATA, "")


@dataclass(frozen=True, slots=True)
class Points:
    """A figure over time. time_ms: rising, no two alike. quality: 0 Good, 1 Uncertain, 2 Bad; a value of NaN is Bad."""

    time_ms: Ints
    value: Floats
    quality: Ints


class _Series:
    """Points under one treatment, with what is asked of them again and again."""

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

    def bound(self, at: int) -> tuple[float, int, bool]:
        """Simple bounding value at a time that is not before the first point: value, quality, whether it has a value.

        A neighbour that is not usable is never passed over. Quality is 2 where the point before is not usable.
        """
        before = int(np.searchsorted(self.t, at, side="right")) - 1
        if not self.usable[before]:
            return 0.0, 2, False
        value, quality = float(self.v[before]), int(self.q[before])
        if self.t[before] == at or self.treatment.stepped:
            return value, quality, True
        after = before + 1
        if after == len(self.t) or not self.usable[after]:
            return value, 1, True
        share = (at - self.t[before]) / (self.t[after] - self.t[before])
        both = max(quality, int(self.q[after]))
        return float(value + share * (self.v[after] - value)), min(both, 1), True

    def good_ms(self, start: int, end: int, quality: int = 0) -> int:
        """How long an interval was Good (or of another quality): a point's quality lasts until the next point."""
        start, end = max(start, self.first), min(end, self.last + 1)
        if start >= end:
            return 0
        inner = self.inside(start + 1, end)
        knots = np.concatenate(([start], self.t[inner], [end]))
        _, first, _ = self.bound(start)
        if first == 1 and self.treatment.uncertain_is_bad:
            first = 2
        qualities = np.concatenate(([first], self.effective[inner]))
        return int(np.diff(knots)[qualities == quality].sum())


def _interpolative(s: _Series, start: int, end: int) -> _Found:
    at = int(np.searchsorted(s.ut, start, side="right")) - 1
    if at < 0:
        return _NOTHING
    if s.ut[at] == start:
        return _Found(float(s.uv[at]), UNCERTAIN if s.uq[at] else GOOD, "")
    if s.treatment.stepped:
        since = s.inside(int(s.ut[at]), start + 1)
        sure = start <= s.last and s.uq[at] == 0 and bool(s.usable[since].all())
        return _Found(float(s.uv[at]), GOOD if sure else SUB_NORMAL, INTERPOLATED)
    sure = at + 1 < len(s.ut) and not s.seam[at]
    return _Found(float(s.line(np.array([start], float))[0]), GOOD if sure else SUB_NORMAL, INTERPOLATED)


def _time_average(s: _Series, start: int, end: int) -> _Found:
    """Across what is not usable, by straight lines, whatever the treatment of steps (so the published examples)."""
    if not len(s.ut) or not s.touches(start, end) or end <= s.ut[0]:
        return _NOTHING
    low = max(start, int(s.ut[0]))
    inner = s.ut[np.searchsorted(s.ut, low, side="right") : np.searchsorted(s.ut, end)]
    knots = np.concatenate(([low], inner, [end])).astype(float)
    values = s.line(knots)
    mean = float(((values[:-1] + values[1:]) / 2 * np.diff(knots)).sum() / (end - low))
    first = int(np.searchsorted(s.ut, low, side="right")) - 1
    last = int(np.searchsorted(s.ut, end))
    sure = low == start and end <= s.ut[-1] and not s.seam[first:last].any()
    return _Found(mean, GOOD if sure else SUB_NORMAL, partial=s.partial(start, end))


def _time_average2(s: _Series, start: int, end: int) -> _Found:
    """Only over time that has a value of its own: nothing reaches across a point that is not usable."""
    if not s.touches(start, end):
        return _NOTHING
    low = max(start, s.first)
    inner = s.inside(low + 1, end)
    from_value, from_quality, from_known = s.bound(low)
    to_value, to_quality, to_known = s.bound(end)
    if to_quality and s.treatment.uncertain_is_bad:
        to_known = False
    knots = np.concatenate(([low], s.t[inner], [end]))
    values = np.concatenate(([from_value], s.v[inner], [to_value]))
    quality = np.concatenate(([from_quality], s.effective[inner], [to_quality]))
    known = np.concatenate(([from_known], s.usable[inner], [to_known]))
    length = np.diff(knots)
    if s.treatment.stepped:
        level, graded = values[:-1], quality[:-1]
    else:
        level = np.where(known[1:], (values[:-1] + values[1:]) / 2, values[:-1])
        graded = np.maximum(quality[:-1], np.where(known[1:], quality[1:], 1))
    with_value = known[:-1]
    total = length[with_value].sum()
    if not total:
        return _NOTHING
    partial = s.partial(start, end)
    good = length[with_value & ((graded == 0) | ((graded == 1) & (not s.treatment.uncertain_is_bad)))].sum()
    if not good:
        return _Found(None, BAD, partial=partial)
    mean = float((level[with_value] * length[with_value]).sum() / total)
    return _Found(mean, _graded(100 * good / (end - start), s), partial=partial)


def _graded(percent: float, s: _Series) -> str:
    return GOOD if percent >= s.treatment.percent_good - 1e-9 else SUB_NORMAL


def _seconds(average: "Rule") -> "Rule":
    def total(s: _Series, start: int, end: int) -> _Found:
        found = average(s, start, end)
        return found if found.value is None else found._replace(value=found.value * (end - start) / 1000)

    return total


def _average(s: _Series, start: int, end: int) -> _Found:
    """Of the Good points alone, each counted once."""
    inside = s.inside(start, end)
    good = s.q[inside] == 0
    if not good.any():
        return _NOTHING
    return _Found(float(s.v[inside][good].mean()), _graded(100 * good.mean(), s))


def _least(s: _Series, start: int, end: int) -> _Found:
    return _extreme(s, start, end, np.argmin)


def _most(s: _Series, start: int, end: int) -> _Found:
    return _extreme(s, start, end, np.argmax)


def _extreme(s: _Series, start: int, end: int, pick: Callable[[Floats], np.intp]) -> _Found:
    """Of the Good points; one at the very start of the interval is a raw value, not a calculated one."""
    inside = s.inside(start, end)
    good = s.q[inside] == 0
    if not good.any():
        return _NOTHING
    values = s.v[inside][good]
    at = int(pick(values))
    how = "" if s.t[inside][good][at] == start else CALCULATED
    return _Found(float(values[at]), GOOD if good.all() else SUB_NORMAL, how, s.partial(start, end))


def _range(s: _Series, start: int, end: int) -> _Found:
    low, high = _least(s, start, end), _most(s, start, end)
    if low.value is None or high.value is None:
        return _NOTHING
    return low._replace(value=high.value - low.value, how=CALCULATED)


def _delta(s: _Series, start: int, end: int) -> _Found:
    """Last Good point less the first Good one."""
    inside = s.inside(start, end)
    good = s.q[inside] == 0
    if not good.any():
        return _NOTHING
    values = s.v[inside][good]
    status = GOOD if good.all() else SUB_NORMAL
    return _Found(float(values[-1] - values[0]), status, partial=s.partial(start, end))


def _count(s: _Series, start: int, end: int) -> _Found:
    """How many points are Good."""
    if not s.touches(start, end):
        return _NOTHING
    return _Found(float((s.q[s.inside(start, end)] == 0).sum()), GOOD, partial=s.partial(start, end))


def _point(which: int) -> "Rule":
    def rule(s: _Series, start: int, end: int) -> _Found:
        inside = s.inside(start, end)
        if inside.start == inside.stop:
            return _NOTHING
        at = inside.start if which == 0 else inside.stop - 1
        quality = int(s.q[at])
        value = None if quality == 2 else float(s.v[at])
        return _Found(value, (GOOD, UNCERTAIN, BAD)[quality], "", s.partial(start, end))

    return rule


def _worst(s: _Series, start: int, end: int) -> _Found:
    """The worst quality of the points: 0 Good, 1 Uncertain, 2 Bad."""
    inside = s.inside(start, end)
    if inside.start == inside.stop:
        return _NOTHING
    return _Found(float(s.q[inside].max()), GOOD, partial=s.partial(start, end))


def _lasting(quality: int, *, percent: bool) -> "Rule":
    def rule(s: _Series, start: int, end: int) -> _Found:
        if not s.touches(start, end):
            return _NOTHING
        lasted = s.good_ms(start, end, quality)
        value = 100 * lasted / (end - start) if percent else float(lasted)
        return _Found(value, GOOD, partial=s.partial(start, end))

    return rule


Rule = Callable[[_Series, int, int], _Found]

AGGREGATES: Final[Mapping[str, Rule]] = MappingProxyType(
    {
        "Interpolative": _interpolative,
        "Average": _average,
        "TimeAverage": _time_average,
        "TimeAverage2": _time_average2,
        "Total": _seconds(_time_average),
        "Total2": _seconds(_time_average2),
        "Minimum": _least,
        "Maximum": _most,
        "Range": _range,
        "Start": _point(0),
        "End": _point(-1),
        "Delta": _delta,
        "Count": _count,
        "DurationGood": _lasting(0, percent=False),
        "DurationBad": _lasting(2, percent=False),
        "PercentGood": _lasting(0, percent=True),
        "PercentBad": _lasting(2, percent=True),
        "WorstQuality": _worst,
    }
)
"""By the names of the standard. Durations are in ms, totals in the figure's unit times seconds."""


def aggregate(
    points: Points, name: str, start_ms: int, end_ms: int, interval_ms: int, treatment: Treatment = STANDARD
) -> list[Result]:
    """One result for each interval of start_ms <= t < end_ms; the last one is shorter where they do not come out even.

    Raises `BadQuestion` for a name or a number of intervals that there is not.
    """
    rule = rule_of(name, start_ms, end_ms, interval_ms)
    starts = range(start_ms, end_ms, interval_ms)
    if not len(points.time_ms):
        return [Result(start, None, NO_DATA, "", False, 0.0) for start in starts]
    series = _Series(points, treatment)
    results = []
    for start in starts:
        end = min(start + interval_ms, end_ms)
        found = rule(series, start, end)
        good = 100 * series.good_ms(start, end) / (end - start)
        results.append(Result(start, *found, good))
    return results


def rule_of(name: str, start_ms: int, end_ms: int, interval_ms: int) -> Rule:
    """The rule of that name, after the question has been found answerable. Raises `BadQuestion`."""
    rule = AGGREGATES.get(name)
    if rule is None:
        raise BadQuestion(f"no aggregate is called {name!r}; there are {', '.join(AGGREGATES)}")
    if end_ms <= start_ms or interval_ms < 1:
        raise BadQuestion("the end must come after the start, and an interval be 1 ms or longer")
    count = -(-(end_ms - start_ms) // interval_ms)
    if count > MOST_INTERVALS:
        raise BadQuestion(f"{count} intervals asked for; at most {MOST_INTERVALS}: ask for a longer interval")
    return rule
