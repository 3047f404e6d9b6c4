"""What a row of dips says of a gauge: is its zero off, its span, has it moved, was it looked at where it matters?

A gauge that is off by a constant and one whose scale is wrong are told apart by levels that spread; where they do not,
nothing is told. Setting a gauge is work of people: the results say what to have checked. Pure; heights in m.
"""

import math
from collections.abc import Mapping, Sequence
from types import MappingProxyType
from typing import Final, NamedTuple

from inventory import cusum

LEAST_DIPS: Final = 4
LEAST_SPREAD_FRAC: Final = 0.2
"""Levels must cover a fifth of the gauge's range, or zero and span cannot be told apart (ours)."""

T95: Final = (
    12.706, 4.303, 3.182, 2.776, 2.571, 2.447, 2.365, 2.306, 2.262, 2.228, 2.201, 2.179, 2.160, 2.145, 2.131, 2.120,
    2.110, 2.101, 2.093, 2.086, 2.080, 2.074, 2.069, 2.064, 2.060, 2.056, 2.052, 2.048, 2.045, 2.042,
)  # fmt: skip
"""Student's t, two-sided 95 %, for 1 to 30 degrees of freedom (any table of it)."""


class Point(NamedTuple):
    """One dip with what the gauge told then. standard_m: of their difference, without what the gauge keeps to itself
    from dip to dip (its zero and span): the dip's own and the gauge's repeatability."""

    time_ms: int
    level_m: float
    difference_m: float
    standard_m: float
    verify: bool = False


class Line(NamedTuple):
    """A straight line y = at + slope (x - x0) by least squares. left: standard deviation of what it leaves."""

    at: float
    slope: float
    at_error: float
    slope_error: float
    left: float
    freedom: int


def fitted(x: Sequence[float], y: Sequence[float], x0: float = 0.0, least: float = 0.0) -> Line:
    """Ordinary least squares with standard errors. least: the smallest deviation that the errors are made of.

    Needs three points at least, and two different x.
    """
    n = len(x)
    mean_x, mean_y = math.fsum(x) / n, math.fsum(y) / n
    sxx = math.fsum((one - mean_x) ** 2 for one in x)
    slope = math.fsum((a - mean_x) * (b - mean_y) for a, b in zip(x, y, strict=True)) / sxx
    at = mean_y + slope * (x0 - mean_x)
    squares = math.fsum((b - mean_y - slope * (a - mean_x)) ** 2 for a, b in zip(x, y, strict=True))
    left = math.sqrt(squares / (n - 2))
    size = max(left, least)
    at_error = size * math.sqrt(1 / n + (x0 - mean_x) ** 2 / sxx)
    return Line(at, slope, at_error, size / math.sqrt(sxx), left, n - 2)


def t95(freedom: int) -> float:
    """Student's t for 95 %, two-sided."""
    return T95[freedom - 1] if freedom <= len(T95) else 1.96 + 2.4 / freedom


class Split(NamedTuple):
    """A gauge's error as zero and span. zero_m: at `zero_at_m`; span_m_per_m: what a metre more adds; u95: 95 %.

    zero_off, span_off: whether they differ from nothing by more than that. left_m: what zero and span do not explain.
    full_m: what both come to at the far end of the range, with its u95.
    """

    zero_m: float
    zero_u95_m: float
    zero_at_m: float
    span_m_per_m: float
    span_u95_m_per_m: float
    full_m: float
    full_u95_m: float
    left_m: float
    dips: int
    zero_off: bool
    span_off: bool


def split(points: Sequence[Point], zero_at_m: float, full_at_m: float) -> Split | str:
    """The error of a gauge as zero and span, or why it cannot be told.

    zero_at_m, full_at_m: innages at both ends of the gauge's range (4 and 20 mA of a loop).
    """
    if len(points) < LEAST_DIPS:
        return f"{len(points)} dips with a gauge's level tell nothing of zero and span; {LEAST_DIPS} are needed"
    levels = [point.level_m for point in points]
    spread, needed = max(levels) - min(levels), LEAST_SPREAD_FRAC * abs(full_at_m - zero_at_m)
    if spread < needed:
        return (
            f"the dips were taken within {spread:.2f} m of level; zero and span can be told apart from {needed:.2f} m "
            "on: dip the tank when it is fuller or emptier"
        )
    off = [point.difference_m for point in points]
    least = math.sqrt(math.fsum(point.standard_m**2 for point in points) / len(points))
    low, high = fitted(levels, off, zero_at_m, least), fitted(levels, off, full_at_m, least)
    t = t95(low.freedom)
    zero_u95, span_u95 = t * low.at_error, t * low.slope_error
    return Split(
        low.at, zero_u95, zero_at_m, low.slope, span_u95, high.at, t * high.at_error, low.left, len(points),
        abs(low.at) > zero_u95, abs(low.slope) > span_u95,
    )  # fmt: skip


class Drift(NamedTuple):
    """Whether a gauge has moved against the dips. way: +1 reads more and more, -1 less and less, 0 nothing seen.

    since: index of the dip from which on it seems to have moved; told_at: of the one that told. run_length: how many
    dips pass on the average until a gauge that has not moved is said to have; found_after: until one that has moved
    at once by one standard deviation of a difference is.
    """

    way: int
    since: int | None
    told_at: int | None
    steps: tuple[cusum.Step, ...]
    interval: float
    run_length: float
    found_after: float


def drift(points: Sequence[Point], zero_standard_m: float, span_standard: float, zero_at_m: float) -> Drift:
    """The cumulative sum of what each dip tells that the ones before it did not.

    A gauge whose zero and span stay what they are, each unknown within its standard uncertainty, makes differences that
    the earlier dips foretell with a known deviation (Kalman's innovations for two constants); divided by it they are
    independent and standard normal, whatever the levels, so that the run lengths of the test hold. They hold as far as
    dips scatter by no more than the site says.
    """
    z, s = 0.0, 0.0  # zero and span as known so far, and their covariance
    pzz, pzs, pss = zero_standard_m**2, 0.0, span_standard**2
    told = []
    for point in points:
        h = point.level_m - zero_at_m
        gz, gs = pzz + h * pzs, pzs + h * pss
        variance = gz + h * gs + point.standard_m**2
        news = point.difference_m - z - h * s
        told.append(news / math.sqrt(variance))
        z, s = z + gz / variance * news, s + gs / variance * news
        pzz, pzs, pss = pzz - gz * gz / variance, pzs - gz * gs / variance, pss - gs * gs / variance
    steps = cusum.sums(told)
    found = cusum.found(steps)
    lengths = cusum.run_length(), cusum.run_length(1.0)
    if found is None:
        return Drift(0, None, None, tuple(steps), cusum.INTERVAL, *lengths)
    return Drift(found.way, found.since, found.at, tuple(steps), cusum.INTERVAL, *lengths)


THIRDS: Final = ("lower third", "middle third", "upper third")


def verified(points: Sequence[Point], zero_at_m: float, full_at_m: float) -> Mapping[str, float | None]:
    """The largest difference of the dips that were taken to verify the gauge, by thirds of its range; None for a third
    without one. Three levels: API MPMS 3.1B (from memory)."""
    low, high = min(zero_at_m, full_at_m), max(zero_at_m, full_at_m)
    found: dict[str, float | None] = dict.fromkeys(THIRDS)
    for point in points:
        if point.verify:
            place = THIRDS[min(2, max(0, int(3 * (point.level_m - low) / (high - low))))]
            before = found[place]
            if before is None or abs(point.difference_m) > abs(before):
                found[place] = point.difference_m
    return found


CHECK: Final[Mapping[str, str]] = MappingProxyType(
    {
        "zero": "The gauge is off by the same amount at every level: have its zero, its mount and the reference height "
        "of the hatch checked.",
        "span": "The gauge's error grows with the level: have its span, and the range in the site file, checked.",
        "drift": "The gauge has moved since earlier dips: have it and its mount looked at before it is set anew.",
        "limit": "The gauge is further from the dip than the site allows: have it checked by those who may set it, and "
        "take the dip as the stock until then.",
        "reference": "The reference height is not that of the calibration: stop, and find out why before any ullage is "
        "used.",
        "none": "Nothing speaks against the gauge.",
    }
)
"""What a result asks people to do. The program sets no gauge."""


def to_check(newest_within: bool | None, told: Split | str, moved: Drift | None) -> list[str]:
    """What to have checked: keys of `CHECK`, the most pressing first."""
    found = []
    if newest_within is False:
        found.append("limit")
    if moved is not None and moved.way:
        found.append("drift")
    if isinstance(told, Split) and (told.zero_off or told.span_off):
        found += [name for name, off in (("zero", told.zero_off), ("span", told.span_off)) if off]
    return found or ["none"]
