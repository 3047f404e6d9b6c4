"""What carries the readings on to one server: a thread that follows the embedded store and sends what the server lacks.

Knows cursors, patience and what to do with each kind of trouble; refuses to know HTTP. Nothing waits for it, neither
the core nor the thread that writes readings, and it holds one stretch of readings in memory. The cursor moves only
after the server has taken a batch: what was under way at a crash is sent again, and is the same points. A server that
is away costs no disk: the embedded store keeps what it keeps anyway, and what it lets go is counted as dropped.
"""

import logging
import random
import threading
import time
from collections.abc import Callable
from typing import Final, NamedTuple, Protocol

from history.errors import StoreError, StoreUnavailable
from history.following import Cursor, Stretch
from history.lines import chunks, in_order
from history.rejects import RejectList
from history.sending import LINES_A_POST, Poster, Sender
from history.servertrouble import Away

log = logging.getLogger(__name__)

AT_ONCE: Final = 20_000
EVERY_S: Final = 2.0
FIRST_WAIT_S: Final = 1.0
LONGEST_WAIT_S: Final = 60.0
LONGEST_RETRY_AFTER_S: Final = 3600.0
COUNT_EVERY_S: Final = 10.0


class Source(Protocol):
    """What the outlet needs of the embedded store."""

    def following(self, after: int, most: int) -> Stretch | None: ...
    def waiting(self, after: int) -> int: ...
    def cursor(self, server: str) -> Cursor: ...
    def move_cursor(self, server: str, to: Cursor) -> None: ...


class OutletCounters(NamedTuple):
    """How a server is served. sent, rejected, dropped: readings since it was first named in the site file.

    waiting: about how many readings it lacks; lag_s: for how long it has lacked some. failure: why nothing moves, ""
    when all is well; held: a person must mend it. next_try_s: in how many seconds it is tried again.
    """

    server: str
    seq: int
    sent: int
    rejected: int
    dropped: int
    waiting: int
    lag_s: float
    failure: str
    held: bool
    next_try_s: float


class Outlet:
    """lines_a_post: of a batch. at_once: readings taken from the store at a time. every_s: between two looks for new
    ones. first_wait_s, longest_wait_s: between tries while the server is away, doubling, each shortened by chance to
    between its half and its whole.
    """

    def __init__(
        self,
        server: str,
        site: str,
        source: Source,
        poster: Poster,
        rejects: RejectList,
        *,
        lines_a_post: int = LINES_A_POST,
        at_once: int = AT_ONCE,
        every_s: float = EVERY_S,
        first_wait_s: float = FIRST_WAIT_S,
        longest_wait_s: float = LONGEST_WAIT_S,
        chance: Callable[[], float] = random.random,
    ) -> None:
        self.server = server
        self._site, self._source, self._poster, self._rejects = site, source, poster, rejects
        self._sender, self._at_once, self._every_s = Sender(poster, lines_a_post), at_once, every_s
        self._first_wait_s, self._longest_wait_s, self._chance = first_wait_s, longest_wait_s, chance
        self._wait_s = first_wait_s
        self._cursor = source.cursor(server)
        self._waiting = 0
        self._counted_s = float("-inf")
        self._whole_s = time.monotonic()  # when the server last had everything
        self._failing_since_s = 0.0
        self._failure, self._held, self._next_s = "", False, 0.0
        self._stopping = threading.Event()
        self._thread = threading.Thread(target=self._run, name=f"history outlet {server}", daemon=True)

    def start(self) -> None:
        self._thread.start()

    def stop(self, within_s: float) -> None:
        """End the thread: at once, or when the post under way is answered. It goes on from there at the next start."""
        self._stopping.set()
        if self._thread.ident is not None:
            self._thread.join(within_s)

    def counters(self) -> OutletCounters:
        cursor, now = self._cursor, time.monotonic()
        lag_s = now - self._whole_s if self._waiting or self._failure else 0.0
        next_s = max(0.0, self._next_s - now) if self._failure else 0.0
        return OutletCounters(self.server, *cursor, self._waiting, lag_s, self._failure, self._held, next_s)

    def step(self) -> float:
        """Send some of what the server lacks, and say for how many seconds there is nothing to do then."""
        try:
            self._cursor = self._source.cursor(self.server)  # what was thinned meanwhile is counted there
            stretch = self._source.following(self._cursor.seq, self._sender.size if self._failure else self._at_once)
            if stretch is None:
                self._waiting, self._whole_s = 0, time.monotonic()
                return self._every_s
            self._count(stretch)
            self._send(stretch)
        except StoreError as trouble:
            return self._fail(trouble)
        return 0.0

    def _send(self, stretch: Stretch) -> None:
        lines, size = in_order(self._site, stretch.parts), self._sender.size
        for chunk in chunks(lines, size):
            rejected = self._sender.send(chunk)
            if rejected:
                self._rejects.add(rejected)
                log.error(
                    "server %s will never take %d readings (%s); they stand in %s",
                    self.server, len(rejected), rejected[0].reason, self._rejects.path,
                )  # fmt: skip
            self._move(Cursor(chunk[-1].seq, len(chunk) - len(rejected), len(rejected)))
            self._recover()
            if self._stopping.is_set() or self._sender.size < size:
                return
        if stretch.last_seq > self._cursor.seq or stretch.lost:
            self._move(Cursor(stretch.last_seq, dropped=stretch.lost))

    def _move(self, to: Cursor) -> None:
        self._source.move_cursor(self.server, to)
        old = self._cursor
        self._cursor = Cursor(to.seq, old.sent + to.sent, old.rejected + to.rejected, old.dropped + to.dropped)
        self._waiting = max(0, self._waiting - sum(to[1:]))

    def _count(self, stretch: Stretch) -> None:
        """What waits, now and then: of a long queue it costs some milliseconds."""
        now = time.monotonic()
        if now - self._counted_s >= COUNT_EVERY_S:
            self._counted_s, self._waiting = now, self._source.waiting(self._cursor.seq)
        self._waiting = max(self._waiting, stretch.readings)

    def _fail(self, trouble: StoreError) -> float:
        """Log it once, and say how long to wait."""
        if self._stopping.is_set():
            return 0.0
        now = time.monotonic()
        held = not isinstance(trouble, StoreUnavailable)
        if not self._failure:
            self._failing_since_s = now
        if not self._failure or (held and str(trouble) != self._failure):
            word = "takes nothing until this is mended" if held else "is away; its readings wait in the store"
            log.log(logging.ERROR if held else logging.WARNING, "server %s %s: %s", self.server, word, trouble)
        self._failure, self._held = str(trouble), held
        wait_s = self._wait_s * (0.5 + 0.5 * self._chance())
        self._wait_s = min(2 * self._wait_s, self._longest_wait_s)
        if isinstance(trouble, Away) and trouble.retry_after_s is not None:
            wait_s = max(wait_s, min(trouble.retry_after_s, LONGEST_RETRY_AFTER_S))
        self._next_s = now + wait_s
        return wait_s

    def _recover(self) -> None:
        self._wait_s = self._first_wait_s
        if self._failure:
            away_s = time.monotonic() - self._failing_since_s
            log.info("server %s takes readings again after %.0f s; %d wait", self.server, away_s, self._waiting)
            self._failure, self._held = "", False

    def _run(self) -> None:
        try:
            while not self._stopping.is_set():
                self._stopping.wait(self.step())
        except Exception:
            log.exception(
                "the thread that serves %s has ended by a bug; the readings are all in the store", self.server
            )
            self._failure, self._held = "ended by a bug: see the log", True
        finally:
            self._poster.close()
