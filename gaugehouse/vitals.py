"""Whether the daemon does its work: what a health check, a metrics scraper and a supervisor are told.

Looks at progress, not at promises: a bus whose polls stop coming to an end, ticks that wait and are not decided, an
event loop that stands still. Times here are real seconds, whatever the speed of the site.
"""

import asyncio
import faulthandler
import logging
import sys
import threading
import time
from collections.abc import Callable, Mapping
from typing import Final, NamedTuple

log = logging.getLogger(__name__)

BEAT_S: Final = 0.5
STALL_S: Final = 10.0
"""The event loop stands still: from so long on everything in the daemon is late."""
STUCK_S: Final = 20.0
"""No poll of a bus came to an end, or a tick was not decided, for so long (and for three periods of the bus)."""
WHERE_EVERY_S: Final = 300.0


class Check(NamedTuple):
    """One thing that must be true. restart: to start the daemon anew can mend it. text: why not, "" when it is well."""

    name: str
    ok: bool
    text: str = ""
    restart: bool = True


class Watched(NamedTuple):
    """What is looked at. polls: polls that came to an end, by bus. period_s: of each bus, in real time. decided: ticks
    that were decided; waiting_s: how long the oldest arrival has waited for the core, 0 when none does. ready: it has
    begun, and every instrument was asked once. store: what keeps readings or records from the disk, "" when nothing."""

    polls: Callable[[], Mapping[str, int]]
    period_s: Mapping[str, float]
    decided: Callable[[], int]
    waiting_s: Callable[[], float]
    ready: Callable[[], str]
    store: Callable[[], str]


class _Moved:
    """When a count was last seen to rise."""

    __slots__ = ("at_s", "count")

    def __init__(self, count: int, at_s: float) -> None:
        self.count, self.at_s = count, at_s

    def see(self, count: int, at_s: float) -> float:
        """Seconds since it rose."""
        if count != self.count:
            self.count, self.at_s = count, at_s
        return at_s - self.at_s


class Vitals:
    """Beats on the event loop; a thread beside it sees when the loop stands still, and writes down where."""

    def __init__(
        self, watched: Watched, *, stuck_s: float = STUCK_S, stall_s: float = STALL_S,
        clock_s: Callable[[], float] = time.monotonic,
    ) -> None:  # fmt: skip
        self._watched, self._stuck_s, self._stall_s, self._clock_s = watched, stuck_s, stall_s, clock_s
        now_s = clock_s()
        self._beat_s = now_s
        self._polls = {bus: _Moved(count, now_s) for bus, count in watched.polls().items()}
        self.longest_stall_s = 0.0
        self.stalls = 0

    async def run(self) -> None:
        """For as long as the daemon runs."""
        ended = threading.Event()
        thread = threading.Thread(target=self._watch, args=(ended,), name="watchdog", daemon=True)
        thread.start()
        try:
            while True:
                self.beat()
                await asyncio.sleep(BEAT_S)
        finally:
            ended.set()

    def beat(self) -> None:
        """The loop had a turn: see what has moved."""
        now_s = self._clock_s()
        self.longest_stall_s = max(self.longest_stall_s, now_s - self._beat_s - BEAT_S)
        self._beat_s = now_s
        for bus, count in self._watched.polls().items():
            self._polls[bus].see(count, now_s)

    def stands_still_s(self) -> float:
        """Since when the loop has had no turn; asked from any thread."""
        return self._clock_s() - self._beat_s

    def _watch(self, ended: threading.Event) -> None:
        """In a thread of its own: when the loop stands still, where it stands goes into the log."""
        said_s = float("-inf")
        while not ended.wait(BEAT_S):
            if self.stands_still_s() > self._stall_s and self._clock_s() - said_s > WHERE_EVERY_S:
                said_s = self._clock_s()
                self.stalls += 1
                log.error("the daemon has stood still for %.0f s; this is where", self.stands_still_s())
                faulthandler.dump_traceback(sys.stderr, all_threads=True)

    def checks(self) -> list[Check]:
        """Every check, in a fixed order."""
        now_s, watched = self._clock_s(), self._watched
        still_s = self.stands_still_s()
        loop = still_s <= self._stall_s
        found = [Check("loop", loop, "" if loop else f"the daemon has stood still for {still_s:.0f} s")]
        for bus, moved in self._polls.items():
            since_s, limit_s = now_s - moved.at_s, max(self._stuck_s, 3 * watched.period_s[bus])
            text = f"bus {bus}: no poll came to an end for {since_s:.0f} s" if since_s > limit_s else ""
            found.append(Check(f"bus/{bus}", not text, text))
        waiting_s, store = watched.waiting_s(), watched.store()
        late = waiting_s > self._stuck_s
        text = f"what came in has waited for {waiting_s:.0f} s to be decided" if late else ""
        found.append(Check("core", not late, text, restart=not store))
        found.append(Check("store", not store, store, restart=False))
        return found

    def not_ready(self) -> str:
        """Why the console's figures cannot be used yet, "" when they can."""
        return self._watched.ready() or next((check.text for check in self.checks() if not check.ok), "")

    def decided(self) -> int:
        """Ticks decided so far."""
        return self._watched.decided()

    def waiting_s(self) -> float:
        return self._watched.waiting_s()
