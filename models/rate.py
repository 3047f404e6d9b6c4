"""How fast a quantity changes, and how well that is known: a least-squares slope over a moving window.

Uses the samples' own times, never their index. Refuses (gives None) with too few samples or with a hole in the window.
"""

import math
from collections import deque
from typing import NamedTuple


class Rate(NamedTuple):
    """Slope in the quantity's unit per second, and its standard deviation from the residuals."""

    per_s: float
    sd_per_s: float


class SlopeWindow:
    """Least-squares slope over the newest samples, kept by running sums.

    window_ms: samples older than this, counted from the newest, fall out. At least `least` samples are needed, and no
    two neighbours (nor the newest sample and the moment asked about) may be more than `hole_ms` apart.
    Source: ordinary least squares; sd = sqrt(SSE / (n - 2) / Sxx). White noise is assumed: waves make it optimistic.
    """

    __slots__ = ("_hole_ms", "_holes", "_least", "_n", "_origin_ms", "_points", "_sums", "_window_ms", "_zero")

    def __init__(self, window_ms: int, *, hole_ms: int, least: int = 10) -> None:
        self._window_ms = window_ms
        self._hole_ms = hole_ms
        self._least = least
        self._points: deque[tuple[int, float]] = deque()
        self._holes = 0
        self._restart()

    def _restart(self) -> None:
        """Take a new origin near the points, so that the sums lose no digits."""
        self._origin_ms = self._points[0][0] if self._points else 0
        self._zero = self._points[0][1] if self._points else 0.0
        sums = [0.0] * 5
        for at_ms, value in self._points:
            _add(sums, (at_ms - self._origin_ms) / 1000, value - self._zero, 1)
        self._sums = sums
        self._n = len(self._points)

    def add(self, at_ms: int, value: float) -> None:
        """One more sample; `at_ms` on a clock that never falls (several at one time are allowed)."""
        points = self._points
        if points and at_ms - points[-1][0] > self._hole_ms:
            self._holes += 1
        points.append((at_ms, value))
        if self._n == 0:
            self._origin_ms, self._zero = at_ms, value
        _add(self._sums, (at_ms - self._origin_ms) / 1000, value - self._zero, 1)
        self._n += 1
        self._drop(at_ms)

    def _drop(self, now_ms: int) -> None:
        points = self._points
        oldest = now_ms - self._window_ms
        while points and points[0][0] < oldest:
            at_ms, value = points.popleft()
            if points and points[0][0] - at_ms > self._hole_ms:
                self._holes -= 1
            _add(self._sums, (at_ms - self._origin_ms) / 1000, value - self._zero, -1)
            self._n -= 1
        if points and points[-1][0] - self._origin_ms > 4 * self._window_ms + 1000:
            self._restart()

    def rate(self, now_ms: int) -> Rate | None:
        """The slope as seen at `now_ms`, or None where there is not enough to tell."""
        self._drop(now_ms)
        n = self._n
        if n < self._least or self._holes or now_ms - self._points[-1][0] > self._hole_ms:
            return None
        st, stt, sv, stv, svv = self._sums
        sxx = stt - st * st / n
        if sxx <= 0:
            return None
        sxy = stv - st * sv / n
        slope = sxy / sxx
        sse = max(0.0, (svv - sv * sv / n) - slope * sxy)
        return Rate(slope, math.sqrt(sse / (n - 2) / sxx) if n > 2 else 0.0)

    def clear(self) -> None:
        """Forget everything: what came before says nothing about what comes next."""
        self._points.clear()
        self._holes = 0
        self._restart()


def _add(sums: list[float], t: float, v: float, sign: int) -> None:
    sums[0] += sign * t
    sums[1] += sign * t * t
    sums[2] += sign * v
    sums[3] += sign * t * v
    sums[4] += sign * v * v
