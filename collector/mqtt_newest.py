"""The newest reading of each tank that still has to be told, and when it may be.

Holds one reading a tank, never more; refuses to know a clock (seconds come in) and where readings go.
"""

from typing import Final

from models.reading import Reading

SLACK_FRAC: Final = 0.1
"""A reading may be told that part of the interval early, if the one before was late: else timers that are late by a
millisecond each would eat a reading now and then."""


class NewestReadings:
    """interval_s: the least time between two readings of a tank; 0 lets all pass."""

    def __init__(self, interval_s: float) -> None:
        self._interval_s = interval_s
        self._waiting: dict[str, Reading] = {}
        self._due_s: dict[str, float] = {}

    def __len__(self) -> int:
        return len(self._waiting)

    def offer(self, reading: Reading) -> bool:
        """Take a reading; True when it took the place of one that nobody will hear of now."""
        replaces = reading.tank in self._waiting
        self._waiting[reading.tank] = reading
        return replaces

    def take(self, now_s: float, most: int) -> list[Reading]:
        """Up to `most` readings that are due, those that have waited longest first."""
        due = [tank for tank in self._waiting if self._due_s.get(tank, now_s) <= now_s]
        due.sort(key=lambda tank: self._due_s.get(tank, 0.0))
        taken = [self._waiting.pop(tank) for tank in due[:most]]
        for reading in taken:
            planned_s = self._due_s.get(reading.tank, now_s)
            self._due_s[reading.tank] = max(planned_s, now_s - SLACK_FRAC * self._interval_s) + self._interval_s
        return taken

    def put_back(self, reading: Reading) -> bool:
        """It could not be told: keep it, unless there is a newer one. False when it is not kept."""
        self._due_s.pop(reading.tank, None)
        return self._waiting.setdefault(reading.tank, reading) is reading

    def due_in(self, now_s: float) -> float | None:
        """Seconds until the next one is due, None when none waits."""
        if not self._waiting:
            return None
        return max(0.0, min(self._due_s.get(tank, now_s) for tank in self._waiting) - now_s)
