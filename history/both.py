"""The embedded store and the servers that hold what it has let go: one store for whoever asks.

Knows where the embedded store begins for each tank; refuses to know how a server is asked. The embedded store always
comes first: a server is asked only for what is older. A server that is away breaks no trend: what the embedded store
has is shown. It is then left alone for a while, so that pages do not wait for it again and again.
"""

import logging
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from itertools import chain
from typing import Final

import numpy as np

from history.errors import StoreError, StoreUnavailable
from history.requalify import Requalified
from history.sqlite import SqliteStore
from history.store import COUNTS_WHEN_BAD, Buckets, Grid, Trend, grid_of
from history.trusting import Older, Trusting
from models.reading import Reading

log = logging.getLogger(__name__)

LEFT_ALONE_S: Final = 60.0


class Both:
    """See `history.store.Store`. servers: by id, asked in this order until one answers; the site's other servers, which
    cannot be asked, are not among them."""

    def __init__(
        self, embedded: SqliteStore, servers: Mapping[str, Older], clock_s: Callable[[], float] = time.monotonic
    ) -> None:
        self._embedded, self._clock_s = embedded, clock_s
        self._servers = {name: Trusting(server) for name, server in servers.items()}
        self._away: dict[str, tuple[float, str]] = {}
        self.requalify(embedded.requalified)

    def append(self, readings: Sequence[Reading]) -> None:
        self._embedded.append(readings)

    def requalify(self, found: Requalified) -> None:
        self._embedded.requalify(found)
        for server in self._servers.values():
            server.requalified = found

    def latest(self, tank: str) -> Reading | None:
        return self._embedded.latest(tank)

    def latest_good(self, tank: str) -> Reading | None:
        return self._embedded.latest_good(tank)

    def last_seq(self) -> int:
        return self._embedded.last_seq()

    def close(self) -> None:
        """The embedded store's; servers are closed by whoever made them."""
        self._embedded.close()

    def read(self, tank: str, start_ms: int, end_ms: int) -> Iterator[Reading]:
        """What is older comes first, and raises `StoreUnavailable` where no server can be asked: a list that lacks
        readings must not look like a whole one."""
        whole_ms = self._embedded.kept_from(tank).whole_ms
        older_ms = end_ms if whole_ms is None else min(end_ms, whole_ms)
        if start_ms >= older_ms or not self._servers:
            return self._embedded.read(tank, start_ms, end_ms)
        found: list[Iterator[Reading]] = []
        if not self._ask(lambda server: found.append(server.read(tank, start_ms, older_ms))):
            raise StoreUnavailable("; ".join(why for _, why in self._away.values()))
        return chain(found[-1], self._embedded.read(tank, older_ms, end_ms))

    def trend(self, tank: str, quantity: str, start_ms: int, span_ms: int, points: int) -> Trend:
        known, grid = grid_of(quantity, start_ms, span_ms, points)
        begins = self._embedded.kept_from(tank)
        limit_ms = begins.whole_ms if grid.unit_ms == 1 else begins.first_ms
        older_ms = grid.end_ms if limit_ms is None else min(grid.end_ms, limit_ms)
        if grid.first_ms < older_ms:
            tries: list[Buckets] = []  # made anew by each: a server may fail half-way

            def add(server: Older) -> None:
                tries.append(Buckets(grid))
                server.fill(tries[-1], tank, quantity, grid, older_ms)

            if self._ask(add):
                self._add_newer(tries[-1], tank, quantity, grid, older_ms)
                return tries[-1].trend(known)
        return self._embedded.trend(tank, quantity, start_ms, span_ms, points)

    def _add_newer(self, buckets: Buckets, tank: str, quantity: str, grid: Grid, from_ms: int) -> None:
        """The embedded store's part. Of short buckets from single readings only: what it has thinned to minutes is
        what the server was asked for."""
        if grid.unit_ms > 1:
            self._embedded.fill(buckets, tank, quantity, grid)
            return
        for columns in self._embedded.columns(tank, from_ms, grid.end_ms, (quantity,)):
            figure = columns.figures[quantity]
            counts = figure.known if quantity in COUNTS_WHEN_BAD else figure.known & (columns.quality < 2)
            buckets.add_readings(columns.time_ms, columns.quality, np.asarray(figure.values), counts)

    def _ask(self, question: Callable[[Older], object]) -> bool:
        """Put a question to the servers until one answers; False when none did."""
        for name, server in self._servers.items():
            until_s, _ = self._away.get(name, (0.0, ""))
            if name in self._away and self._clock_s() < until_s:
                continue
            try:
                question(server)
            except StoreError as error:
                if name not in self._away:
                    log.warning("server %s %s; older readings are not shown until it answers", name, error)
                self._away[name] = self._clock_s() + LEFT_ALONE_S, f"server {name} {error}"
            else:
                if self._away.pop(name, None):
                    log.info("server %s answers questions again", name)
                return True
        return False
