"""Ends of cylinders as stacks of circles: the volume of one under a plane that need not be level with it.

Knows the profiles of heads (a cone, an ellipse, arcs) and integrates wetted segments along them; whose head it is, and
where the liquid stands, is of `models.geometry_tilted`. Level tanks do not come here: their closed forms are those of
D. Jones, through `fluids`.
"""

import math
from collections.abc import Callable, Iterator
from functools import cache
from itertools import pairwise
from typing import Final, NamedTuple

from models.geometry import Head, HeadKind, segment_m2

_NODES: Final = 16


class Arc(NamedTuple):
    """A piece of a profile: standing out s = s0 + p sin(psi), radius r = r0 + q cos(psi), psi from `low` to `high`."""

    s0: float
    p: float
    r0: float
    q: float
    low: float
    high: float

    def at(self, psi: float) -> tuple[float, float, float]:
        """s, r and ds/dpsi."""
        sine, cosine = math.sin(psi), math.cos(psi)
        return self.s0 + self.p * sine, max(0.0, self.r0 + self.q * cosine), self.p * cosine

    def crossings(self, level: float, by_s: float, by_r: float) -> list[float]:
        """Where level + by_s x s + by_r x r is zero."""
        constant = level + by_s * self.s0 + by_r * self.r0
        across, along = by_s * self.p, by_r * self.q
        size = math.hypot(across, along)
        if size == 0 or abs(constant) > size:
            return []
        middle, away = math.atan2(across, along), math.acos(-constant / size)
        return [(middle - away) % (2 * math.pi), (middle + away) % (2 * math.pi)]


class Slope(NamedTuple):
    """A straight piece: r falls from `radius` to 0 while s grows to `depth`; the parameter is s itself."""

    radius: float
    depth: float

    @property
    def low(self) -> float:
        return 0.0

    @property
    def high(self) -> float:
        return self.depth

    def at(self, s: float) -> tuple[float, float, float]:
        return s, max(0.0, self.radius * (1 - s / self.depth)), 1.0

    def crossings(self, level: float, by_s: float, by_r: float) -> list[float]:
        slope = by_s - by_r * self.radius / self.depth
        return [] if slope == 0 else [-(level + by_r * self.radius) / slope]


Piece = Arc | Slope


def profile(head: Head, diameter_m: float) -> tuple[Piece, ...]:
    """The pieces of a head's profile from the rim outwards; none for a flat end. Only the size of its depth counts."""
    radius, depth = diameter_m / 2, abs(head.depth_m)
    quarter = math.pi / 2
    match head.kind:
        case HeadKind.CONICAL | HeadKind.GUPPY:
            return (Slope(radius, depth),)
        case HeadKind.ELLIPSOIDAL:
            return (Arc(0.0, depth, 0.0, radius, 0.0, quarter),)
        case HeadKind.SPHERICAL:
            crown = (radius * radius + depth * depth) / (2 * depth)
            return (Arc(depth - crown, crown, 0.0, crown, math.asin((crown - depth) / crown), quarter),)
        case HeadKind.TORISPHERICAL:
            crown, knuckle = head.crown_frac * diameter_m, head.knuckle_frac * diameter_m
            turn = math.acos((radius - knuckle) / (crown - knuckle))  # where knuckle and crown meet
            centre = -(crown - knuckle) * math.sin(turn)
            return (
                Arc(0.0, knuckle, radius - knuckle, knuckle, 0.0, turn),
                Arc(centre, crown, 0.0, crown, turn, quarter),
            )
        case _:
            return ()


def lying_head_m3(head: Head, diameter_m: float, depth_m: float, rise: float) -> float:
    """Volume in an end of a lying cylinder. depth_m: of the liquid at the rim, from the lowest line of the straight
    part, unclamped; rise: by how much that depth grows with each metre that the head stands out.
    """
    radius = diameter_m / 2
    guppy = head.kind is HeadKind.GUPPY  # its circles share the top line, those of all others the axis
    height = depth_m - (diameter_m if guppy else radius)

    def wet(s: float, r: float) -> float:
        return segment_m2(r, height + rise * s + (2 * r if guppy else r))

    bottom, top = (2.0, 0.0) if guppy else (1.0, -1.0)
    return _stacked(profile(head, diameter_m), wet, height, rise, (bottom, top))


def upright_head_m3(head: Head, diameter_m: float, level_m: float, outward: float, slope: float) -> float:
    """Volume under a liquid in an end of an upright cylinder that leans by `slope` (not 0).

    level_m: of the liquid over the rim, at the axis. outward: 1 where the head reaches down from the rim, -1 up.
    """

    def wet(s: float, r: float) -> float:
        return segment_m2(r, r + (level_m + outward * s) / slope)

    return _stacked(profile(head, diameter_m), wet, level_m, outward, (slope, -slope))


def _stacked(
    pieces: tuple[Piece, ...],
    wet_m2: Callable[[float, float], float],
    level: float,
    by_s: float,
    by_r: tuple[float, float],
) -> float:
    """Integral of the wetted area along a profile, in parts between the circles that the liquid just touches and those
    that it just covers: there the area has its kinks."""
    volume = 0.0
    for piece in pieces:
        edges = {piece.low, piece.high}
        for weight in by_r:
            edges |= {x for x in piece.crossings(level, by_s, weight) if piece.low < x < piece.high}
        ordered = sorted(edges)
        for low, high in pairwise(ordered):
            half, middle = (high - low) / 2, (high + low) / 2
            for at, weight in _gauss():
                s, r, by = piece.at(middle + half * at)
                volume += half * weight * wet_m2(s, r) * by
    return volume


@cache
def _gauss() -> tuple[tuple[float, float], ...]:
    """Nodes and weights of Gauss and Legendre on -1 to 1, drawn towards both ends by u -> (3 u - u^3) / 2: that makes
    the kinks of power 3/2 at the ends smooth."""
    return tuple((1.5 * u - u**3 / 2, w * 1.5 * (1 - u * u)) for u, w in _legendre(_NODES))


def _legendre(n: int) -> Iterator[tuple[float, float]]:
    for k in range(1, n + 1):
        x = math.cos(math.pi * (k - 0.25) / (n + 0.5))
        slope = 1.0
        for _ in range(20):  # Newton from a start that is good to 1e-3
            before, value = 1.0, x
            for i in range(2, n + 1):
                before, value = value, ((2 * i - 1) * x * value - (i - 1) * before) / i
            slope = n * (x * value - before) / (x * x - 1)
            x -= value / slope
        yield x, 2 / ((1 - x * x) * slope * slope)
