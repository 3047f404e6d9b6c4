"""Filters of a level signal, poll by poll: first order, median, mean.

Knows what each costs (lag on a steady rise) and gains (noise left of white noise). Time comes in as elapsed ms, so that
polls need not be even; after a hole a filter begins anew with the next value, as nobody knows what happened meanwhile.
"""

import math
from collections import deque
from enum import StrEnum
from typing import Any, Final, NamedTuple

STEP_95: Final = 2.995732273553991
"""So many time constants until 95 % of a step: -ln(0.05)."""


class FilterKind(StrEnum):
    FIRST_ORDER = "first order"
    MEDIAN = "median"
    MEAN = "mean"


class FilterSpec(NamedTuple):
    """A filter as it is set. time_constant_s: of a first-order one; polls: how many a median or mean runs over."""

    kind: FilterKind
    time_constant_s: float = 0.0
    polls: int = 1

    def lag_s(self, period_s: float) -> float:
        """How far its output trails a level that rises steadily, polled at a period in s."""
        if self.kind is FilterKind.FIRST_ORDER:
            alpha = alpha_of(period_s, self.time_constant_s)
            return (1 - alpha) / alpha * period_s
        return (self.polls - 1) / 2 * period_s

    def noise_frac(self, period_s: float) -> float:
        """What is left of the standard deviation of white noise.

        A median's is that of normal noise and many polls; with few polls it leaves less than this.
        """
        if self.kind is FilterKind.FIRST_ORDER:
            alpha = alpha_of(period_s, self.time_constant_s)
            return math.sqrt(alpha / (2 - alpha))
        widened = math.pi / 2 if self.kind is FilterKind.MEDIAN else 1.0
        return min(1.0, math.sqrt(widened / self.polls))

    @property
    def words(self) -> str:
        """For people."""
        if self.kind is FilterKind.FIRST_ORDER:
            return f"first order, {self.time_constant_s:g} s"
        return f"{self.kind.value} of {self.polls} polls"


def alpha_of(dt_s: float, time_constant_s: float) -> float:
    """The share of a new value that a first-order filter takes in after dt_s: 1 - exp(-dt / time constant)."""
    return -math.expm1(-dt_s / time_constant_s)


class LevelFilter:
    """A running filter. hole_ms: after so long without a value it begins anew."""

    __slots__ = ("_elapsed_ms", "_hole_ms", "_level_m", "_recent", "_spec", "_time_ms")

    def __init__(self, spec: FilterSpec, hole_ms: int) -> None:
        self._spec = spec
        self._hole_ms = hole_ms
        self._elapsed_ms: int | None = None
        self._time_ms = 0
        self._level_m = 0.0
        self._recent: deque[float] = deque(maxlen=spec.polls)

    def add(self, elapsed_ms: int, time_ms: int, level_m: float) -> float:
        """Take in a level in m and give the damped one.

        Both clocks count for a hole: the elapsed one stands still while the daemon is down.
        """
        last = self._elapsed_ms
        fresh = last is None or elapsed_ms - last > self._hole_ms or time_ms - self._time_ms > self._hole_ms
        self._time_ms = time_ms
        self._elapsed_ms = elapsed_ms
        if self._spec.kind is FilterKind.FIRST_ORDER:
            if fresh or last is None:
                self._level_m = level_m
            else:
                alpha = alpha_of((elapsed_ms - last) / 1000, self._spec.time_constant_s)
                self._level_m += alpha * (level_m - self._level_m)
            return self._level_m
        if fresh:
            self._recent.clear()
        self._recent.append(level_m)
        return _median(self._recent) if self._spec.kind is FilterKind.MEDIAN else _mean(self._recent)

    def save(self) -> dict[str, Any]:
        """What outlives a restart."""
        return {
            "kind": self._spec.kind.value,
            "elapsed": self._elapsed_ms,
            "time": self._time_ms,
            "level": self._level_m,
            "recent": list(self._recent),
        }

    def restore(self, state: dict[str, Any] | None) -> None:
        """Take up what was saved by a filter of the same kind; anything else is left, and it begins anew."""
        if state is None or state["kind"] != self._spec.kind.value:
            return
        self._elapsed_ms, self._time_ms, self._level_m = state["elapsed"], state["time"], state["level"]
        self._recent.extend(state["recent"])


def _mean(values: deque[float]) -> float:
    return math.fsum(values) / len(values)


def _median(values: deque[float]) -> float:
    ordered = sorted(values)
    half = len(ordered) // 2
    return ordered[half] if len(ordered) % 2 else (ordered[half - 1] + ordered[half]) / 2
