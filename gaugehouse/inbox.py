"""Where Samples and people's acts wait for the core, and how they become ticks.

Knows stamps and order; refuses to know what a Sample says. Ticks of one daemon never share a time: what a recording
shows as one tick was one tick.
"""

import asyncio
from collections import deque
from collections.abc import Iterator, Sequence
from typing import Final, NamedTuple

from gaugehouse.acts import Act, Answer
from gaugehouse.core import Tick
from models.reading import Instant, Sample

MOST_WAITING: Final = 100_000
"""Samples that may wait while the record book cannot be written; beyond it the oldest are dropped and counted."""

CLOCK_STEP_MS: Final = 1_000


class PendingAct(NamedTuple):
    """An act and where its answer goes: set only after the act is in the record book."""

    act: Act
    answer: "asyncio.Future[Answer]"


class Arrival(NamedTuple):
    """Something that came in, with both clocks at that moment."""

    time_ms: int
    elapsed_ms: int
    item: Sample | PendingAct


class Inbox:
    """Arrivals in order. Written by the bus tasks and the console, emptied by the core's task only."""

    def __init__(self) -> None:
        self._waiting: deque[Arrival] = deque()
        self._something = asyncio.Event()
        self.dropped = 0

    def __len__(self) -> int:
        return len(self._waiting)

    def oldest_ms(self) -> int | None:
        """Elapsed time at which the oldest that waits came in, None when nothing waits."""
        return self._waiting[0].elapsed_ms if self._waiting else None

    def put(self, arrival: Arrival) -> None:
        if len(self._waiting) >= MOST_WAITING and isinstance(self._waiting[0].item, Sample):
            self._waiting.popleft()
            self.dropped += 1
        self._waiting.append(arrival)
        self._something.set()

    def withdraw(self, arrival: Arrival) -> bool:
        """Take back what still waits; False where the core has taken it up already."""
        try:
            self._waiting.remove(arrival)
        except ValueError:
            return False
        return True

    async def take(self) -> list[Arrival]:
        """Everything that waits, at least one."""
        while not self._waiting:
            self._something.clear()
            await self._something.wait()
        taken = list(self._waiting)
        self._waiting.clear()
        return taken


class ClockStep(NamedTuple):
    """The site's clock moved against elapsed time by more than a second."""

    from_ms: int
    to_ms: int
    step_ms: int


class Batch(NamedTuple):
    """One tick, the answers that wait for it, and a clock step seen on the way to it."""

    tick: Tick
    pending: Sequence[PendingAct]
    clock_step: ClockStep | None


class Ticker:
    """Numbers ticks and gives each its place on the core's own clock.

    Elapsed time follows the stamps of the site's clock as long as both clocks agree within a second, so that a replay
    of the recording judges every delay alike; over a clock step it follows the monotonic one.
    """

    def __init__(self, seq: int, elapsed_ms: int, order: dict[str, int]) -> None:
        self._seq = seq
        self._elapsed_ms = elapsed_ms
        self._order = order
        self._last: Arrival | None = None
        self._last_time_ms: int | None = None

    def batches(self, arrivals: Sequence[Arrival]) -> Iterator[Batch]:
        """One batch for each run of equal stamps."""
        start = 0
        for end in range(1, len(arrivals) + 1):
            if end == len(arrivals) or arrivals[end].time_ms != arrivals[start].time_ms:
                yield self._batch(arrivals[start:end])
                start = end

    def _batch(self, group: Sequence[Arrival]) -> Batch:
        first = group[0]
        time_ms = first.time_ms
        if time_ms == self._last_time_ms:
            time_ms += 1
        step = self._advance(first, time_ms)
        self._seq += 1
        samples = [a.item._replace(time_ms=time_ms) for a in group if isinstance(a.item, Sample)]
        samples.sort(key=lambda sample: self._order[sample.instrument])
        pending = [a.item for a in group if isinstance(a.item, PendingAct)]
        at = Instant(self._seq, time_ms, self._elapsed_ms)
        return Batch(Tick(at, samples, [p.act for p in pending]), pending, step)

    def _advance(self, first: Arrival, time_ms: int) -> ClockStep | None:
        last, last_time_ms = self._last, self._last_time_ms
        self._last, self._last_time_ms = first, time_ms
        if last is None or last_time_ms is None:
            return None
        by_stamp, by_clock = time_ms - last_time_ms, first.elapsed_ms - last.elapsed_ms
        if abs(by_stamp - by_clock) <= CLOCK_STEP_MS:
            self._elapsed_ms += max(0, by_stamp)
            return None
        self._elapsed_ms += max(0, by_clock)
        return ClockStep(last_time_ms, time_ms, by_stamp - by_clock)
