"""When a pump was started, from the level that it moves: flat, then a flow that grows to its full size, perhaps twice.

A movement does not begin with its full flow. A pump runs up and its valve opens, so the level leaves its flat by a
curve; a receipt is begun slowly and let go later. Fitted are a flat, one flow or two, each growing over `RAMP_MS`, seen
through the transmitter's damping where its time constant is known: least squares over every place at which the two
can begin, each point weighing as much as its neighbours are calm (a running flow stirs the surface). The second flow
is taken only where it explains more than noise would. Knows points of time and value; refuses to know what they are
of, and a ramp of its own for each pump: at the noise of a gauge none can be told. No clock.
"""

import math
from collections.abc import Sequence
from itertools import pairwise
from typing import Final, NamedTuple

import numpy as np
import numpy.typing as npt

from inventory.hinge import FEWEST, LAG_KNOWN, Bend, Point

RAMP_MS: Final = 10_000.0
"""A pump and its valve are at full flow after some seconds to 20 s; half of this is what the start lies before the
full flow's own straight line, and what may be wrong with it (common practice, no source)."""

MOST: Final = 300
"""Points of the flow that are fitted; more of them are taken together by their means."""

PLACES: Final = 16
ROUNDS: Final = 4
SURE: Final = 36.0
SURE_IN: Final = 8.0
"""By how many variances a second flow must better the fit to be believed (ours): sooner on the way in, where a slow
start is the trade's custom (static electricity; API RP 2003, from memory)."""

APART_MS: Final = 10_000.0
"""A second flow begins at least so long after the first one."""

LEAST_SHARE: Final = 0.1
"""The first of two flows is at least so much of both: what is less is noise before the pump (ours)."""

NEIGHBOURS: Final = 7
FINE: Final = 48
WITHIN: Final = 4.0
"""Starts whose sum of squares is larger by so many variances at most are not told apart: 95 % (JCGM 100, k = 2)."""

Array = npt.NDArray[np.float64]


class Fitted(NamedTuple):
    """off: weighted sum of squares that is left; at: where the first flow begins; slope: of it; second: where the
    other begins, None for one flow."""

    off: float
    at: float
    slope: float
    second: float | None


def onset(points: Sequence[Point], lag: float, near: Bend, noise: float, *, slow_start: bool) -> Bend | None:
    """The start that fits best near a bend. noise: standard deviation of a point at rest, at least; slow_start: that is
    to be expected. Times in ms. None where there is too little to tell.
    """
    reach = 2 * RAMP_MS + 3 * lag + near.u95
    low, high = max(points[0][0], near.at - reach), min(points[-1][0], near.at + reach)
    if sum(t > low for t, _ in points) < FEWEST or high <= low or noise <= 0:
        return None
    fit = _Fit(points, low, lag, noise)
    one = fit.single(low, high)
    two = fit.double(low, high, points[-1][0])
    free = max(1, len(points) - 5)
    flow = [v for t, v in points if t > one.at]
    alike = max(1.0, len(flow) / 2 / max(1, sum(a != b for a, b in pairwise(flow))))  # a register's steps, not chance
    best = one
    if two is not None:
        variance = max(two.off / free, noise * noise / 4)  # a damped register's steps look calmer than they are
        if one.off - two.off > (SURE_IN if slow_start else SURE) * alike * variance:
            best = two
    if best.slope == 0:
        return None
    spread2 = max(noise * noise, best.off / free)
    fitted = fit.wide(best, low, high, points[-1][0], WITHIN * spread2 * alike)
    still = [v for t, v in points if t <= best.at]
    swing = float(np.std(still)) if len(still) > 1 else noise
    unseen = noise * (1 - min(1.0, swing / noise)) / abs(best.slope)  # a register that did not flip hides its flat
    hole = max((b[0] - a[0] for a, b in pairwise(points) if a[0] <= best.at <= b[0]), default=0.0)
    terms = (fitted / 2, unseen, hole / math.sqrt(3), RAMP_MS / 2 / math.sqrt(3), LAG_KNOWN * lag)
    return Bend(best.at, near.flat, best.slope, 2 * math.hypot(*terms))


def risen(s: Array, lag: float) -> Array:
    """What a level has risen, so long after a flow of 1 began to grow over `RAMP_MS`, behind a first-order filter.

    The flow's own rise is the mean of lines that begin within the ramp; the filter answers a line that begins at 0 by
    s - lag (1 - exp(-s / lag)), whose integral is s^2 / 2 - lag s + lag^2 (1 - exp(-s / lag)).
    """

    def whole(s: Array) -> Array:
        s = np.maximum(s, 0.0)
        return s * s / 2 - lag * s - lag * lag * np.expm1(-s / lag) if lag else s * s / 2

    return (whole(s) - whole(s - RAMP_MS)) / RAMP_MS


class _Fit:
    """Weighted least squares of values upon one or two flows that begin somewhere, the flat free."""

    def __init__(self, points: Sequence[Point], low: float, lag: float, noise: float) -> None:
        t = np.array([p[0] for p in points], dtype=np.float64)
        v = np.array([p[1] for p in points], dtype=np.float64)
        v -= v[0]
        w = noise * noise / (noise * noise + _unrest(v))
        cut = int(np.searchsorted(t, low, side="right"))
        size = -(-(len(t) - cut) // MOST)
        if size > 1:
            whole = cut + (len(t) - cut) // size * size
            t = np.concatenate([t[:cut], t[cut:whole].reshape(-1, size).mean(axis=1)])
            v = np.concatenate([v[:cut], v[cut:whole].reshape(-1, size).mean(axis=1)])
            w = np.concatenate([w[:cut], w[cut:whole].reshape(-1, size).sum(axis=1)])
        self._lag, self._weight = lag, float(w.sum())
        self._mean = float((w * v).sum()) / self._weight
        self._vv = float((w * (v - self._mean) ** 2).sum())
        self._t, self._w, self._wv = t[cut:], w[cut:], w[cut:] * (v[cut:] - self._mean)

    def _columns(self, places: Array) -> tuple[Array, Array, Array, Array]:
        """Of flows that begin there: the rise, its weighted sum, its square and its product with the values."""
        h = risen(self._t[:, None] - places[None, :], self._lag)
        total = self._w @ h
        return h, total, self._w @ (h * h) - total * total / self._weight, self._wv @ h

    def single(self, low: float, high: float) -> Fitted:
        best = Fitted(self._vv, (low + high) / 2, 0.0, None)
        for _ in range(ROUNDS):
            places = np.linspace(low, high, PLACES + 1)
            _, _, hh, hv = self._columns(places)
            off = self._vv - np.divide(hv * hv, hh, out=np.zeros_like(hh), where=hh > 0)
            k = int(off.argmin())
            if off[k] < best.off:
                best = Fitted(max(0.0, float(off[k])), float(places[k]), float(hv[k] / hh[k]), None)
            step = (high - low) / PLACES
            low, high = max(low, best.at - step), min(high, best.at + step)
        return best

    def double(self, low: float, high: float, end: float) -> Fitted | None:
        """Of two flows the same way; the second one begins up to shortly before the end."""
        first, last = low + APART_MS, end - RAMP_MS
        if last <= first:
            return None
        best: Fitted | None = None
        spans = ((low, high), (first, last))
        for _ in range(ROUNDS):
            at, second = (np.linspace(a, b, PLACES + 1) for a, b in spans)
            off, slopes = self._pairs(at, second)
            j, k = np.unravel_index(int(off.argmin()), off.shape)
            if math.isfinite(off[j, k]) and (best is None or off[j, k] < best.off):
                best = Fitted(max(0.0, float(off[j, k])), float(at[j]), float(slopes[j, k]), float(second[k]))
            if best is None or best.second is None:
                return None
            steps = [(span[1] - span[0]) / PLACES for span in spans]
            spans = (
                (max(low, best.at - steps[0]), min(high, best.at + steps[0])),
                (max(first, best.second - steps[1]), min(last, best.second + steps[1])),
            )
        return best

    def _pairs(self, at: Array, second: Array) -> tuple[Array, Array]:
        """(what is left, slope of the first flow) for every two places; infinite where two flows make no sense."""
        h1, total1, aa, av = self._columns(at)
        h2, total2, bb, bv = self._columns(second)
        ab = (self._w[:, None] * h1).T @ h2 - np.outer(total1, total2) / self._weight
        det = aa[:, None] * bb - ab * ab
        fine = (det > 1e-9 * aa[:, None] * bb) & (second[None, :] - at[:, None] >= APART_MS)
        det = np.where(fine, det, 1.0)
        a = (av[:, None] * bb - bv * ab) / det
        b = (bv * aa[:, None] - av[:, None] * ab) / det
        fine &= (a * b > 0) & (np.abs(a) >= LEAST_SHARE * np.abs(a + b))
        return np.where(fine, self._vv - a * av[:, None] - b * bv, np.inf), a

    def wide(self, best: Fitted, low: float, high: float, end: float, more: float) -> float:
        """How far from the best start the fit is no worse than by `more`."""
        at = np.linspace(low, high, FINE + 1)
        if best.second is None:
            _, _, hh, hv = self._columns(at)
            off = self._vv - np.divide(hv * hv, hh, out=np.zeros_like(hh), where=hh > 0)
        else:
            off = self._pairs(at, np.linspace(low + APART_MS, end - RAMP_MS, FINE + 1))[0].min(axis=1)
        near = at[off <= best.off + more]
        return float(np.abs(near - best.at).max()) if len(near) else 0.0


def _unrest(v: Array) -> Array:
    """Variance of a point by its neighbours' second differences, from which any line falls out."""
    if len(v) < NEIGHBOURS + 2:
        return np.zeros_like(v)
    bent = np.pad((v[2:] - 2 * v[1:-1] + v[:-2]) ** 2 / 6, 1, mode="edge")
    return np.convolve(np.pad(bent, NEIGHBOURS // 2, mode="edge"), np.full(NEIGHBOURS, 1 / NEIGHBOURS), mode="valid")
