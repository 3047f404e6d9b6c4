"""How long each loop was watched, and how long of that its signal could not be trusted: by day, for the last quarter.

Knows durations on the core's own clock, which stands still while nobody watches; refuses to know faults (it is told
whether the signal is trusted). What a count of faults means rests on this: the exposure.
"""

from collections.abc import Iterable, Mapping, Sequence
from typing import Any, Final, NamedTuple

DAY_MS: Final = 86_400_000
KEPT_DAYS: Final = 92
MISSED_POLLS: Final = 3
"""A hole longer than so many polls was not watched,"""
SILENT_MS: Final = 60_000
"""but for one that follows a signal that could not be trusted: a dead unit is asked less often, and is lost all the
same for so long at the least."""


class Watched(NamedTuple):
    """Milliseconds watched, and of these without a trustworthy signal."""

    watched_ms: int
    lost_ms: int


class WatchTime:
    """period_ms: how often each instrument is asked. A room of the core. Days are those of UTC: this is a sum."""

    def __init__(self, period_ms: Mapping[str, int]) -> None:
        self._longest = {name: MISSED_POLLS * period for name, period in period_ms.items()}
        self._last: dict[str, int] = {}
        self._lost: set[str] = set()
        self._days: dict[str, dict[int, list[int]]] = {name: {} for name in period_ms}
        self._dirty: set[str] = set()

    def heard(self, instrument: str, elapsed_ms: int, time_ms: int, *, trusted: bool) -> None:
        """One poll of an instrument, answered or not."""
        days = self._days.get(instrument)
        if days is None:
            return
        last, self._last[instrument] = self._last.get(instrument), elapsed_ms
        was_lost = instrument in self._lost
        if trusted:
            self._lost.discard(instrument)
        else:
            self._lost.add(instrument)
        if last is None:
            return
        span = elapsed_ms - last
        longest = self._longest[instrument]
        if not 0 < span <= (max(longest, SILENT_MS) if was_lost else longest):
            return
        trusted = trusted and not (was_lost and span > longest)
        today = days.get(time_ms // DAY_MS)
        if today is None:
            today = days[time_ms // DAY_MS] = [0, 0]
            for day in sorted(days)[:-KEPT_DAYS]:
                del days[day]
        today[0] += span
        if not trusted:
            today[1] += span
        self._dirty.add(instrument)

    def over(self, instrument: str, now_ms: int, days: int) -> Watched:
        """The sum over the last so many days and today."""
        first = now_ms // DAY_MS - days
        kept = [sums for day, sums in self._days.get(instrument, {}).items() if day >= first]
        return Watched(sum(watched for watched, _ in kept), sum(lost for _, lost in kept))

    def save(self, changed_only: bool) -> dict[str, Any]:
        """Sums by instrument. They grow with every poll, so that between two full saves nothing counts as changed."""
        return {} if changed_only else self.save_some(self.keys())

    def keys(self) -> Sequence[str]:
        """The keys of a full save."""
        return sorted(self._dirty)

    def save_some(self, keys: Iterable[str]) -> dict[str, Any]:
        """Of these keys alone what a full save gives."""
        saved = {name: {str(day): sums for day, sums in sorted(self._days[name].items())} for name in keys}
        self._dirty -= saved.keys()
        return saved

    def restore(self, saved: Mapping[str, Any]) -> None:
        for name, days in saved.items():
            if name in self._days:
                self._days[name] = {int(day): list(sums) for day, sums in days.items()}
