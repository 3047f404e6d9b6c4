"""Which two movements are one transfer: from one tank into another of the same product, at the same time, as much.

Knows what two movements look like; refuses to choose where more than one fits. No I/O, no clock.
"""

from collections.abc import Iterable
from typing import Final

from inventory.movement import Movement, Stage

TOGETHER_MS: Final = 120_000
"""So far apart may the two starts, and the two ends, be beside their uncertainties: slow start, drain-back (ours)."""
SHARE: Final = 0.05
RUNNING_SHARE: Final = 0.2
SMALLEST_M3: Final = 0.5
"""How far two volumes may differ: two tanks, two tables (ours); more while they run, as one surface lags the other."""


def fits(one: Movement, other: Movement) -> bool:
    """Whether these two look like the two sides of one transfer."""
    if one.sign == other.sign or one.tank == other.tank or one.unclear or other.unclear:
        return False
    if Stage.WITHDRAWN in (one.stage, other.stage):
        return False
    if not _near(one.start_at_ms, one.start_u95_s, other.start_at_ms, other.start_u95_s):
        return False
    both_over = one.end_at_ms is not None and other.end_at_ms is not None
    if both_over and not _near(one.end_at_ms, one.end_u95_s, other.end_at_ms, other.end_u95_s):
        return False
    off, most = abs(one.moved_m3 + other.moved_m3), max(abs(one.moved_m3), abs(other.moved_m3))
    return off <= max(SMALLEST_M3, (SHARE if both_over else RUNNING_SHARE) * most)


def _near(a_ms: int | None, a_s: float | None, b_ms: int | None, b_s: float | None) -> bool:
    if a_ms is None or b_ms is None or a_s is None or b_s is None:
        return False
    return abs(a_ms - b_ms) <= TOGETHER_MS + 1000 * (a_s + b_s)


def partner(one: Movement, others: Iterable[Movement]) -> Movement | None:
    """The only one that fits; none where none does, or more than one."""
    found = [other for other in others if fits(one, other)]
    return found[0] if len(found) == 1 else None
