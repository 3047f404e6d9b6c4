"""Where a line of points bends: flat first, then straight away from it; turned round, a movement's end. Its start is
first found so, then with a pump's ramp (`inventory.onset`).

Knows points of time and value; refuses to know what they are of. Least squares over every place at which the bend can
lie (a piecewise-linear fit with one joint): chosen over a CUSUM because that one only says that something has changed,
and its own delay would have to be taken out again by the rate, which is what this fit finds anyway. No clock.
"""

import math
from collections.abc import Callable, Sequence
from typing import Final, NamedTuple

Point = tuple[float, float]

FEWEST: Final = 4
ROOT3: Final = math.sqrt(3)
PLACES: Final = 12
ROUNDS: Final = 4
"""Twelve places, four times over: a fortieth of a thousandth of the stretch that is searched."""
LAG_KNOWN: Final = 0.1
"""A time constant as it is set is known to a tenth (ours)."""


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


def end_behind(points: Sequence[Point], lag: float, near: Bend) -> Bend:
    """A bend from a line into flat, seen through a first-order filter of time constant `lag`, looked for about `near`:
    it trails the line by `lag`, then creeps up to the flat."""

    def shape(t: float, at: float) -> float:
        s = t - at
        return -lag * math.exp(-s / lag) if s > 0 else s - lag

    return _through(points, lag, near, shape)


def _through(points: Sequence[Point], lag: float, near: Bend, shape: Callable[[float, float], float]) -> Bend:
    """The place at which a shape fits best by least squares, its flat and its slope free: a grid that grows finer."""
    n = len(points)
    v0 = points[0][1]
    values = [v - v0 for _, v in points]
    mean_v = sum(values) / n
    vv = sum((v - mean_v) ** 2 for v in values)
    times = [t for t, _ in points]

    def fit(at: float) -> tuple[float, float, float]:
        b = [shape(t, at) for t in times]
        mean_b = sum(b) / n
        bb = sum((one - mean_b) ** 2 for one in b)
        if bb <= 0:
            return vv, at, 0.0
        slope = sum((one - mean_b) * v for one, v in zip(b, values, strict=True)) / bb
        return max(0.0, vv - slope * slope * bb), at, slope

    reach = 4 * lag + 2 * near.u95
    low, high = max(times[0], near.at - reach), min(times[-1], near.at + reach)
    best = fit(near.at)
    for _ in range(ROUNDS):
        step = (high - low) / PLACES
        if step <= 0:
            break
        best = min(best, *(fit(low + k * step) for k in range(PLACES + 1)))
        low, high = max(low, best[1] - step), min(high, best[1] + step)
    off, at, slope = best
    if slope == 0:
        return near
    before = sum(t <= at for t in times)
    after = max(1, n - before)
    scatter = math.sqrt(off / max(1, n - 3)) / abs(slope) * math.sqrt(1 / max(1, before) + 4 / after)
    hole = max(2 * scatter, near.u95 / 2)
    return Bend(at, near.flat, slope, math.hypot(hole, 2 * LAG_KNOWN * lag))
