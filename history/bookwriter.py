"""Between the event loop and the record book: one thread, and a caller who waits until the disk has it.

Knows order, patience and cancellation; refuses to know files. Commits are carried out in the order of the calls, and
none is ever dropped.
"""

import asyncio
import logging
import threading
import time
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from typing import Any, Final, NamedTuple, Protocol, TypeVar

from history.chain import Entry, Head
from history.errors import StoreError, StoreUnavailable

log = logging.getLogger(__name__)

T = TypeVar("T")

FIRST_WAIT_S: Final = 0.1


class Book(Protocol):
    """What the records' thread needs of a record book."""

    def commit(self, entries: Sequence[Entry], state: Mapping[str, str | None]) -> Head: ...

    def save_state(self, state: Mapping[str, str | None]) -> None: ...


class BookCounters(NamedTuple):
    """commits and entries written, tries repeated, commits that wait now, and how long the last one took."""

    commits: int
    entries: int
    retries: int
    waiting: int
    last_s: float


class BookWriter:
    """Writes the record book in a thread of its own, one commit after the other in the order of the calls.

    patience_s: how long a commit is tried again while the book is unavailable (other commits wait behind it).
    """

    def __init__(self, book: Book, *, patience_s: float = 2.0, first_wait_s: float = FIRST_WAIT_S) -> None:
        self._book = book
        self._patience_s = patience_s
        self._first_wait_s = first_wait_s
        self._thread = ThreadPoolExecutor(1, thread_name_prefix="history records")
        self._closing = threading.Event()
        self._open: set[Future[Any]] = set()
        self._commits = self._entries = self._retries = 0
        self._last_s = 0.0
        self._told = False

    async def commit(self, entries: Sequence[Entry], state: Mapping[str, str | None]) -> Head:
        """The head once all of it is durably in the book. Raises `StoreUnavailable` after `patience_s`.

        Once called it is carried out, even if the caller is cancelled while it waits.
        """
        kept, changes = tuple(entries), dict(state)
        head = await self._call(lambda: self._book.commit(kept, changes))
        self._entries += len(kept)
        return head

    async def save_state(self, state: Mapping[str, str | None]) -> None:
        """Change state without an entry; as `commit` otherwise."""
        changes = dict(state)
        await self._call(lambda: self._book.save_state(changes))

    def in_turn(self, act: Callable[[], object]) -> asyncio.Future[object]:
        """Hand in a write of another file, to be carried out between the commits before this call and those after it.

        Not tried again: the future holds what it raises.
        """
        return asyncio.wrap_future(self._hand_in(act))

    async def aclose(self, within_s: float = 5.0) -> None:
        """End after the commits under way; they are not tried again any more. `TimeoutError` if the disk hangs."""
        self._closing.set()
        self._thread.shutdown(wait=False)
        waits = {asyncio.wrap_future(future) for future in tuple(self._open)}
        if waits:
            done, late = await asyncio.wait(waits, timeout=within_s)
            for future in done:
                if not future.cancelled():
                    future.exception()  # its own caller is told
            if late:
                raise TimeoutError(f"{len(late)} commits to the record book did not end within {within_s:g} s")

    def counters(self) -> BookCounters:
        return BookCounters(self._commits, self._entries, self._retries, len(self._open), self._last_s)

    async def _call(self, act: Callable[[], T]) -> T:
        return await asyncio.shield(asyncio.wrap_future(self._hand_in(lambda: self._patiently(act))))

    def _hand_in(self, work: Callable[[], T]) -> Future[T]:
        if self._closing.is_set():
            raise StoreError("the writer of the record book was closed before this call")
        future = self._thread.submit(work)
        self._open.add(future)
        future.add_done_callback(self._open.discard)
        return future

    def _patiently(self, act: Callable[[], T]) -> T:
        """Runs in the thread."""
        begun_s = time.monotonic()
        wait_s = self._first_wait_s
        while True:
            try:
                done = act()
            except StoreUnavailable as exc:
                if time.monotonic() + wait_s - begun_s > self._patience_s or self._closing.wait(wait_s):
                    raise
                if not self._told:
                    log.warning("records wait: %s", exc)
                self._told = True
                self._retries += 1
                wait_s *= 2
            else:
                self._told = False
                self._commits += 1
                self._last_s = time.monotonic() - begun_s
                return done
