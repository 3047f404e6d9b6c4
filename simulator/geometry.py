"""The true shells of the farm: innage under the gauge to volume and back, with all that a drawing leaves out.

Knows courses of unlike diameter, a coned bottom, tilt and the bulge under the liquid's head. Knows nothing of
temperature: volumes are those of a shell at 15 degC. The same description without its flaws is what the invented
calibration certificate was made from.
"""

import math
from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass, replace
from random import Random
from typing import Final

from simulator.errors import BadShell

GRAVITY_MPS2: Final = 9.81
STEEL_PA: Final = 2.06e11
BULGE_DENSITY_KGPM3: Final = 800.0

_RINGS: Final = 14
_SPOKES: Final = 14
_SLICES: Final = 6


@dataclass(frozen=True, slots=True)
class Course:
    """One ring of plates of an upright shell."""

    height_m: float
    diameter_m: float


@dataclass(frozen=True, slots=True)
class Upright:
    """An upright shell. `tilt` is the slope of its axis, `bottom_slope` that of the cone falling to the centre.

    The datum plate lies under the gauge, `gauge_radius` of the radius away from the axis, towards the low side of the
    tilt. plate_m: thickness of the wall, for the bulge (0 = rigid).
    """

    courses: tuple[Course, ...]
    bottom_slope: float = 1 / 120
    tilt: float = 0.0
    gauge_radius: float = 0.8
    plate_m: float = 0.0

    @property
    def height_m(self) -> float:
        return sum(course.height_m for course in self.courses)

    @property
    def diameter_m(self) -> float:
        return self.courses[0].diameter_m

    @property
    def wall_m2_per_m(self) -> float:
        return math.pi * self.diameter_m

    @property
    def top_m2(self) -> float:
        return math.pi / 4 * self.diameter_m**2

    def slosh_hz(self, level_m: float) -> float:
        """First sideways mode. Source: linear theory of a round basin, from memory; 1.8412 is the zero of J1'."""
        k = 1.8412 / (self.diameter_m / 2)
        return math.sqrt(GRAVITY_MPS2 * k * math.tanh(k * max(level_m, 0.05))) / (2 * math.pi)

    def flawed(self, chance: Random) -> "Upright":
        """The shell as it was really built: each farm draws its own."""
        common = 1 + chance.gauss(0, 3e-4)
        courses = tuple(replace(c, diameter_m=c.diameter_m * (common + chance.gauss(0, 1.5e-4))) for c in self.courses)
        tilt = min(abs(chance.gauss(0, 1.5e-3)), 5e-3)
        return replace(self, courses=courses, tilt=tilt, plate_m=0.008)

    def rows(self) -> tuple[list[float], list[float]]:
        """Innages and volumes, straight lines between them good to a few mL."""
        radius, area = self.diameter_m / 2, self.top_m2
        depths = self._bottom_depths(radius)
        under = sum(depths) / len(depths)
        full_m = max(0.0, -min(depths)) + 1e-6
        levels = [full_m * k / 24 for k in range(24)]
        volumes = [area * sum(max(0.0, h + d) for d in depths) / len(depths) for h in levels]
        base, volume = full_m, area * (full_m + under)
        levels.append(base)
        volumes.append(volume)
        top = 0.0
        for course in self.courses:
            top += course.height_m
            course_m2 = math.pi / 4 * course.diameter_m**2
            pieces = max(1, math.ceil((top - base) / 0.05))
            for piece in range(1, pieces + 1):
                level = base + (top - base) * piece / pieces
                levels.append(level)
                volumes.append(volume + course_m2 * (level - base))
            base, volume = top, volumes[-1]
        return levels, [v + self._bulge_m3(h) for h, v in zip(levels, volumes, strict=True)]

    def _bottom_depths(self, radius: float) -> list[float]:
        """Depth of the bottom below the datum plate at points that stand for equal areas; negative where higher."""
        gauge_m = self.gauge_radius * radius
        datum = self.bottom_slope * gauge_m - self.tilt * gauge_m
        depths = []
        for ring in range(_RINGS):
            inner, outer = radius * math.sqrt(ring / _RINGS), radius * math.sqrt((ring + 1) / _RINGS)
            r = 2 / 3 * (outer**3 - inner**3) / (outer**2 - inner**2)
            for spoke in range(_SPOKES):
                along = r * math.cos(math.pi * (spoke + 0.5) / _SPOKES)
                depths.append(datum - (self.bottom_slope * r - self.tilt * along))
        return depths

    def _bulge_m3(self, level_m: float) -> float:
        """What the wall gives way under the head: hoop strain rho g (h - z) R / (t E), integrated over the height."""
        if not self.plate_m:
            return 0.0
        radius = self.diameter_m / 2
        return self.top_m2 * BULGE_DENSITY_KGPM3 * GRAVITY_MPS2 * radius / (self.plate_m * STEEL_PA) * level_m**2


@dataclass(frozen=True, slots=True)
class Lying:
    """A lying cylinder with flat ends; the gauge stands `gauge_along` of the length uphill from the middle."""

    diameter_m: float
    length_m: float
    tilt: float = 0.0
    gauge_along: float = 0.3

    @property
    def height_m(self) -> float:
        return self.diameter_m

    @property
    def wall_m2_per_m(self) -> float:
        return math.pi * self.length_m

    @property
    def top_m2(self) -> float:
        return 0.8 * self.diameter_m * self.length_m

    def slosh_hz(self, level_m: float) -> float:
        """First lengthwise mode. Source: linear theory of a long basin, from memory."""
        k = math.pi / self.length_m
        return math.sqrt(GRAVITY_MPS2 * k * math.tanh(k * max(level_m, 0.05))) / (2 * math.pi)

    def flawed(self, chance: Random) -> "Lying":
        return replace(
            self,
            diameter_m=self.diameter_m * (1 + chance.gauss(0, 8e-4)),
            length_m=self.length_m * (1 + chance.gauss(0, 8e-4)),
            tilt=min(abs(chance.gauss(0, 2e-3)), 6e-3),
        )

    def rows(self) -> tuple[list[float], list[float]]:
        rows = math.ceil(self.diameter_m / 0.004)
        levels = [self.diameter_m * k / rows for k in range(rows + 1)]
        piece = self.length_m / _SLICES
        offsets = [((k + 0.5) / _SLICES - 0.5 - self.gauge_along) * -self.length_m * self.tilt for k in range(_SLICES)]
        return levels, [piece * sum(self._segment_m2(h + offset) for offset in offsets) for h in levels]

    def _segment_m2(self, level_m: float) -> float:
        """Wetted part of the round end. Source: elementary geometry, the circular segment by its half angle."""
        radius = self.diameter_m / 2
        half = math.acos(min(1.0, max(-1.0, 1 - level_m / radius)))
        return radius * radius * (half - math.sin(half) * math.cos(half))


Shape = Upright | Lying


class Shell:
    """A shell ready for use: both directions by its rows."""

    __slots__ = ("_levels", "_volumes", "shape")

    def __init__(self, shape: Shape) -> None:
        self.shape = shape
        self._levels, self._volumes = shape.rows()
        _rising("level", self._levels)
        _rising("volume", self._volumes)

    @property
    def capacity_m3(self) -> float:
        return self._volumes[-1]

    def volume_m3(self, level_m: float) -> float:
        """Volume up to an innage. Raises `BadShell` outside of the shell."""
        return _between(self._levels, self._volumes, level_m, "level", "m")

    def level_m(self, volume_m3: float) -> float:
        """Innage that a volume reaches. Raises `BadShell` outside of the shell: the tank ran over, or dry."""
        return _between(self._volumes, self._levels, volume_m3, "volume", "m3")


def _between(xs: Sequence[float], ys: Sequence[float], x: float, what: str, unit: str) -> float:
    if not xs[0] <= x <= xs[-1]:
        raise BadShell(f"{what} {x:.4f} {unit} is outside of the shell ({xs[0]:.4f} to {xs[-1]:.4f} {unit})")
    i = min(bisect_right(xs, x), len(xs) - 1)
    x0, y0 = xs[i - 1], ys[i - 1]
    return y0 + (ys[i] - y0) * ((x - x0) / (xs[i] - x0))


def _rising(what: str, values: Sequence[float]) -> None:
    for k in range(1, len(values)):
        if not values[k] > values[k - 1]:
            raise BadShell(
                f"{what} does not rise at row {k + 1}: {values[k - 1]:.6f} then {values[k]:.6f}; mend the sizes"
            )
