"""A five-point check of a 4-20 mA loop: what was applied and what was shown -> errors, hysteresis, linearity, verdict.

Knows the arithmetic of one run; refuses to know who tests, when, and with what. Percentages are of the span of 16 mA.

Words and rules: error and hysteresis in percent of span, US 43 CFR 3175.135(a)(1) and (2) (text read); non-linearity as
terminal-based or independent, IEC 61298-2 and ANSI/ISA-51.1 (from memory, clause numbers not seen), both on the mean of
the upscale and downscale curves; pass or fail by simple acceptance, |error| <= limit, ISO/IEC 17025:2017 7.8.6 (a
decision rule must be named).
"""

from collections.abc import Sequence
from enum import StrEnum
from itertools import combinations
from statistics import fmean
from typing import Final, NamedTuple

from models.errors import OutOfRange
from models.signal import SPAN_MA, ZERO_MA

POINTS_MA: Final = (4.0, 8.0, 12.0, 16.0, 20.0)
"""0, 25, 50, 75 and 100 % of span (common practice, no source)."""

NEAR_MA: Final = 0.5
"""How far an applied current may lie from its point and still stand for it. Our choice: 3 % of span."""

ROUNDING: Final = 1e-9


class Direction(StrEnum):
    UP = "up"
    DOWN = "down"


SEQUENCE: Final = tuple((point, Direction.UP) for point in POINTS_MA) + tuple(
    (point, Direction.DOWN) for point in reversed(POINTS_MA)
)
"""The guided order of one run: from 4 to 20 mA and back; 20 mA is taken once in each direction."""


class Step(NamedTuple):
    """One point of a run. applied_mA: by the reference instrument; shown_mA: by the loop under test."""

    point_mA: float
    direction: Direction
    applied_mA: float
    shown_mA: float

    @property
    def error_percent(self) -> float:
        """Shown less applied, in percent of span."""
        return 100 * (self.shown_mA - self.applied_mA) / SPAN_MA


class Evaluation(NamedTuple):
    """What one run says, in percent of span. None where the steps at hand do not tell it.

    largest_percent: the largest error without its sign, over all steps. zero, span: of the mean curve, at 4 mA and from
    4 to 20 mA. passes: None while a step is missing, except that one error beyond the limit fails at once.
    """

    largest_percent: float | None
    zero_percent: float | None
    span_percent: float | None
    terminal_percent: float | None
    independent_percent: float | None
    hysteresis_percent: float | None
    missing: tuple[tuple[float, Direction], ...]
    passes: bool | None


def step_of(point_mA: float, direction: Direction, applied_mA: float, shown_mA: float) -> Step:
    """A step, checked. Raises `OutOfRange` for a point that is none of the five, and for what is no current."""
    if point_mA not in POINTS_MA:
        raise OutOfRange(f"{point_mA:g} mA is none of the five points; they are 4, 8, 12, 16 and 20 mA")
    if not abs(applied_mA - point_mA) <= NEAR_MA:
        raise OutOfRange(
            f"applied current {applied_mA:g} mA is more than {NEAR_MA:g} mA from the point {point_mA:g} mA; "
            "apply it again"
        )
    if not 0 <= shown_mA <= 25:
        raise OutOfRange(f"shown current {shown_mA:g} mA is none; allowed is 0 to 25 mA")
    return Step(point_mA, direction, applied_mA, shown_mA)


def evaluate(steps: Sequence[Step], limit_percent: float) -> Evaluation:
    """Judge one run (as found, or as left) of at most ten steps, one for each point and direction."""
    taken = {(step.point_mA, step.direction): step for step in steps}
    missing = tuple(place for place in SEQUENCE if place not in taken)
    errors = {place: step.error_percent for place, step in taken.items()}
    largest = max(map(abs, errors.values()), default=None)
    both = [point for point in POINTS_MA if all((point, direction) in errors for direction in Direction)]
    apart = [abs(errors[point, Direction.UP] - errors[point, Direction.DOWN]) for point in both]
    mean = {
        point: fmean(errors[point, d] for d in Direction if (point, d) in errors)
        for point in POINTS_MA
        if any((point, d) in errors for d in Direction)
    }
    low, high = mean.get(POINTS_MA[0]), mean.get(POINTS_MA[-1])
    ends = low is not None and high is not None
    beyond = largest is not None and largest > limit_percent + ROUNDING
    return Evaluation(
        largest,
        low,
        high - low if low is not None and high is not None else None,
        _terminal(mean) if ends else None,
        _independent(mean) if ends and len(mean) >= 3 else None,
        max(apart) if apart else None,
        missing,
        False if beyond else None if missing else True,
    )


def _terminal(mean: dict[float, float]) -> float:
    """Largest departure of the mean curve from the straight line through its ends."""
    first, last = POINTS_MA[0], POINTS_MA[-1]
    slope = (mean[last] - mean[first]) / (last - first)
    return max(abs(error - mean[first] - slope * (point - first)) for point, error in mean.items())


def _independent(mean: dict[float, float]) -> float:
    """The same from the line that makes it smallest. Its slope is that of a chord between two of the points (the best
    uniform line of finitely many points touches three of them)."""
    places = list(mean.items())
    spreads = []
    for (x0, y0), (x1, y1) in combinations(places, 2):
        slope = (y1 - y0) / (x1 - x0)
        left = [error - slope * point for point, error in places]
        spreads.append(max(left) - min(left))
    return min(spreads) / 2


class Steady(NamedTuple):
    """The mean of the newest samples of a live signal, and how far apart they lay."""

    mean_mA: float
    spread_mA: float
    samples: int


def steady(currents_mA: Sequence[float], samples: int, within_percent: float) -> Steady | None:
    """The mean of the last `samples` currents, None while there are fewer or they lie further apart than allowed.

    within_percent: largest less smallest, in percent of span.
    """
    last = currents_mA[-samples:]
    if len(last) < samples:
        return None
    spread = max(last) - min(last)
    if 100 * spread / SPAN_MA > within_percent + ROUNDING:
        return None
    return Steady(fmean(last), spread, samples)


def current_of_fraction(fraction: float) -> float:
    """The current that stands for a fraction of the span, in mA: for an instrument that tells its level only."""
    return ZERO_MA + SPAN_MA * fraction
