"""What the daemon finds out about itself, every few seconds: stores, disk, publisher, clock, checks that are overdue.

The facts go into the core the way of every act, so that what was decided and when stays one order. A replay has none of
them. Knows files and clocks; what a fact means is in `alerts.selfwatch`.
"""

import asyncio
import contextlib
import shutil
import time
from collections.abc import Callable, Mapping, Sequence
from datetime import date
from pathlib import Path
from typing import Final, NamedTuple, Protocol

from alerts.selfwatch import SystemFacts, judged
from alerts.watched import Told
from collector.mqtt_messages import PublishCounters
from gaugehouse.act import Act, Answer, Outcome, Taken
from gaugehouse.core import Core
from gaugehouse.days import day_of
from gaugehouse.loopchecks import FINISHED, KIND
from gaugehouse.site import Site
from gaugehouse.sitefile.sheetlines import overdue_tests
from history.book import BookReader
from history.errors import StoreUnavailable
from history.readers import ReaderPool
from history.writer import Counters
from models.reading import Instant

EVERY_S: Final = 5.0
CHECKS_EVERY_S: Final = 60.0


class SystemReport(NamedTuple):
    """The daemon itself says what it found out. No person does this; it goes the way of every act."""

    told: tuple[Told, ...]

    def apply(self, core: Core, at: Instant) -> Outcome:
        for told in self.told:
            core.report(told)
        return Outcome(Answer(Taken.DONE))


class SiteClock(Protocol):
    """The site's clock, and how many times faster than real time it runs."""

    @property
    def speed(self) -> float: ...

    def now_ms(self) -> int: ...


class Sources(NamedTuple):
    """Where the facts come from. published: None without a broker. tested: by alarm, when it was last tested well.
    damaged: what is damaged in the files, each by name."""

    readings: Callable[[], Counters]
    published: Callable[[], PublishCounters] | None
    book: BookReader
    readers: ReaderPool
    tested: Callable[[], Mapping[str, int]]
    damaged: Callable[[], Sequence[str]] = tuple


class SystemWatch:
    """One daemon's look at itself. last_ms: the newest time that was stored before this start."""

    def __init__(
        self, site: Site, clock: SiteClock, sources: Sources, report: Callable[[Act], None], last_ms: int
    ) -> None:
        self._site, self._clock, self._sources, self._report, self._last_ms = site, clock, sources, report, last_ms
        self._known = {(one.source, limit.condition) for one in site.watched for limit in one.limits}
        self._away_since_s: float | None = None
        self._step: tuple[int, float] | None = None
        self._failed: dict[str, int] = {}
        self._asked_s = float("-inf")

    def stepped(self, step_ms: int) -> None:
        """The site's clock was seen to step."""
        self._step = step_ms, time.monotonic()

    async def run(self) -> None:
        """For as long as the daemon runs."""
        while True:
            await self._ask_checks()
            facts = self.facts(time.monotonic())
            instruments = (loop.instrument for loop in self._site.loops)
            told = [t for t in judged(facts, self._site.system, instruments) if (t.source, t.condition) in self._known]
            self._report(SystemReport(tuple(told)))
            await asyncio.sleep(EVERY_S)

    def facts(self, now_s: float) -> SystemFacts:
        """What is known at a moment of the monotonic clock."""
        now_ms = self._clock.now_ms()
        real_time = self._clock.speed == 1
        return SystemFacts(
            store_lag_s=self._sources.readings().lag_s,
            publisher_away_s=self._away_s(now_s),
            disk_used_percent=disk_used_percent(self._site.store_path),
            clock_behind=real_time and now_ms < self._last_ms,  # a demo at speed runs ahead and starts anew
            step_ms=None if self._step is None else self._step[0],
            stepped_ms=None if self._step is None else round(1000 * (now_s - self._step[1])),
            tests_overdue=len(self._overdue(now_ms)),
            damages=len(self._sources.damaged()),
            failed_checks_ms={instrument: now_ms - ended for instrument, ended in self._failed.items()},
        )

    def _overdue(self, now_ms: int) -> list[str]:
        tested = {alarm: today(self._site, ms).isoformat() for alarm, ms in self._sources.tested().items()}
        return overdue_tests(self._site, today(self._site, now_ms), tested)

    def _away_s(self, now_s: float) -> float | None:
        if self._sources.published is None:
            return None
        if self._sources.published().connected:
            self._away_since_s = None
            return 0.0
        if self._away_since_s is None:
            self._away_since_s = now_s
        return now_s - self._away_since_s

    async def _ask_checks(self) -> None:
        """Once a minute: which loops failed their newest check."""
        now_s = time.monotonic()
        if now_s - self._asked_s < CHECKS_EVERY_S:
            return
        self._asked_s = now_s
        with contextlib.suppress(StoreUnavailable):  # said by whoever writes; asked again in a minute
            self._failed = await self._sources.readers.call(failed_checks, self._sources.book)


def failed_checks(book: BookReader) -> dict[str, int]:
    """By instrument, when its newest finished loop check ended, where that failed."""
    newest: dict[str, tuple[bool, int]] = {}
    for entry in book.entries([KIND], newest_first=True):
        if entry.body.get("change") == FINISHED:
            newest.setdefault(str(entry.body["instrument"]), (entry.body.get("passes") is False, entry.time_ms))
    return {instrument: ended_ms for instrument, (failed, ended_ms) in newest.items() if failed}


def disk_used_percent(path: Path) -> float | None:
    """Of the disk that holds a folder; None when it does not say. What only root may fill counts as used."""
    try:
        usage = shutil.disk_usage(path)
    except OSError:
        return None
    total = usage.used + usage.free
    return 100 * usage.used / total if total else None


def today(site: Site, now_ms: int) -> date:
    """The date on the site's own clock."""
    return day_of(site.zone, now_ms)
