"""A tank that should be still: has its content moved?

Knows volumes over time; refuses to know why a tank may move (who feeds it clears it meanwhile). Means of a minute are
compared with each other over a window, so that surface waves and single samples count for nothing; volumes come
corrected for temperature, so that a day's warming is no movement. Source of what it must see: 100 L/min within 10 min,
20 L/min within 1 h for a tank of 10 m (house rule); the threshold that gives is our own choice.
"""

from typing import Final

from models.bins import Bins

BIN_MS: Final = 60_000
QUIET_BINS: Final = 30
QUIET_FRAC: Final = 1 / 3
"""It is still again when the last half hour has moved by less than this part of the threshold."""


class StillWatch:
    """One tank. window_ms: over which a movement adds up."""

    __slots__ = ("_bins", "moved_m3", "moving")

    def __init__(self, window_ms: int) -> None:
        self._bins = Bins(BIN_MS, max(QUIET_BINS, window_ms // BIN_MS))
        self.moving = False
        self.moved_m3: float | None = None

    def add(self, at_ms: int, volume_m3: float) -> bool:
        """One more volume; at_ms: elapsed time. True when a minute is whole, and `judge` has something new."""
        return self._bins.add(at_ms, volume_m3)

    def judge(self, threshold_m3: float) -> None:
        """After a whole minute. threshold_m3: how much within the window counts as a movement."""
        bins = self._bins
        newest = bins.means[-1]
        if not self.moving:
            moved = max((newest.value - mean.value for mean in bins.means), key=abs)
            self.moving, self.moved_m3 = abs(moved) >= threshold_m3, moved
            return
        since = bins.since(newest.number - QUIET_BINS)
        self.moved_m3 = newest.value - bins.means[0].value
        if len(since) >= QUIET_BINS // 2 and max(since) - min(since) < QUIET_FRAC * threshold_m3:
            self.excuse()

    def excuse(self) -> None:
        """It may move now, or it has come to rest: forget what was."""
        self._bins.clear()
        self.moving, self.moved_m3 = False, None
