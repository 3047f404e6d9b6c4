"""The core's own task: ticks are decided in order, what was decided is written in one durable transaction, then told.

Nothing is told that is not written: while the record book cannot take it, decisions wait here.
"""

import asyncio
import logging
from collections.abc import Awaitable, Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from gaugehouse.acts import Decision
from gaugehouse.core import Core, StepResult
from gaugehouse.inbox import Batch, Inbox, Ticker
from gaugehouse.notifying.postroom import PostRoom
from gaugehouse.publishing import Publishing
from gaugehouse.recording import Recorder
from gaugehouse.tracekeeping import TraceKeeping
from history.bookwriter import BookWriter
from history.chain import Entry
from history.errors import StoreDamaged, StoreUnavailable
from history.salvage import mark
from history.store import Store
from history.writer import ReadingWriter

log = logging.getLogger(__name__)

TICKS_TOGETHER: Final = 64
"""Ticks that are written in one transaction at the most, when so many wait: a flood must not queue for the disk."""


@dataclass(frozen=True, slots=True)
class Writing:
    """Where a tick's results go. stepped: is told by how many milliseconds the clock steps."""

    book: BookWriter
    readings: ReadingWriter
    store: Store
    traces: TraceKeeping
    record: Recorder | None
    ticker: Ticker
    publishing: Publishing | None
    post: PostRoom | None
    stepped: Callable[[int], None]


class Deciding:
    """Between inbox and record book. waits: why decisions cannot be written, "" when they can; since_ms: the elapsed
    time of the oldest arrival that is being decided, None between two."""

    def __init__(self, core: Core, inbox: Inbox, book_path: Path) -> None:
        self._core, self._inbox, self._book_path = core, inbox, book_path
        self.waits = ""
        self.since_ms: int | None = None

    async def run(self, writing: Writing) -> None:
        """The core's own task: one tick after the other, each written before it is told."""
        while True:
            arrivals = await self._inbox.take()
            self.since_ms = arrivals[0].elapsed_ms
            batches = list(writing.ticker.batches(arrivals))
            for start in range(0, len(batches), TICKS_TOGETHER):
                if start:
                    await asyncio.sleep(0)  # the wire has its turn, however much waits here
                await self._some(batches[start : start + TICKS_TOGETHER], writing)
            self.since_ms = None

    async def _some(self, batches: Sequence[Batch], writing: Writing) -> None:
        """Decide the ticks that wait, write what was decided in one durable transaction, then tell it."""
        results = [self._one(batch, writing) for batch in batches]
        entries = [
            Entry(d.kind, batch.tick.at.time_ms, batch.tick.at.seq, d.body)
            for batch, result in zip(batches, results, strict=True)
            for d in result.decisions
        ]
        if entries:
            state = self._core.changed_state()  # asked once: what was told as changed is not told again
            await self._insist(lambda: writing.book.commit(entries, state))
            writing.store.requalify(self._core.requalifying.found)
        for batch, result in zip(batches, results, strict=True):
            for pending, answer in zip(batch.pending, result.answers, strict=True):
                if not pending.answer.done():
                    pending.answer.set_result(answer)
            writing.readings.put(result.readings)
            if writing.publishing is not None:
                writing.publishing.tell(result.readings, len(result.transitions))
            if writing.post is not None:
                writing.post.tell(len(result.transitions))

    async def _insist(self, commit: Callable[[], Awaitable[object]]) -> None:
        """Try until the record book takes it: nothing is told that is not written."""
        while True:
            try:
                await commit()
            except StoreDamaged:
                mark(self._book_path)  # the next start goes on without what is damaged
                raise
            except StoreUnavailable as error:
                if not self.waits:
                    log.error("decisions wait, nobody is told of them until they are written: %s", error)
                self.waits = str(error).replace(f" {self._book_path}", "")
                await asyncio.sleep(0.5)
            else:
                if self.waits:
                    log.info("decisions are written again")
                self.waits = ""
                return

    def _one(self, batch: Batch, writing: Writing) -> StepResult:
        """One tick through the core."""
        tick = batch.tick
        result = self._core.step(tick)
        if writing.record is not None and tick.samples:
            writing.record.write(tick.samples, tick.at.time_ms)
        writing.traces.add(self._core.loops.traces.take())
        if result.fault_changes or writing.traces.due:
            writing.traces.write()
        if batch.clock_step is not None:
            log.warning("the clock steps by %.1f s", batch.clock_step.step_ms / 1000)
            writing.stepped(batch.clock_step.step_ms)
            result.decisions.insert(0, Decision("clock_step", batch.clock_step._asdict()))
        return result
