"""Where a line of points bends: flat first, then straight away from it. A movement's start; turned round, its end.

Knows points of time and value; refuses to know what they are of. Least squares over every place at which the bend can
lie (a piecewise-linear fit with one joint): chosen over a CUSUM because that one only says that something has changed,
and its own delay would have to be taken out again by the rate, which is what this fit finds anyway. No clock.
"""

import math
from collections.abc import Sequence
from typing import Final, NamedTuple

Point = tuple[float, float]

FEWEST: Final = 4
ROOT3: Final = math.sqrt(3)


class Bend(NamedTuple):
    """at: where, in the points' unit of time. flat: the value before. slope: after it, a unit of time. u95: expanded
    uncertainty of `at` (k = 2): the scatter about the fit, and the hole between the two points that it lies among."""

    at: float
    flat: float
    slope: float
    u95: float


def bend(points: Sequence[Point]) -> Bend | None:
    """The best bend of at least four points in rising order of time; None where there is none to be found."""
    n = len(points)
    if n < FEWEST:
        return None
    t0, v0 = points[0]
    t = [point[0] - t0 for point in points]
    v = [point[1] - v0 for point in points]
    after = _sums_from_the_end(t, v)
    best: tuple[float, int, float, float] | None = None
    s1 = s2 = 0.0
    for j in range(1, n - 1):
        s1 += v[j - 1]
        s2 += v[j - 1] ** 2
        flat = s1 / j
        count, st, stt, sv, stv, svv = after[j]
        # from here on about the joint (t[j - 1], flat)
        base = t[j - 1]
        uu = stt - 2 * base * st + count * base * base
        uw = stv - flat * st - base * sv + count * base * flat
        ww = svv - 2 * flat * sv + count * flat * flat
        uu = max(uu, 1e-9)  # a clock that stood still gives points of one time
        off = max(0.0, s2 - s1 * flat) + max(0.0, ww - uw * uw / uu)
        if best is None or off < best[0]:
            best = off, j, flat, uw / uu
    assert best is not None
    off, j, flat, slope = best
    if slope == 0:
        return None
    scatter = math.sqrt(off / max(1, n - 3))
    by_scatter = scatter / abs(slope) * math.sqrt(1 / j + 4 / (n - j))
    hole = t[j] - t[j - 1]
    return Bend(t0 + t[j - 1], v0 + flat, slope, 2 * math.hypot(by_scatter, hole / ROOT3))


def _sums_from_the_end(t: Sequence[float], v: Sequence[float]) -> list[tuple[int, float, float, float, float, float]]:
    """Of each place: count, sum of t, tt, v, tv and vv from it to the end."""
    sums = [(0, 0.0, 0.0, 0.0, 0.0, 0.0)] * (len(t) + 1)
    for k in range(len(t) - 1, -1, -1):
        count, st, stt, sv, stv, svv = sums[k + 1]
        sums[k] = count + 1, st + t[k], stt + t[k] ** 2, sv + v[k], stv + t[k] * v[k], svv + v[k] ** 2
    return sums


def turned(points: Sequence[Point]) -> list[Point]:
    """The same, run backwards: its bend is where the line becomes flat; `at` and `slope` change their sign."""
    return [(-t, v) for t, v in reversed(points)]
