"""A 4-20 mA current: which NAMUR NE 43 band it lies in, and how far along its span it is.

Knows the bands and the live zero; refuses to know time, so a dwell is not here but in `alerts.strands`.
"""

from dataclasses import dataclass
from enum import StrEnum
from typing import Final

ZERO_MA: Final = 4.0
FULL_MA: Final = 20.0
SPAN_MA: Final = FULL_MA - ZERO_MA

_EPSILON_MA: Final = 5e-6
"""A 32-bit float holds 3.8 as 3.79999995 and 20.5 exactly; an edge counts for the side that the standard names."""


class Band(StrEnum):
    """Where a current lies. Class names and boundary sides are ours; the limits are NE 43's."""

    FAIL_LOW = "fail_low"
    GAP_LOW = "gap_low"
    UNDER_RANGE = "under_range"
    NORMAL = "normal"
    OVER_RANGE = "over_range"
    GAP_HIGH = "gap_high"
    FAIL_HIGH = "fail_high"

    @property
    def measures(self) -> bool:
        """True for 3.8-20.5 mA: measuring information."""
        return self in _MEASURING


_MEASURING: Final = frozenset({Band.UNDER_RANGE, Band.NORMAL, Band.OVER_RANGE})


@dataclass(frozen=True, slots=True)
class Ne43:
    """The limits in mA. All can be set: the detection margin of the 2021 edition was not at hand.

    Source: NAMUR NE 43 (2003): measuring information 3.8-20.5 mA, failure information <= 3.6 mA or >= 21 mA.
    """

    fail_low_mA: float = 3.6
    low_mA: float = 3.8
    high_mA: float = 20.5
    fail_high_mA: float = 21.0

    def band(self, current_mA: float) -> Band:
        """The band of a current in mA. 3.6 and 21.0 count as failure, 3.8 and 20.5 as measurement."""
        if self.low_mA <= ZERO_MA <= current_mA <= FULL_MA <= self.high_mA:
            return Band.NORMAL
        if current_mA <= self.fail_low_mA + _EPSILON_MA:
            return Band.FAIL_LOW
        if current_mA < self.low_mA - _EPSILON_MA:
            return Band.GAP_LOW
        if current_mA >= self.fail_high_mA - _EPSILON_MA:
            return Band.FAIL_HIGH
        if current_mA > self.high_mA + _EPSILON_MA:
            return Band.GAP_HIGH
        if current_mA < ZERO_MA:
            return Band.UNDER_RANGE
        if current_mA > FULL_MA:
            return Band.OVER_RANGE
        return Band.NORMAL


NE43_2003: Final = Ne43()
"""The published limits of the 2003 edition."""


def span_fraction(current_mA: float) -> float:
    """0 at 4 mA, 1 at 20 mA, not clamped. Source: IEC 60381-1 live zero (from memory); (I - 4) / 16."""
    return (current_mA - ZERO_MA) / SPAN_MA
