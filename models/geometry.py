"""Volumes of vessels from their drawings: level -> exact volume, for the shapes that fuel is kept in.

Each shape knows its height and `volume_m3(level_m)`; a level outside of the vessel is `OutOfRange`, never an empty or a
full tank. Heads and bottoms that the `fluids` library covers come from it (D. Jones's formulas). Vessels out of level
and sloped bottoms are in `models.geometry_tilted`; `models.geometry_tables` turns any shape into a capacity table.
All levels are innages from the lowest point inside, all ends are flat unless said. A drawing is no calibration.
"""

import math
from dataclasses import dataclass
from enum import StrEnum
from functools import cache
from typing import Any, Final, Protocol

from models.errors import OutOfRange


@cache
def _fluids() -> Any:
    """The library of head volumes, loaded by the first curved head: a flat-ended tank or a table needs none of it."""
    from fluids import geometry

    return geometry


class Shape(Protocol):
    """A vessel. `height_m` is the highest level with a volume, `capacity_m3` the volume there."""

    def __hash__(self) -> int: ...

    @property
    def height_m(self) -> float: ...

    def volume_m3(self, level_m: float) -> float: ...


class HeadKind(StrEnum):
    FLAT = "flat"
    CONICAL = "conical"
    ELLIPSOIDAL = "ellipsoidal"
    SPHERICAL = "spherical"
    TORISPHERICAL = "torispherical"
    GUPPY = "guppy"  # an oblique cone whose tip lies on the top line; of lying cylinders only


@dataclass(frozen=True, slots=True)
class Head:
    """An end of a cylinder. depth_m: how far it stands out (negative, for a bottom: how far it stands in).

    A torispherical head takes its crown radius and knuckle radius as fractions of the diameter instead.
    """

    kind: HeadKind = HeadKind.FLAT
    depth_m: float = 0.0
    crown_frac: float = 1.0
    knuckle_frac: float = 0.06

    def check(self, diameter_m: float) -> None:
        radius = diameter_m / 2
        if self.kind is HeadKind.TORISPHERICAL:
            if not (0.5 < self.crown_frac <= 1.5 and 0 < self.knuckle_frac < 0.5):
                raise OutOfRange(
                    f"torispherical head with crown {self.crown_frac:g} D and knuckle {self.knuckle_frac:g} D; "
                    "allowed crown above 0.5 to 1.5 D, knuckle below 0.5 D"
                )
        elif self.kind is HeadKind.FLAT:
            if self.depth_m != 0:
                raise OutOfRange(f"a flat end of depth {self.depth_m:g} m; leave the depth out or name its shape")
        elif not 0 < abs(self.depth_m) <= (radius if self.kind is HeadKind.SPHERICAL else diameter_m):
            raise OutOfRange(f"{self.kind.value} head of depth {self.depth_m:g} m does not fit {diameter_m:g} m")

    def out_m(self, diameter_m: float) -> float:
        """How far the head stands out of the cylinder; negative where it stands in."""
        if self.kind is HeadKind.TORISPHERICAL:
            depth: float = _fluids().a_torispherical(diameter_m, self.crown_frac, self.knuckle_frac)
            return -depth if self.depth_m < 0 else depth
        return self.depth_m


FLAT: Final = Head()


def segment_m2(radius_m: float, depth_m: float) -> float:
    """Area of a circle below a depth from its lowest point; all of it above, none below."""
    c = radius_m - depth_m
    if c >= radius_m:
        return 0.0
    if c <= -radius_m:
        return math.pi * radius_m * radius_m
    s = math.sqrt((radius_m - c) * (radius_m + c))
    return radius_m * radius_m * math.atan2(s, c) - c * s  # atan2 keeps the digits that acos loses near both ends


def inside(level_m: float, height_m: float) -> None:
    """Refuse a level that the vessel does not have."""
    if not 0 <= level_m <= height_m * (1 + 1e-12):
        where = "above the top of the vessel" if level_m > height_m else "below the lowest point of the vessel"
        raise OutOfRange(f"level {level_m:.4f} m is {where} (0 to {height_m:.4f} m)")


def sizes(**sizes_m: float) -> None:
    """Refuse a size that is no tank's."""
    for name, size in sizes_m.items():
        if not 0.01 <= size <= 200:
            raise OutOfRange(f"{name.removesuffix('_m')} {size:g} m is no size of a tank; allowed 0.01 to 200 m")


@dataclass(frozen=True, slots=True)
class LyingCylinder:
    """A horizontal cylinder with two ends, level from the lowest line of its straight part."""

    diameter_m: float
    length_m: float
    left: Head = FLAT
    right: Head = FLAT

    def __post_init__(self) -> None:
        sizes(diameter_m=self.diameter_m, length_m=self.length_m)
        for head in (self.left, self.right):
            head.check(self.diameter_m)
            if head.depth_m < 0:
                raise OutOfRange(f"head depth {head.depth_m:g} m; the ends of a lying cylinder stand out")

    @property
    def height_m(self) -> float:
        return self.diameter_m

    def volume_m3(self, level_m: float) -> float:
        inside(level_m, self.diameter_m)
        level = min(level_m, self.diameter_m)
        straight = segment_m2(self.diameter_m / 2, level) * self.length_m
        left = self._head_m3(self.left, level)
        return straight + left + (left if self.right == self.left else self._head_m3(self.right, level))

    def _head_m3(self, head: Head, level: float) -> float:
        if head.kind is HeadKind.FLAT:
            return 0.0
        d, a, heads = self.diameter_m, head.depth_m, _fluids()
        volume: float
        match head.kind:
            case HeadKind.CONICAL:
                volume = heads.V_horiz_conical(d, 0.0, a, level, headonly=True)
            case HeadKind.ELLIPSOIDAL:
                volume = heads.V_horiz_ellipsoidal(d, 0.0, a, level, headonly=True)
            case HeadKind.SPHERICAL:
                volume = heads.V_horiz_spherical(d, 0.0, a, level, headonly=True)
            case HeadKind.GUPPY:
                volume = heads.V_horiz_guppy(d, 0.0, a, level, headonly=True)
            case HeadKind.TORISPHERICAL:
                volume = heads.V_horiz_torispherical(d, 0.0, head.crown_frac, head.knuckle_frac, level, headonly=True)
        return volume


@dataclass(frozen=True, slots=True)
class UprightCylinder:
    """A vertical cylinder. A bottom that stands out hangs below the shell, one that stands in rises into it.

    top: its head over the shell, standing out or flat (a dome that fuel can reach); level from the lowest point.
    """

    diameter_m: float
    shell_m: float
    bottom: Head = FLAT
    top: Head = FLAT

    def __post_init__(self) -> None:
        sizes(diameter_m=self.diameter_m, shell_m=self.shell_m)
        self.bottom.check(self.diameter_m)
        self.top.check(self.diameter_m)
        if HeadKind.GUPPY in (self.bottom.kind, self.top.kind):
            raise OutOfRange("a guppy end belongs to a lying cylinder; an upright one has none")
        if -self.bottom.out_m(self.diameter_m) >= self.shell_m:
            raise OutOfRange(f"a bottom that stands in {-self.bottom.depth_m:g} m fills {self.shell_m:g} m of shell")
        if self.top.depth_m < 0:
            raise OutOfRange(f"top head depth {self.top.depth_m:g} m; a top stands out")

    @property
    def height_m(self) -> float:
        d = self.diameter_m
        return max(0.0, self.bottom.out_m(d)) + self.shell_m + self.top.out_m(d)

    def volume_m3(self, level_m: float) -> float:
        height = self.height_m
        inside(level_m, height)
        d = self.diameter_m
        top = self.top.out_m(d)
        shell_top = height - top
        volume = _over_bottom_m3(self.bottom, d, min(level_m, shell_top))
        if level_m > shell_top:
            volume += _over_bottom_m3(self.top, d, top) - _over_bottom_m3(self.top, d, max(0.0, height - level_m))
        return volume


def _over_bottom_m3(head: Head, d: float, level: float) -> float:
    """Volume over a bottom in an endless upright cylinder, level from the lowest point."""
    if level <= 0:
        return 0.0
    if head.kind is HeadKind.FLAT:
        return math.pi / 4 * d * d * level
    a, inward, heads = head.depth_m, head.depth_m < 0, _fluids()
    volume: float
    match head.kind:
        case HeadKind.CONICAL:
            volume = (heads.V_vertical_conical_concave if inward else heads.V_vertical_conical)(d, a, level)
        case HeadKind.ELLIPSOIDAL:
            volume = (heads.V_vertical_ellipsoidal_concave if inward else heads.V_vertical_ellipsoidal)(d, a, level)
        case HeadKind.SPHERICAL:
            volume = (heads.V_vertical_spherical_concave if inward else heads.V_vertical_spherical)(d, a, level)
        case HeadKind.TORISPHERICAL:
            over = heads.V_vertical_torispherical_concave if inward else heads.V_vertical_torispherical
            volume = over(d, head.crown_frac, head.knuckle_frac, level)
    return volume


@dataclass(frozen=True, slots=True)
class Sphere:
    """Source: elementary geometry, pi h^2 (3 R - h) / 3."""

    diameter_m: float

    def __post_init__(self) -> None:
        sizes(diameter_m=self.diameter_m)

    @property
    def height_m(self) -> float:
        return self.diameter_m

    def volume_m3(self, level_m: float) -> float:
        inside(level_m, self.diameter_m)
        return math.pi * level_m * level_m * (1.5 * self.diameter_m - level_m) / 3


@dataclass(frozen=True, slots=True)
class Box:
    """A rectangular tank."""

    length_m: float
    width_m: float
    height_m: float

    def __post_init__(self) -> None:
        sizes(length_m=self.length_m, width_m=self.width_m, height_m=self.height_m)

    def volume_m3(self, level_m: float) -> float:
        inside(level_m, self.height_m)
        return self.length_m * self.width_m * level_m
