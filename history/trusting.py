"""Older readings of a server, told as this site's record book has them: stretches found bad afterwards are honoured.

A server holds what was sent when it was measured, and is never rewritten. Buckets of a trend that such a stretch
touches are worked out from the server's single readings; all others come as the server adds them up.
"""

from collections.abc import Iterator
from itertools import pairwise
from typing import Protocol

from history.memory import add_singly
from history.requalify import AS_MEASURED
from history.store import Buckets, Grid
from models.reading import Reading


class Older(Protocol):
    """What can be asked of a server: see `history.influxql.InfluxReadings`."""

    def read(self, tank: str, start_ms: int, end_ms: int) -> Iterator[Reading]: ...
    def fill(self, buckets: Buckets, tank: str, quantity: str, grid: Grid, before_ms: int) -> None: ...


class Trusting:
    """An `Older` around another one."""

    def __init__(self, older: Older) -> None:
        self._older = older
        self.requalified = AS_MEASURED

    def read(self, tank: str, start_ms: int, end_ms: int) -> Iterator[Reading]:
        found = self._older.read(tank, start_ms, end_ms)  # asked at once: a server that is away says so here
        return map(self.requalified.reading, found)

    def fill(self, buckets: Buckets, tank: str, quantity: str, grid: Grid, before_ms: int) -> None:
        """Into buckets that hold nothing else yet."""
        self._older.fill(buckets, tank, quantity, grid, before_ms)
        limit_ms = min(grid.end_ms, before_ms)
        for place, (start_ms, end_ms) in enumerate(pairwise([*grid.starts(), grid.end_ms])):
            if start_ms < limit_ms and self.requalified.touches(tank, start_ms, min(end_ms, limit_ms)):
                buckets.forget(place)
                add_singly(buckets, list(self.read(tank, start_ms, min(end_ms, limit_ms))), quantity)
