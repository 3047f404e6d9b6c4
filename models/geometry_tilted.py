"""Volumes of vessels out of level, and of upright cylinders with a sloped bottom: closed forms but for their heads.

The level is what the gauge sees: the depth where it stands, square to the vessel. Level 0 then need not be empty, and a
full reading need not be a full tank; a level outside of the gauge's own height is `OutOfRange`.
"""

import math
from dataclasses import dataclass
from typing import Final

from models.errors import OutOfRange
from models.geometry import FLAT, Head, HeadKind, LyingCylinder, UprightCylinder, inside, segment_m2, sizes
from models.heads import lying_head_m3, upright_head_m3

MAX_TILT: Final = 0.03
"""Largest tilt of an upright or rectangular tank as a slope. Source: ISO 7507-1, up to 3 % (scope text)."""

MAX_TILT_LYING: Final = 0.1
"""Largest tilt of a lying cylinder; our own limit: beyond it somebody measured something else."""


@dataclass(frozen=True, slots=True)
class TiltedBox:
    """A rectangular tank out of level along its length by the slope `tilt`, gauged gauge_m from the deeper end."""

    length_m: float
    width_m: float
    height_m: float
    tilt: float
    gauge_m: float

    def __post_init__(self) -> None:
        sizes(length_m=self.length_m, width_m=self.width_m, height_m=self.height_m)
        _slope(self.tilt)
        _gauge(self.gauge_m, self.length_m)

    def volume_m3(self, level_m: float) -> float:
        inside(level_m, self.height_m)
        slope = abs(self.tilt)
        deep, shallow = sorted(_ends(level_m, self.tilt, self.gauge_m, self.length_m), reverse=True)
        if slope == 0:
            return self.width_m * self.length_m * level_m
        full = min(max((deep - self.height_m) / slope, 0.0), self.length_m)  # as far as the lid is wet
        wet = min(max(deep / slope, 0.0), self.length_m)  # as far as the bottom is
        from_m, to_m = min(deep, self.height_m), max(shallow, 0.0)
        return self.width_m * (full * self.height_m + (wet - full) * (max(from_m, 0.0) + min(to_m, from_m)) / 2)


@dataclass(frozen=True, slots=True)
class TiltedLyingCylinder:
    """A horizontal cylinder out of level along its length by the slope `tilt`.

    The gauge stands gauge_m along the straight part from the left end, which is the deeper one; the level is the depth
    there, square to the axis. Level 0 need not be empty and a full reading need not be a full tank: what the gauge
    cannot see stays in the table. Source: integral of the circle's segment at depth level - (x - gauge) tilt.
    """

    diameter_m: float
    length_m: float
    tilt: float
    gauge_m: float
    left: Head = FLAT
    right: Head = FLAT

    def __post_init__(self) -> None:
        LyingCylinder(self.diameter_m, self.length_m, self.left, self.right)  # refuses what is none
        if not abs(self.tilt) <= MAX_TILT_LYING:
            raise OutOfRange(f"tilt {100 * self.tilt:g} % of length; allowed up to {100 * MAX_TILT_LYING:g} %")
        _gauge(self.gauge_m, self.length_m)

    @property
    def height_m(self) -> float:
        return self.diameter_m

    def volume_m3(self, level_m: float) -> float:
        inside(level_m, self.diameter_m)
        radius = self.diameter_m / 2
        left, right = _ends(level_m, self.tilt, self.gauge_m, self.length_m)
        if abs(left - right) < 1e-6 * radius:  # the difference of two integrals would lose its digits
            straight = segment_m2(radius, (left + right) / 2) * self.length_m
        else:
            straight = (_segment_integral(radius, left) - _segment_integral(radius, right)) / self.tilt
        return (
            straight
            + lying_head_m3(self.left, self.diameter_m, left, self.tilt)
            + lying_head_m3(self.right, self.diameter_m, right, -self.tilt)
        )


@dataclass(frozen=True, slots=True)
class TiltedUprightCylinder:
    """An upright cylinder leaning by the slope `tilt`; a flat bottom, or one that stands out or in, and a dome.

    The level is that at the gauge, along the tank's axis from its lowest point; the gauge stands offset_m from the axis
    towards the deeper side (negative: away).
    """

    diameter_m: float
    shell_m: float
    tilt: float
    offset_m: float = 0.0
    bottom: Head = FLAT
    top: Head = FLAT

    def __post_init__(self) -> None:
        UprightCylinder(self.diameter_m, self.shell_m, self.bottom, self.top)  # refuses what is none
        _slope(self.tilt)
        if not abs(self.offset_m) <= self.diameter_m / 2:
            raise OutOfRange(f"gauge {self.offset_m:g} m off the axis is outside of the tank")

    @property
    def height_m(self) -> float:
        return UprightCylinder(self.diameter_m, self.shell_m, self.bottom, self.top).height_m

    def volume_m3(self, level_m: float) -> float:
        upright = UprightCylinder(self.diameter_m, self.shell_m, self.bottom, self.top)
        inside(level_m, upright.height_m)
        radius, slope, d = self.diameter_m / 2, abs(self.tilt), self.diameter_m
        out = self.bottom.out_m(d)
        over_rim = level_m - max(0.0, out) - self.offset_m * slope
        over_shell = over_rim - self.shell_m
        volume = _hoof_m3(radius, slope, over_rim) - _hoof_m3(radius, slope, over_shell)
        if slope == 0 and (self.bottom.kind, self.top.kind) != (HeadKind.FLAT, HeadKind.FLAT):
            return upright.volume_m3(min(level_m, upright.height_m))
        if self.bottom.kind is not HeadKind.FLAT:
            under = upright_head_m3(self.bottom, d, over_rim, math.copysign(1.0, out), slope)
            volume += math.copysign(under, out)
        if self.top.kind is not HeadKind.FLAT:
            volume += upright_head_m3(self.top, d, over_shell, -1.0, slope)
        return volume


@dataclass(frozen=True, slots=True)
class SlopedBottomCylinder:
    """An upright cylinder whose flat bottom falls by fall_m across the diameter; level from its lowest point."""

    diameter_m: float
    shell_m: float
    fall_m: float

    def __post_init__(self) -> None:
        sizes(diameter_m=self.diameter_m, shell_m=self.shell_m)
        if not 0 < self.fall_m < self.shell_m:
            raise OutOfRange(f"bottom falls {self.fall_m:g} m in a shell of {self.shell_m:g} m")

    @property
    def height_m(self) -> float:
        """The shell's height at its longest side."""
        return self.shell_m

    def volume_m3(self, level_m: float) -> float:
        inside(level_m, self.shell_m)
        return _hoof_m3(self.diameter_m / 2, self.fall_m / self.diameter_m, level_m - self.fall_m / 2)


def _hoof_m3(radius: float, slope: float, at_axis: float) -> float:
    """Volume over a circle of max(0, at_axis + slope x): a cylinder cut obliquely, a hoof where it meets its base."""
    if slope * radius <= abs(at_axis):
        return math.pi * radius * radius * at_axis if at_axis > 0 else 0.0
    edge = at_axis / slope  # wet where x > -edge
    half = math.sqrt((radius - edge) * (radius + edge))
    return at_axis * segment_m2(radius, radius + edge) + slope * 2 / 3 * half**3


def _slope(tilt: float) -> None:
    if not abs(tilt) <= MAX_TILT:
        raise OutOfRange(f"tilt {100 * tilt:g} % of length; allowed up to {100 * MAX_TILT:g} %")


def _ends(level: float, tilt: float, gauge: float, length: float) -> tuple[float, float]:
    """Depths at the deeper and at the shallower end, unclamped."""
    return level + gauge * tilt, level - (length - gauge) * tilt


def _segment_integral(radius: float, depth: float) -> float:
    """Integral over depth, from 0, of the segment's area; beyond the top the full circle goes on."""
    if depth <= 0:
        return 0.0
    inside = min(depth, 2 * radius)
    c = radius - inside
    s = math.sqrt(max(0.0, (radius - c) * (radius + c)))
    integral = radius * radius * (s - c * math.atan2(s, c)) - s**3 / 3
    return integral + math.pi * radius * radius * (depth - inside)


def _gauge(gauge: float, length: float) -> None:
    if not 0 <= gauge <= length:
        raise OutOfRange(f"gauge at {gauge:g} m from the deeper end is outside of the length {length:g} m")
