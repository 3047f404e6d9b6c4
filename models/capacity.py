"""The capacity (strapping) table of a tank: innage to volume and back.

One type serves every tank: certificates are read into it, `models.geometry_tables` generates it. Levels strictly
increase; volumes never fall (real tables are printed in whole litres, so a flat stretch is legal). Outside of the table
there is no volume: `OutOfRange`, never a clamped figure.
"""

from bisect import bisect_left, bisect_right
from collections.abc import Sequence
from typing import NamedTuple

from models.errors import BadTable, OutOfRange


class Interval(NamedTuple):
    """The innages, in m, that hold one volume: equal ends but for a flat stretch of the table."""

    low_m: float
    high_m: float


class CapacityTable:
    """Innage in m against volume in m3, straight lines between rows.

    Source: API MPMS 2.2A / ISO 7507-1 tables are printed by level increment; linear interpolation between printed rows
    is common practice, no source.
    """

    __slots__ = ("_levels", "_volumes")

    def __init__(self, levels_m: Sequence[float], volumes_m3: Sequence[float]) -> None:
        if len(levels_m) != len(volumes_m3):
            raise BadTable(f"{len(levels_m)} levels but {len(volumes_m3)} volumes; give one volume for each level")
        if len(levels_m) < 2:
            raise BadTable("a capacity table needs at least two rows")
        for row in range(1, len(levels_m)):
            if not levels_m[row] > levels_m[row - 1]:
                raise BadTable(f"row {row + 1}: level {levels_m[row]:g} m is not above the row before it")
            if not volumes_m3[row] >= volumes_m3[row - 1]:
                raise BadTable(f"row {row + 1}: volume {volumes_m3[row]:g} m3 is below the row before it")
        if volumes_m3[0] < 0:
            raise BadTable(f"row 1: volume {volumes_m3[0]:g} m3 is negative")
        if not volumes_m3[-1] > volumes_m3[0]:
            raise BadTable("the whole table is flat: no level changes the volume")
        self._levels = tuple(map(float, levels_m))
        self._volumes = tuple(map(float, volumes_m3))

    @property
    def levels_m(self) -> tuple[float, ...]:
        return self._levels

    @property
    def volumes_m3(self) -> tuple[float, ...]:
        return self._volumes

    @property
    def bottom_m(self) -> float:
        return self._levels[0]

    @property
    def top_m(self) -> float:
        return self._levels[-1]

    @property
    def capacity_m3(self) -> float:
        """The last row of the table: what 100 % of volume means."""
        return self._volumes[-1]

    def volume_m3(self, level_m: float) -> float:
        """Volume at an innage. Raises `OutOfRange` below the first and above the last row."""
        return self.at(level_m)[0]

    def at(self, level_m: float) -> tuple[float, float]:
        """Volume in m3 and area in m2 (what a metre more would add) at an innage, found together.

        Raises `OutOfRange` as `volume_m3` does.
        """
        levels, volumes = self._levels, self._volumes
        i = bisect_right(levels, level_m)
        if not 0 < i < len(levels):
            if level_m != levels[-1]:
                raise OutOfRange(self._off(level_m))
            i -= 1
        low, part = levels[i - 1], volumes[i - 1]
        rise, more = levels[i] - low, volumes[i] - part
        if level_m == levels[i]:
            return volumes[i], more / rise
        return part + more * ((level_m - low) / rise), more / rise

    def _off(self, level_m: float) -> str:
        levels = self._levels
        if level_m < levels[0]:
            return f"level {level_m:.4f} m below the first row of the capacity table ({levels[0]:g} m)"
        return f"level {level_m:.4f} m above the top of the capacity table ({levels[-1]:g} m)"

    def nearest_m(self, level_m: float) -> float:
        """The level itself, or the end of the table that it is off. Whether that may be is the caller's to say."""
        return min(max(level_m, self._levels[0]), self._levels[-1])

    def levels_of(self, volume_m3: float) -> Interval:
        """The innages that hold a volume. Raises `OutOfRange` outside of the table's volumes."""
        levels, volumes = self._levels, self._volumes
        if not volumes[0] <= volume_m3 <= volumes[-1]:
            raise OutOfRange(
                f"volume {volume_m3:.4f} m3 is not in the capacity table ({volumes[0]:g} to {volumes[-1]:g} m3)"
            )
        first, last = bisect_left(volumes, volume_m3), bisect_right(volumes, volume_m3)
        if last > first:
            return Interval(levels[first], levels[last - 1])
        below, step = volumes[first - 1], volumes[first] - volumes[first - 1]
        level = levels[first - 1] + (levels[first] - levels[first - 1]) * ((volume_m3 - below) / step)
        return Interval(level, level)

    def area_m2(self, level_m: float) -> float:
        """Cubic metres per metre of level at an innage; between two rows the same all along, off the table as at its
        end."""
        return self.at(self.nearest_m(level_m))[1]
