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

    __slots__ = (
        "_hole_ms",
        "_holes",
        "_least",
        "_n",
        "_origin_ms",
        "_sums",
        "_times",
        "_values",
        "_window_ms",
        "_zero",
    )

    def __init__(self, window_ms: int, *, hole_ms: int, least: int = 10) -> None:
        self._window_ms = window_ms
        self._hole_ms = hole_ms
        self._least = least
        self._times: deque[int] = deque()  # and values apart: a pair would be an object more for the memory collector
        self._values: deque[float] = deque()
        self._holes = 0
        self._restart()

    def _restart(self) -> None:
        """Take a new origin near the points, so that the sums lose no digits."""
        self._origin_ms = self._times[0] if self._times else 0
        self._zero = self._values[0] if self._values else 0.0
        self._sums = [0.0] * 5
        for at_ms, value in zip(self._times, self._values, strict=True):
            self._take(at_ms, value)
        self._n = len(self._times)

    def _take(self, at_ms: int, value: float) -> None:
        t, v, sums = (at_ms - self._origin_ms) / 1000, value - self._zero, self._sums
        sums[0] += t
        sums[1] += t * t
        sums[2] += v
        sums[3] += t * v
        sums[4] += v * v

    def add(self, at_ms: int, value: float) -> None:
        """One more sample; `at_ms` on a clock that never falls (several at one time are allowed)."""
        times = self._times
        if times and at_ms - times[-1] > self._hole_ms:
            self._holes += 1
        times.append(at_ms)
        self._values.append(value)
        if self._n == 0:
            self._origin_ms, self._zero = at_ms, value
        self._take(at_ms, value)
        self._n += 1
        if times[0] < at_ms - self._window_ms:
            self._drop(at_ms)

    def _drop(self, now_ms: int) -> None:
        times, values, sums = self._times, self._values, self._sums
        oldest = now_ms - self._window_ms
        while times and times[0] < oldest:
            at_ms, value = times.popleft(), values.popleft()
            if times and times[0] - at_ms > self._hole_ms:
                self._holes -= 1
            t, v = (at_ms - self._origin_ms) / 1000, value - self._zero
            sums[0] -= t
            sums[1] -= t * t
            sums[2] -= v
            sums[3] -= t * v
            sums[4] -= v * v
            self._n -= 1
        if times and times[-1] - self._origin_ms > 4 * self._window_ms + 1000:
            self._restart()

    def rate(self, now_ms: int) -> Rate | None:
        """The slope as seen at `now_ms`, or None where there is not enough to tell."""
        moments = self._moments(now_ms)
        if moments is None:
            return None
        n, sxx, sxy, syy = moments
        slope = sxy / sxx
        sse = syy - slope * sxy
        return Rate(slope, math.sqrt(sse / (n - 2) / sxx) if n > 2 and sse > 0 else 0.0)

    def slope(self, now_ms: int) -> float | None:
        """The same without its standard deviation."""
        moments = self._moments(now_ms)
        return None if moments is None else moments[2] / moments[1]

    def _moments(self, now_ms: int) -> tuple[int, float, float, float] | None:
        """Number of samples, and the sums of squares about the mean: of time, of time and value, of value."""
        times = self._times
        if times and times[0] < now_ms - self._window_ms:
            self._drop(now_ms)
        n = self._n
        if n < self._least or self._holes or now_ms - times[-1] > self._hole_ms:
            return None
        st, stt, sv, stv, svv = self._sums
        sxx = stt - st * st / n
        return None if sxx <= 0 else (n, sxx, stv - st * sv / n, svv - sv * sv / n)

    def clear(self) -> None:
        """Forget everything: what came before says nothing about what comes next."""
        self._times.clear()
        self._values.clear()
        self._holes = 0
        self._restart()
