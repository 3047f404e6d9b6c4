"""From any shape to a capacity table, fine enough that nobody need ask for the shape again.

Rows are at most 1 mm apart and closer where the shape curves fast; straight lines between them stay within 1e-6 of the
capacity of the exact volume.
"""

import math
from functools import lru_cache
from typing import Final

from models.capacity import CapacityTable
from models.geometry import Shape

STEP_M: Final = 0.001
AGREEMENT_FRAC: Final = 1e-6

_AIM_FRAC: Final = 2e-7
_DEEPEST: Final = 12


@lru_cache(maxsize=32)
def table_of(shape: Shape, *, step_m: float = STEP_M, lowest_m: float = 0.0) -> CapacityTable:
    """The table of a shape from lowest_m to its height; kept, since a site file is read more than once.

    Raises `OutOfRange` where a step or level makes no sense.
    """
    if not 0 < step_m <= STEP_M:
        raise ValueError(f"step {step_m:g} m; at most {STEP_M:g} m")
    height = shape.height_m
    first, last = math.floor(lowest_m / step_m), math.ceil(height / step_m)
    levels = [lowest_m, *(k * step_m for k in range(first + 1, last) if lowest_m < k * step_m < height - 1e-9), height]
    volumes = [shape.volume_m3(level) for level in levels]
    aim = _AIM_FRAC * volumes[-1]
    rows: list[tuple[float, float]] = [(levels[0], volumes[0])]
    for i in range(1, len(levels)):
        if _bends(volumes, i) > aim / 4:
            _refine(shape, rows, levels[i], volumes[i], aim, _DEEPEST)
        rows.append((levels[i], volumes[i]))
    highest = 0.0
    smooth = []
    for _, volume in rows:  # a closed form may fall by its last bit; a table may not
        highest = max(highest, volume)
        smooth.append(highest)
    return CapacityTable([level for level, _ in rows], smooth)


def _bends(volumes: list[float], i: int) -> float:
    """About how far the straight line before row i is off in its middle, from second differences on both sides."""
    before = abs(volumes[i] - 2 * volumes[i - 1] + volumes[i - 2]) if i >= 2 else float("inf")
    after = abs(volumes[i + 1] - 2 * volumes[i] + volumes[i - 1]) if i + 1 < len(volumes) else float("inf")
    return max(before, after) / 8


def _refine(
    shape: Shape, rows: list[tuple[float, float]], level: float, volume: float, aim: float, deeper: int
) -> None:
    """Halve the stretch from the last row to this level until the straight line is close enough."""
    low, low_volume = rows[-1]
    middle = (low + level) / 2
    exact = shape.volume_m3(middle)
    if deeper == 0 or abs(exact - (low_volume + volume) / 2) <= aim:
        return
    _refine(shape, rows, middle, exact, aim, deeper - 1)
    rows.append((middle, exact))
    _refine(shape, rows, level, volume, aim, deeper - 1)
