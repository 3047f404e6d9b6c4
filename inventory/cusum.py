"""The cumulative sum test: is a row of standardised differences still about zero, and how often does it cry wolf?

Knows the two-sided tabular form and its average run length; refuses to know what is summed. Decision interval and
allowance are in standard deviations.
"""

import math
from collections.abc import Iterable
from functools import cache
from typing import Final, NamedTuple

ALLOWANCE: Final = 0.5
INTERVAL: Final = 4.0
"""A shift of one standard deviation is found in 8.4 values on the average, and without any shift one alarm comes in 168
values (Montgomery, Introduction to Statistical Quality Control, table of the two-sided CUSUM, from memory)."""

_NODES: Final = 40


class Step(NamedTuple):
    """The sums after one value. high, low: of what speaks for a rise and for a fall, both positive."""

    high: float
    low: float


class Found(NamedTuple):
    """Where a sum left its interval. at: index of the value that told; since: of the first that its sum began with."""

    at: int
    since: int
    way: int


def sums(values: Iterable[float], allowance: float = ALLOWANCE) -> list[Step]:
    """The tabular sums: max(0, C + z - k) and max(0, C - z - k)."""
    high = low = 0.0
    steps = []
    for value in values:
        high, low = max(0.0, high + value - allowance), max(0.0, low - value - allowance)
        steps.append(Step(high, low))
    return steps


def found(steps: list[Step], interval: float = INTERVAL) -> Found | None:
    """The first departure, None where the row stays within."""
    for at, (high, low) in enumerate(steps):
        if max(high, low) > interval:
            way = 1 if high > low else -1
            since = at
            while since and (steps[since - 1].high if way > 0 else steps[since - 1].low) > 0:
                since -= 1
            return Found(at, since, way)
    return None


@cache
def run_length(shift: float = 0.0, allowance: float = ALLOWANCE, interval: float = INTERVAL) -> float:
    """How many values, on the average, until the two-sided test tells of something; shift 0: of nothing at all.

    From the integral equation of the one-sided sum (Page 1954, Gauss-Legendre quadrature) for independent normal values
    of known deviation; 1/L = 1/L+ + 1/L-.
    """
    up, down = _one_sided(shift, allowance, interval), _one_sided(-shift, allowance, interval)
    return 1 / (1 / up + 1 / down)


def _one_sided(shift: float, allowance: float, interval: float) -> float:
    """L(z) = 1 + L(0) P(next is 0) + integral of L(x) p(x | z) over (0, h), solved for L(0)."""
    points = _legendre(_NODES)
    at = [0.0, *(interval / 2 * (x + 1) for x, _ in points)]
    weights = [interval / 2 * w for _, w in points]
    rows = []
    for z in at:
        drift = z + shift - allowance
        row = [-_below(-drift), *(-w * _density(x - drift) for x, w in zip(at[1:], weights, strict=True))]
        rows.append([*row, 1.0])
    for i, row in enumerate(rows):
        row[i] += 1.0
    return _solved(rows)[0]


def _density(x: float) -> float:
    return math.exp(-x * x / 2) / math.sqrt(2 * math.pi)


def _below(x: float) -> float:
    return math.erfc(-x / math.sqrt(2)) / 2


@cache
def _legendre(n: int) -> tuple[tuple[float, float], ...]:
    """Nodes and weights of Gauss-Legendre quadrature on (-1, 1), by Newton's method on the polynomial."""
    found_ = []
    for k in range(n):
        x = math.cos(math.pi * (k + 0.75) / (n + 0.5))
        slope = 1.0
        for _ in range(20):
            p, q = 1.0, 0.0
            for j in range(1, n + 1):
                p, q = ((2 * j - 1) * x * p - (j - 1) * q) / j, p
            slope = n * (x * p - q) / (x * x - 1)
            x -= p / slope
        found_.append((x, 2 / ((1 - x * x) * slope * slope)))
    return tuple(found_)


def _solved(rows: list[list[float]]) -> list[float]:
    """Linear equations by elimination with pivoting; each row ends with its right side."""
    n = len(rows)
    for i in range(n):
        pivot = max(range(i, n), key=lambda r: abs(rows[r][i]))
        rows[i], rows[pivot] = rows[pivot], rows[i]
        for below in rows[i + 1 :]:
            part = below[i] / rows[i][i]
            if part:
                for j in range(i, n + 1):
                    below[j] -= part * rows[i][j]
    out = [0.0] * n
    for i in reversed(range(n)):
        out[i] = (rows[i][n] - math.fsum(rows[i][j] * out[j] for j in range(i + 1, n))) / rows[i][i]
    return out
