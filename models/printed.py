"""Capacity tables as they are printed: centimetre rows with a table of proportional parts for the millimetres.

Knows how the two sheets make one table; refuses, with the row, what does not fit together. Levels count from the datum
plate: a row below it has no place here.
"""

from collections.abc import Sequence
from itertools import pairwise
from typing import Final, NamedTuple

from models.capacity import CapacityTable
from models.errors import BadTable

_MM: Final = 0.001
_CLOSE_M: Final = 1e-6


class Parts(NamedTuple):
    """Volumes to add for 1 to 9 mm, from one level up to another (a course, as a rule)."""

    low_m: float
    high_m: float
    added_m3: tuple[float, ...]


def with_parts(levels_m: Sequence[float], volumes_m3: Sequence[float], parts: Sequence[Parts]) -> CapacityTable:
    """One table, a row each millimetre, from rows a centimetre apart and the parts for what lies between.

    Where no part covers a centimetre its rows are joined by a straight line. Source: the usual form of printed tables
    (common practice, no source).
    """
    if len(levels_m) != len(volumes_m3):
        raise BadTable(f"{len(levels_m)} levels but {len(volumes_m3)} volumes; give one volume for each level")
    if levels_m and levels_m[0] < 0:
        raise BadTable(f"row 1: level {levels_m[0]:g} m is below the datum plate; a dip cannot reach there")
    for number, sheet in enumerate(parts, 1):
        _check(number, sheet)
    rows: list[tuple[float, float]] = []
    for number, ((low, start), (high, end)) in enumerate(pairwise(zip(levels_m, volumes_m3, strict=True)), 1):
        rows.append((low, start))
        covering = [p for p in parts if p.low_m - _CLOSE_M <= low and high <= p.high_m + _CLOSE_M]
        if not covering:
            continue
        part = covering[0]
        if abs(high - low - 0.01) > _CLOSE_M:
            raise BadTable(f"row {number}: {low:g} to {high:g} m is no centimetre; parts are for 1 to 9 mm of one")
        if start + part.added_m3[-1] > end:
            raise BadTable(
                f"row {number}: 9 mm more hold {start + part.added_m3[-1]:g} m3, the next row only {end:g} m3"
            )
        rows += [(low + mm * _MM, start + added) for mm, added in enumerate(part.added_m3, 1)]
    if levels_m:
        rows.append((levels_m[-1], volumes_m3[-1]))
    return CapacityTable([level for level, _ in rows], [volume for _, volume in rows])


def _check(number: int, part: Parts) -> None:
    if len(part.added_m3) != 9:
        raise BadTable(f"proportional parts {number}: {len(part.added_m3)} values; give the 9 for 1 to 9 mm")
    if not part.low_m < part.high_m:
        raise BadTable(f"proportional parts {number}: {part.low_m:g} to {part.high_m:g} m; the lower end comes first")
    if part.added_m3[0] < 0 or any(b < a for a, b in pairwise(part.added_m3)):
        raise BadTable(f"proportional parts {number}: a volume falls")
