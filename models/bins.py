"""Means of a quantity over equal stretches of time, for what moves too slowly to be seen from sample to sample.

Knows a bounded number of stretches; refuses to bridge: a stretch without samples has no mean. No clock.
"""

from collections import deque
from typing import NamedTuple


class Mean(NamedTuple):
    """The mean of the samples of one stretch. number: of the stretch, counted from the clock's zero."""

    number: int
    value: float


class Bins:
    """The newest means. bin_ms: length of a stretch; most: how many stretches back are remembered."""

    __slots__ = ("_bin_ms", "_count", "_most", "_number", "_sum", "means")

    def __init__(self, bin_ms: int, most: int) -> None:
        self._bin_ms, self._most = bin_ms, most
        self.means: deque[Mean] = deque()
        self._number, self._sum, self._count = 0, 0.0, 0

    def add(self, at_ms: int, value: float) -> bool:
        """One more sample; at_ms on a clock that never falls. True when it completes a stretch."""
        number = at_ms // self._bin_ms
        done = self._count > 0 and number != self._number
        if done:
            self.means.append(Mean(self._number, self._sum / self._count))
            self._sum, self._count = 0.0, 0
        while self.means and self.means[0].number < number - self._most:
            self.means.popleft()
        self._number = number
        self._sum += value
        self._count += 1
        return done

    def since(self, number: int) -> list[float]:
        """Means of the stretches from a number on, oldest first."""
        return [mean.value for mean in self.means if mean.number >= number]

    def clear(self) -> None:
        """Forget everything: what came before says nothing about what comes next."""
        self.means.clear()
        self._sum, self._count = 0.0, 0
