"""Aggregates and interpolation of a figure over equal intervals, by the rules of OPC UA Part 13 (Aggregates).

Knows points with a quality and how each aggregate takes them; refuses to know stores, tanks and clocks. A point that is
not usable ends what came before it: only `TimeAverage`, `Total` and `Interpolative` reach across it, as the standard
has them do, and say that they are uncertain then. Every result says what share of its interval was Good.

One setting of the standard, Percent Data Bad, is not here: its published examples with 50 % still give values where
60 % of an interval is bad, so a result is withheld only where nothing of its interval can be used.
"""

from collections.abc import Callable, Mapping
from types import MappingProxyType
from typing import Final, NamedTuple

import numpy as np

from history.errors import BadQuestion
from history.points import STANDARD, Points, Series, Treatment
from history.store import Floats

MOST_INTERVALS: Final = 2000

GOOD: Final = "Good"
UNCERTAIN: Final = "Uncertain"
SUB_NORMAL: Final = "UncertainDataSubNormal"
BAD: Final = "Bad"
NO_DATA: Final = "BadNoData"
CALCULATED: Final = "Calculated"
INTERPOLATED: Final = "Interpolated"
PARTIAL: Final = "Partial"


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


def _interpolative(s: Series, start: int, end: int) -> _Found:
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


def _time_average(s: Series, start: int, end: int) -> _Found:
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


def _time_average2(s: Series, start: int, end: int) -> _Found:
    """Only over time that has a value of its own: nothing reaches across a point that is not usable."""
    if not s.touches(start, end):
        return _NOTHING
    low = max(start, s.first)
    inner = s.inside(low + 1, end)
    head, tail = s.bound(low), s.bound(end)
    if tail.quality and s.treatment.uncertain_is_bad:
        tail = tail._replace(known=False)
    knots = np.concatenate(([low], s.t[inner], [end]))
    values = np.concatenate(([head.value], s.v[inner], [tail.value]))
    quality = np.concatenate(([head.quality], s.effective[inner], [tail.quality]))
    known = np.concatenate(([head.known], s.usable[inner], [tail.known]))
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


def _graded(percent: float, s: Series) -> str:
    return GOOD if percent >= s.treatment.percent_good - 1e-9 else SUB_NORMAL


def _seconds(average: "Rule") -> "Rule":
    def total(s: Series, start: int, end: int) -> _Found:
        found = average(s, start, end)
        return found if found.value is None else found._replace(value=found.value * (end - start) / 1000)

    return total


def _average(s: Series, start: int, end: int) -> _Found:
    """Of the Good points alone, each counted once."""
    inside = s.inside(start, end)
    good = s.q[inside] == 0
    if not good.any():
        return _NOTHING
    return _Found(float(s.v[inside][good].mean()), _graded(100 * good.mean(), s))


def _least(s: Series, start: int, end: int) -> _Found:
    return _extreme(s, start, end, np.argmin)


def _most(s: Series, start: int, end: int) -> _Found:
    return _extreme(s, start, end, np.argmax)


def _extreme(s: Series, start: int, end: int, pick: Callable[[Floats], np.intp]) -> _Found:
    """Of the Good points; one at the very start of the interval is a raw value, not a calculated one."""
    inside = s.inside(start, end)
    good = s.q[inside] == 0
    if not good.any():
        return _NOTHING
    values = s.v[inside][good]
    at = int(pick(values))
    how = "" if s.t[inside][good][at] == start else CALCULATED
    return _Found(float(values[at]), GOOD if good.all() else SUB_NORMAL, how, s.partial(start, end))


def _range(s: Series, start: int, end: int) -> _Found:
    low, high = _least(s, start, end), _most(s, start, end)
    if low.value is None or high.value is None:
        return _NOTHING
    return low._replace(value=high.value - low.value, how=CALCULATED)


def _delta(s: Series, start: int, end: int) -> _Found:
    """Last Good point less the first Good one."""
    inside = s.inside(start, end)
    good = s.q[inside] == 0
    if not good.any():
        return _NOTHING
    values = s.v[inside][good]
    status = GOOD if good.all() else SUB_NORMAL
    return _Found(float(values[-1] - values[0]), status, partial=s.partial(start, end))


def _count(s: Series, start: int, end: int) -> _Found:
    """How many points are Good."""
    if not s.touches(start, end):
        return _NOTHING
    return _Found(float((s.q[s.inside(start, end)] == 0).sum()), GOOD, partial=s.partial(start, end))


def _point(*, first: bool) -> "Rule":
    def rule(s: Series, start: int, end: int) -> _Found:
        inside = s.inside(start, end)
        if inside.start == inside.stop:
            return _NOTHING
        at = inside.start if first else inside.stop - 1
        quality = int(s.q[at])
        value = None if quality == 2 else float(s.v[at])
        return _Found(value, (GOOD, UNCERTAIN, BAD)[quality], "", s.partial(start, end))

    return rule


def _worst(s: Series, start: int, end: int) -> _Found:
    """The worst quality of the points: 0 Good, 1 Uncertain, 2 Bad."""
    inside = s.inside(start, end)
    if inside.start == inside.stop:
        return _NOTHING
    return _Found(float(s.q[inside].max()), GOOD, partial=s.partial(start, end))


def _lasting(quality: int, *, percent: bool) -> "Rule":
    def rule(s: Series, start: int, end: int) -> _Found:
        if not s.touches(start, end):
            return _NOTHING
        lasted = s.lasted_ms(start, end, quality)
        value = 100 * lasted / (end - start) if percent else float(lasted)
        return _Found(value, GOOD, partial=s.partial(start, end))

    return rule


Rule = Callable[[Series, int, int], _Found]

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
        "Start": _point(first=True),
        "End": _point(first=False),
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
    points: Points,
    name: str,
    start_ms: int,
    end_ms: int,
    interval_ms: int,
    treatment: Treatment = STANDARD,
    lasting: Points | None = None,
) -> list[Result]:
    """One result for each interval of start_ms <= t < end_ms; the last one is shorter where they do not come out even.

    lasting: the same points with those that end a value, where `points` are without them: for `good_percent`. Raises
    `BadQuestion` for a name or a number of intervals that there is not.
    """
    rule = rule_of(name, start_ms, end_ms, interval_ms)
    starts = range(start_ms, end_ms, interval_ms)
    if not len(points.time_ms):
        return [Result(start, None, NO_DATA, "", False, 0.0) for start in starts]
    series = Series(points, treatment)
    good_of = series if lasting is None else Series(lasting, treatment)
    results = []
    for start in starts:
        end = min(start + interval_ms, end_ms)
        found = rule(series, start, end)
        good = 100 * good_of.lasted_ms(start, end) / (end - start)
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
