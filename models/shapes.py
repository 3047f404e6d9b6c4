"""Capacity tables made from a tank's drawing: an upright and a lying cylinder with flat ends.

Rows are at most 1 mm apart, and closer where the shape curves fast, so that the table agrees with the exact volume to
1e-6 of capacity. A table from a drawing is no calibration: nobody measured the shell.
"""

import math
from collections.abc import Callable, Sequence

from models.capacity import CapacityTable
from models.errors import OutOfRange

STEP_M = 0.001


def upright_cylinder_m3(diameter_m: float, level_m: float) -> float:
    """Volume of liquid in an upright cylinder with a flat bottom. Source: elementary geometry, pi/4 d^2 h."""
    return math.pi / 4 * diameter_m**2 * level_m


def lying_cylinder_m3(diameter_m: float, length_m: float, level_m: float) -> float:
    """Volume of liquid in a lying cylinder with flat ends, level from its lowest line.

    Source: elementary geometry, area of a circular segment: r^2 acos((r - h) / r) - (r - h) sqrt(2 r h - h^2).
    """
    r = diameter_m / 2
    h = level_m
    return length_m * (r * r * math.acos((r - h) / r) - (r - h) * math.sqrt(max(0.0, 2 * r * h - h * h)))


def upright(diameter_m: float, height_m: float) -> CapacityTable:
    """The table of an upright cylinder up to its height. Raises `OutOfRange` for a size that is no tank."""
    _sizes(diameter_m=diameter_m, height_m=height_m)
    return _table(height_m, lambda level: upright_cylinder_m3(diameter_m, level))


def lying(diameter_m: float, length_m: float) -> CapacityTable:
    """The table of a lying cylinder with flat ends. Raises `OutOfRange` for a size that is no tank."""
    _sizes(diameter_m=diameter_m, length_m=length_m)
    # The segment's volume starts as h^1.5, so that a row a millimetre is too coarse at both ends, and for a thin tank.
    step = min(STEP_M, diameter_m / 2500)
    fine = [step * k / 20 for k in range(1, 20)] + [step * k / 4 for k in range(5, 40)]
    return _table(diameter_m, lambda level: lying_cylinder_m3(diameter_m, length_m, level), step, fine)


def _table(
    top_m: float, volume_m3: Callable[[float], float], step_m: float = STEP_M, fine: Sequence[float] = ()
) -> CapacityTable:
    rows = round(top_m / step_m)
    levels = {k * step_m for k in range(rows + 1) if k * step_m < top_m} | {top_m}
    for offset in fine:
        levels |= {offset, top_m - offset}
    ordered = sorted(levels)
    return CapacityTable(ordered, [volume_m3(level) for level in ordered])


def _sizes(**sizes_m: float) -> None:
    for name, size in sizes_m.items():
        if not 0.1 <= size <= 100:
            raise OutOfRange(f"{name.removesuffix('_m')} {size:g} m is no size of a tank; allowed 0.1 to 100 m")
