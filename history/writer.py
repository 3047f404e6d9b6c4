"""Between the event loop and the store of readings: a bounded queue and one thread that empties it.

Knows batching, retries and what is dropped when: with the queue full its oldest readings, and they are counted. Refuses
to know files. Records never pass here: see `history.bookwriter`.
"""

import asyncio
import logging
import threading
import time
from collections import deque
from collections.abc import Callable, Sequence
from concurrent.futures import Future
from typing import Final, NamedTuple, Protocol

from history.errors import PointsRejected, StoreError
from models.reading import Reading

log = logging.getLogger(__name__)

FIRST_WAIT_S: Final = 0.1
LONGEST_WAIT_S: Final = 5.0
TIDY_EVERY_S: Final = 10.0
TIDY_AT_ONCE_S: Final = 0.2
"""Housekeeping between two batches takes no longer than this and one piece more: a piece takes some 10 to 100 ms."""


class Appender(Protocol):
    """What the readings' thread needs of a store."""

    def append(self, readings: Sequence[Reading]) -> None: ...


Tidier = Callable[[], bool]
"""Does one piece of a store's housekeeping and says whether there was one."""


class Counters(NamedTuple):
    """How the readings' thread does. All but `retries` and `lag_s` count readings.

    dropped: given up for lack of room or time. refused: the store will never take them. waiting: still to be written;
    lag_s: for how long the oldest of them has waited. failure: why the store takes none just now, empty when it does.
    """

    written: int
    dropped: int
    refused: int
    retries: int
    waiting: int
    lag_s: float
    failure: str


class _Put(NamedTuple):
    """The readings of one `put`, its running number and its time on the monotonic clock."""

    number: int
    at_s: float
    readings: tuple[Reading, ...]


class ReadingWriter:
    """Takes readings off the loop at once and writes them in its own thread, many ticks to a transaction.

    room: how many readings may wait (the newest put always stays). at_once, every_s: a transaction is begun as soon as
    that many wait, or when the oldest has waited that long. first_wait_s, longest_wait_s: between tries while the store
    does not take any, doubling. tidy: called after a batch, every `tidy_every_s` and again as long as it finds
    something to do. Use: `start()`, `put(...)` each tick, `await aclose()` before the store is closed.
    """

    def __init__(
        self,
        store: Appender,
        *,
        room: int = 50_000,
        at_once: int = 2_000,
        every_s: float = 0.5,
        first_wait_s: float = FIRST_WAIT_S,
        longest_wait_s: float = LONGEST_WAIT_S,
        tidy: Tidier | None = None,
        tidy_every_s: float = TIDY_EVERY_S,
    ) -> None:
        self._store = store
        self._room = room
        self._at_once = at_once
        self._every_s = every_s
        self._first_wait_s = first_wait_s
        self._longest_wait_s = longest_wait_s
        self._tidier = tidy
        self._tidy_every_s = tidy_every_s
        self._tidy_at_s = time.monotonic()
        self._untidy = False
        self._changed = threading.Condition()  # guards everything below
        self._queue: deque[_Put] = deque()
        self._in_hand: list[_Put] = []
        self._queued = 0  # readings in the queue
        self._puts = 0
        self._flushes: list[tuple[int, Future[None]]] = []
        self._closing = False
        self._giving_up = False
        self._written = self._dropped = self._refused = self._retries = 0
        self._failure = ""
        self._failing_since_s = 0.0
        self._wait_s = first_wait_s
        self._dropping = False
        self._ended = _promise()
        self._thread = threading.Thread(target=self._run, name="history readings", daemon=True)

    def start(self) -> None:
        self._thread.start()

    def put(self, readings: Sequence[Reading]) -> None:
        """Hand over the readings of a tick. Never waits; the oldest that wait are dropped when there is no room."""
        with self._changed:
            self._check()
            if readings:
                self._puts += 1
                self._queue.append(_Put(self._puts, time.monotonic(), tuple(readings)))
                self._queued += len(readings)
                self._trim()
                self._changed.notify_all()

    async def flush(self) -> None:
        """Wait until all that was put before is written, refused or dropped: for ever, while the store is away."""
        with self._changed:
            self._check()
            if not self._unsettled():
                return
            done = _promise()
            self._flushes.append((self._puts, done))
            self._changed.notify_all()
        await asyncio.wrap_future(done)

    async def aclose(self, within_s: float = 5.0) -> None:
        """Write what waits, for at most `within_s`, and end the thread; what is left then is dropped and counted.

        An append that has begun by then gets as long again before this raises `TimeoutError` (the disk hangs). Raises
        the bug that ended the thread, if one did.
        """
        with self._changed:
            self._closing = True
            started = self._thread.ident is not None
            self._changed.notify_all()
        if not started:
            self._end(None)
        ended = asyncio.wrap_future(self._ended)
        try:
            await asyncio.wait({ended}, timeout=within_s)
        finally:
            with self._changed:
                self._giving_up = True
                self._changed.notify_all()
        async with asyncio.timeout(within_s):
            await ended

    def counters(self) -> Counters:
        with self._changed:
            oldest = self._unsettled()
            return Counters(
                self._written,
                self._dropped,
                self._refused,
                self._retries,
                self._queued + _count(self._in_hand),
                time.monotonic() - oldest.at_s if oldest else 0.0,
                self._failure,
            )

    def _check(self) -> None:
        if self._ended.done() and (bug := self._ended.exception()) is not None:
            raise RuntimeError("the thread that writes readings has ended by a bug") from bug
        if self._closing:
            raise StoreError("the writer of readings was closed before this call")

    def _unsettled(self) -> _Put | None:
        """The oldest put that is neither written, refused nor dropped."""
        return self._in_hand[0] if self._in_hand else self._queue[0] if self._queue else None

    def _trim(self) -> None:
        before = self._dropped
        while self._queued > self._room and len(self._queue) > 1:
            lost = len(self._queue.popleft().readings)
            self._queued -= lost
            self._dropped += lost
        if self._dropped > before and not self._dropping:
            self._dropping = True
            log.error("the oldest readings are dropped: more than %d wait to be written", self._room)

    def _settle(self) -> None:
        """Wake the flushes that have nothing left to wait for."""
        oldest = self._unsettled()
        waiting = self._flushes
        self._flushes = [flush for flush in waiting if oldest and oldest.number <= flush[0]]
        for flush in waiting:
            if flush not in self._flushes:
                flush[1].set_result(None)

    # What follows runs in the thread.

    def _run(self) -> None:
        try:
            while self._take():
                self._write()
                self._tidy()
        except BaseException as exc:
            log.exception("the thread that writes readings has ended by a bug")
            self._end(exc)
        else:
            self._end(None)

    def _end(self, bug: BaseException | None) -> None:
        with self._changed:
            left = self._queued + _count(self._in_hand)
            if left:
                log.error("readings given up at the end: %d (%s)", left, self._failure or bug or "no time left")
            self._dropped += left
            self._queue.clear()
            self._in_hand.clear()
            self._queued = 0
            if self._ended.done():
                return
            for _, done in self._flushes:
                if bug is None:
                    done.set_result(None)
                else:
                    done.set_exception(bug)
            self._flushes.clear()
            if bug is None:
                self._ended.set_result(None)
            else:
                self._ended.set_exception(bug)

    def _take(self) -> bool:
        """Wait for a batch worth writing and take it in hand; False when there will be no more."""
        with self._changed:
            self._changed.wait_for(lambda: self._queue or self._closing)
            if self._giving_up or not self._queue:
                return False
            patience = self._queue[0].at_s + self._every_s - time.monotonic()
            self._changed.wait_for(
                lambda: self._queued >= self._at_once or self._flushes or self._closing, timeout=max(0.0, patience)
            )
            while self._queue and _count(self._in_hand) < self._at_once:
                self._in_hand.append(self._queue.popleft())
                self._queued -= len(self._in_hand[-1].readings)
            return True

    def _write(self) -> None:
        """Write what is in hand; after a failure put it back and wait."""
        readings = [reading for put in self._in_hand for reading in put.readings]
        refused = 0
        try:
            self._store.append(readings)
        except PointsRejected as exc:
            refused = len(exc.refused)
            if not self._refused:  # the first of them shows the bug; all later ones are counted
                log.error("%s", exc)
        except StoreError as exc:
            self._fail(exc)
            return
        with self._changed:
            self._written += len(readings) - refused
            self._refused += refused
            self._in_hand.clear()
            self._settle()
            self._dropping = self._queued > self._room
            if self._failure:
                away_s = time.monotonic() - self._failing_since_s
                log.info("readings are written again after %.1f s; dropped so far: %d", away_s, self._dropped)
                self._failure = ""

    def _tidy(self) -> None:
        """Housekeeping, when it is due and no reading waits for long."""
        begun = time.monotonic()
        if self._tidier is None or begun < self._tidy_at_s or self._failure:
            return
        try:
            while self._tidier():
                if time.monotonic() - begun > TIDY_AT_ONCE_S or self._closing:
                    return
        except StoreError as exc:
            if not self._untidy:
                log.error("older readings are not packed: %s", exc)
            self._untidy = True
        else:
            self._untidy = False
        self._tidy_at_s = time.monotonic() + self._tidy_every_s

    def _fail(self, exc: StoreError) -> None:
        """The batch goes back to the front of the queue, so that it is the first to go when there is no room."""
        with self._changed:
            if not self._failure:
                self._failing_since_s = time.monotonic()
                self._wait_s = self._first_wait_s
                log.warning("readings wait: %s", exc)
            self._failure = str(exc)
            self._retries += 1
            self._queue.extendleft(reversed(self._in_hand))
            self._queued += _count(self._in_hand)
            self._in_hand.clear()
            self._trim()
            self._settle()
            self._changed.wait_for(lambda: self._giving_up, timeout=self._wait_s)
            self._wait_s = min(2 * self._wait_s, self._longest_wait_s)


def _promise() -> Future[None]:
    """A future for the loop that a caller's cancellation does not settle."""
    future: Future[None] = Future()
    future.set_running_or_notify_cancel()
    return future


def _count(puts: Sequence[_Put]) -> int:
    return sum(len(put.readings) for put in puts)
