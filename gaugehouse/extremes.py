"""Highest and lowest level of a tank: of the site's day, and since a person reset them.

Only Good readings count: an extreme outlives its reading, so a doubtful one would stand for a day.
"""

from typing import Any, NamedTuple

from gaugehouse.days import Day, Days
from models.reading import Quality, Reading


class Extreme(NamedTuple):
    """The lowest and highest level in m with their times, None before the first Good reading. `since_ms`: the start."""

    since_ms: int
    low_m: float | None = None
    low_ms: int | None = None
    high_m: float | None = None
    high_ms: int | None = None

    def with_level(self, level_m: float, time_ms: int) -> "Extreme":
        """The same, widened where the level lies outside."""
        since_ms, low_m, low_ms, high_m, high_ms = self
        if low_m is None or high_m is None:
            return Extreme(since_ms, level_m, time_ms, level_m, time_ms)
        if low_m <= level_m <= high_m:
            return self
        if level_m < low_m:
            return Extreme(since_ms, level_m, time_ms, high_m, high_ms)
        return Extreme(since_ms, low_m, low_ms, level_m, time_ms)


class Extremes:
    """Both pairs for one tank."""

    __slots__ = ("_days", "_today", "day", "reset_by", "since_reset")

    def __init__(self, days: Days) -> None:
        self._days = days
        self._today = Day("", 0, 0)
        self.day = Extreme(0)
        self.since_reset = Extreme(0)
        self.reset_by = ""

    def add(self, reading: Reading) -> None:
        """Take one reading in; a new day starts its pair anew."""
        time_ms = reading.time_ms
        if not self._today.start_ms <= time_ms < self._today.end_ms:
            self._today = self._days.at(time_ms)
            if self.day.since_ms != self._today.start_ms:
                self.day = Extreme(self._today.start_ms)
        if not self.since_reset.since_ms:
            self.since_reset = Extreme(time_ms)
        if reading.quality is Quality.GOOD and reading.level_m is not None:
            self.day = self.day.with_level(reading.level_m, time_ms)
            self.since_reset = self.since_reset.with_level(reading.level_m, time_ms)

    def reset(self, time_ms: int, by: str) -> None:
        """Start the second pair anew, by a named person."""
        self.since_reset, self.reset_by = Extreme(time_ms), by

    def save(self) -> dict[str, Any]:
        return {"day": list(self.day), "reset": list(self.since_reset), "by": self.reset_by}

    def restore(self, state: dict[str, Any]) -> None:
        self.day = Extreme(*state["day"])
        self.since_reset = Extreme(*state["reset"])
        self.reset_by = state["by"]
