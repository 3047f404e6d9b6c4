"""A figure of which only two bounds are known: it lies somewhere between them, and nobody can say where.

For quantities whose causes are limited by physics but not measured. Sums add the bounds, which is wider than adding in
quadrature and right where the parts may all lean the same way. No centre is ever told.
"""

from collections.abc import Iterable
from typing import NamedTuple

from models.errors import OutOfRange


class Bounds(NamedTuple):
    """At least `low`, at most `high`, both in the unit of the quantity."""

    low: float
    high: float

    def scaled(self, factor: float) -> "Bounds":
        """Both ends times a factor, put in order."""
        ends = (self.low * factor, self.high * factor)
        return Bounds(min(ends), max(ends))

    def plus(self, other: "Bounds") -> "Bounds":
        return Bounds(self.low + other.low, self.high + other.high)

    def holds(self, value: float) -> bool:
        return self.low <= value <= self.high


NONE = Bounds(0.0, 0.0)


def between(low: float, high: float) -> Bounds:
    """Bounds in order. Raises `OutOfRange` where the lower one lies above the higher."""
    if not low <= high:
        raise OutOfRange(f"lower bound {low:g} lies above the higher one, {high:g}")
    return Bounds(low, high)


def total(parts: Iterable[Bounds]) -> Bounds:
    """The sum of parts, each somewhere between its bounds."""
    found = NONE
    for part in parts:
        found = found.plus(part)
    return found
