"""Between the core and the file of fault traces: samples wait here for a moment and are written in the records' turn.

A trace is written before the entry that tells of its fault; samples that come later wait for two seconds at the most. A
trace that cannot be written holds no decision up: it is said once, and tried again with the next one.
"""

import asyncio
import logging
from typing import Final

from alerts.faulttrace import ToKeep, TraceRow
from history.bookwriter import BookWriter
from history.errors import StoreError
from history.traces import TraceStore

log = logging.getLogger(__name__)

LONGEST_WAIT_S: Final = 2.0
MOST_WAITING: Final = 50_000
"""Samples that wait for a file that does not take them; beyond that the oldest are given up, and that is said."""


class TraceKeeping:
    """Writes through the thread of the record book, in the order of the calls."""

    def __init__(self, store: TraceStore, book: BookWriter) -> None:
        self._store, self._book = store, book
        self._begun: list[tuple[str, int]] = []
        self._rows: list[TraceRow] = []
        self._written_s = 0.0
        self._failing = False

    def add(self, kept: ToKeep) -> None:
        self._begun += kept.begun
        self._rows += kept.rows

    @property
    def due(self) -> bool:
        """True when samples have waited long enough."""
        return bool(self._rows) and asyncio.get_running_loop().time() - self._written_s >= LONGEST_WAIT_S

    def write(self) -> None:
        """Hand in what waits: it is written before any commit that is handed in later."""
        if not self._rows and not self._begun:
            return
        begun, self._begun = self._begun, []
        rows, self._rows = self._rows, []
        self._written_s = asyncio.get_running_loop().time()
        writing = self._book.in_turn(lambda: self._store.keep(begun, rows))
        writing.add_done_callback(lambda done: self._written(done, begun, rows))

    def _written(self, done: asyncio.Future[object], begun: list[tuple[str, int]], rows: list[TraceRow]) -> None:
        if done.cancelled():
            return
        error = done.exception()
        if isinstance(error, StoreError):
            self._begun, self._rows = begun + self._begun, (rows + self._rows)[-MOST_WAITING:]
            if not self._failing:
                log.error("fault traces wait, at most %d samples: %s", MOST_WAITING, error)
            self._failing = True
        elif error is not None:
            log.error("fault traces: %d samples are lost by a bug of ours", len(rows), exc_info=error)
        else:
            if self._failing:
                log.info("fault traces are written again")
            self._failing = False
