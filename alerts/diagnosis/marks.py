"""Figures of a fault trace that the judges share: what flowed before and during, how it jumped, how it trembled.

Knows arithmetic on rows; refuses to know causes.
"""

from bisect import bisect_left
from collections.abc import Sequence
from itertools import pairwise
from statistics import fmean, median
from typing import Final, NamedTuple

from alerts.diagnosis.evidence import Question, Seen, TraceRow
from alerts.noise import spread

DEAD_MA: Final = 0.5
"""Less than this is no current at all: a dead loop shows the receiver's own offset."""

LOW_MA: Final = 3.8
HIGH_MA: Final = 20.5
BEFORE_MS: Final = 120_000
LATE_MS: Final = 90_000
"""How long after its first sign somebody may point at a fault."""


class Jump(NamedTuple):
    """Between two neighbouring samples."""

    time_ms: int
    by_mA: float


class Marks(NamedTuple):
    """before, during: what measured or failed there, each as (elapsed ms, mA). period_ms: between two polls.

    noise_before, noise_during: deviation of one sample, from differences; None with too few samples. ripple: what
    remains about a straight line in a typical minute. jumps: in and shortly before the fault, largest first.
    """

    before: list[tuple[int, float]]
    during: list[tuple[int, float]]
    polls: int
    silent: int
    wrong: int
    period_ms: int
    noise_before: float | None
    noise_during: float | None
    ripple: float | None
    slope_before: float | None
    slope_during: float | None
    jumps: list[Jump]

    @property
    def middle(self) -> float | None:
        """Median current of the fault."""
        return median(mA for _, mA in self.during) if self.during else None

    def share(self, low: float, high: float) -> float:
        """Which part of the fault's samples lies in low <= mA < high."""
        return sum(low <= mA < high for _, mA in self.during) / len(self.during) if self.during else 0.0


def marks_of(question: Question) -> Marks:
    """Work the figures out once."""
    rows, start, end = question.rows, question.start_ms, question.end_ms
    before = _currents([r for r in rows if start - LATE_MS - BEFORE_MS <= r.time_ms < start - LATE_MS])
    if len(before) < 20:  # a trace that begins later: what there is
        before = _currents([r for r in rows if r.time_ms < start])
    fault = [r for r in rows if r.time_ms >= start and (end is None or r.time_ms < end)]
    during = _currents(fault)
    period = _period(rows)
    near = [r for r in rows if start - LATE_MS - 2000 <= r.time_ms and (end is None or r.time_ms < end)]
    return Marks(
        before=before,
        during=during,
        polls=len(fault),
        silent=sum(r.current_mA is None and r.outcome == "timeout" for r in fault),
        wrong=sum(r.current_mA is None and r.outcome != "timeout" for r in fault),
        period_ms=period,
        noise_before=trembling(before, period),
        noise_during=trembling(during, period),
        ripple=rippling(during),
        slope_before=slope(before),
        slope_during=slope(during),
        jumps=_jumps(near, period),
    )


def _currents(rows: Sequence[TraceRow]) -> list[tuple[int, float]]:
    return [(r.elapsed_ms, r.current_mA) for r in rows if r.current_mA is not None]


def _period(rows: Sequence[TraceRow]) -> int:
    steps = [b.elapsed_ms - a.elapsed_ms for a, b in pairwise(rows) if b.elapsed_ms > a.elapsed_ms]
    return min(steps, default=1000)


def trembling(points: Sequence[tuple[int, float]], period_ms: int) -> float | None:
    """Noise of one sample from neighbouring ones; None with fewer than 12 differences."""
    differences = [b - a for (s, a), (t, b) in pairwise(points) if t - s <= 1.6 * period_ms]
    return spread(differences) if len(differences) >= 12 else None


def fitted(points: Sequence[tuple[int, float]]) -> tuple[float, float, int] | None:
    """Least squares: (mA a minute, mA at the middle, the middle in ms); None with fewer than 8 points."""
    if len(points) < 8:
        return None
    middle = round(fmean(t for t, _ in points))
    level = fmean(mA for _, mA in points)
    across = sum((t - middle) ** 2 for t, _ in points)
    if across == 0:
        return None
    rise = sum((t - middle) * (mA - level) for t, mA in points) / across
    return rise * 60_000, level, middle


def slope(points: Sequence[tuple[int, float]]) -> float | None:
    """mA a minute."""
    line = fitted(points)
    return None if line is None else line[0]


def residue(points: Sequence[tuple[int, float]]) -> float | None:
    """Standard deviation about a straight line."""
    line = fitted(points)
    if line is None:
        return None
    rise, level, middle = line
    off = [mA - level - rise * (t - middle) / 60_000 for t, mA in points]
    return float((sum(d * d for d in off) / (len(off) - 2)) ** 0.5)


def rippling(points: Sequence[tuple[int, float]]) -> float | None:
    """Median of what each of the first ten minutes leaves about its own straight line: a step spoils only one."""
    if not points:
        return None
    first = points[0][0]
    minutes: dict[int, list[tuple[int, float]]] = {}
    for point in points:
        minutes.setdefault((point[0] - first) // 60_000, []).append(point)
    rests = [r for place, some in minutes.items() if place < 10 and (r := residue(some)) is not None]
    return median(rests) if rests else None


def _jumps(rows: Sequence[TraceRow], period_ms: int) -> list[Jump]:
    told = [(r.elapsed_ms, r.time_ms, r.current_mA) for r in rows if r.current_mA is not None]
    found = [Jump(at, mA - was) for (s, _, was), (t, at, mA) in pairwise(told) if t - s <= 3.2 * period_ms]
    return sorted(found, key=lambda jump: -abs(jump.by_mA))


def change_of(values: Sequence[float]) -> float:
    """From the median of the first third to that of the last."""
    third = max(1, len(values) // 3)
    return median(values[-third:]) - median(values[:third])


def expected_change(question: Question) -> float | None:
    """The same of what meters (or other tanks) say the current should have done; None where nobody says."""
    told = question.known.metered_mA_per_min
    if told is None:
        return None
    last = question.rows[-1].time_ms if question.rows else question.start_ms
    end = last if question.end_ms is None else min(last, question.end_ms)
    here = [s for s in told if question.start_ms <= s.time_ms <= end]
    course, sum_mA = [], 0.0
    for a, b in pairwise(here):
        sum_mA += a.value * (b.time_ms - a.time_ms) / 60_000
        course.append(sum_mA)
    return change_of(course) if len(course) >= 3 else None


def between(signal: Sequence[Seen], start_ms: int, end_ms: int | None) -> list[float]:
    """Values of a signal around the loop in a time; the signal is in the order of time."""
    first = bisect_left(signal, start_ms, key=_time)
    last = len(signal) if end_ms is None else bisect_left(signal, end_ms, key=_time)
    return [s.value for s in signal[first:last]]


def _time(seen: Seen) -> int:
    return seen.time_ms
