"""A store that forgets when the program ends: for tests, for replay, and as the plainest statement of the contract.

It grows with every reading. Figures are rounded to their fixed decimals just as in a file.
"""

import threading
from collections.abc import Iterator, Sequence

import numpy as np

from history.errors import PointsRejected, StoreError
from history.requalify import AS_MEASURED, Requalified
from history.scale import not_above, rounded, scaled
from history.store import COUNTS_WHEN_BAD, Buckets, Trend, grid_of
from models.reading import QUANTITY, Quality, Reading


class MemoryStore:
    """See `history.store.Store`."""

    def __init__(self) -> None:
        self._tanks: dict[str, list[Reading]] = {}
        self._lock = threading.Lock()
        self._closed = False
        self._requalified = AS_MEASURED

    def append(self, readings: Sequence[Reading]) -> None:
        refused: dict[int, str] = {}
        accepted: list[int] = []
        with self._lock:
            self._check_open()
            for index, reading in enumerate(readings):
                kept = self._tanks.get(reading.tank)
                if kept and reading.seq <= kept[-1].seq:
                    refused[index] = not_above(reading, kept[-1].seq)
                    continue
                try:
                    exact = rounded(reading)
                except ValueError as exc:
                    refused[index] = str(exc)
                    continue
                self._tanks.setdefault(reading.tank, []).append(exact)
                accepted.append(index)
        if refused:
            raise PointsRejected(refused, tuple(accepted))

    def read(self, tank: str, start_ms: int, end_ms: int) -> Iterator[Reading]:
        return (reading for reading in self._kept(tank) if start_ms <= reading.time_ms < end_ms)

    def requalify(self, found: Requalified) -> None:
        self._requalified = found

    def latest(self, tank: str) -> Reading | None:
        kept = self._kept(tank)
        return kept[-1] if kept else None

    def latest_good(self, tank: str) -> Reading | None:
        return next((reading for reading in reversed(self._kept(tank)) if reading.quality is Quality.GOOD), None)

    def trend(self, tank: str, quantity: str, start_ms: int, span_ms: int, points: int) -> Trend:
        known, grid = grid_of(quantity, start_ms, span_ms, points)
        buckets = Buckets(grid)
        add_singly(buckets, list(self.read(tank, grid.first_ms, grid.end_ms)), quantity)
        return buckets.trend(known)

    def last_seq(self) -> int:
        with self._lock:
            self._check_open()
            return max((kept[-1].seq for kept in self._tanks.values()), default=0)

    def close(self) -> None:
        self._closed = True

    def _kept(self, tank: str) -> tuple[Reading, ...]:
        with self._lock:
            self._check_open()
            return tuple(self._requalified.reading(reading) for reading in self._tanks.get(tank, ()))

    def _check_open(self) -> None:
        if self._closed:
            raise StoreError("the store in memory was closed before this call")


def add_singly(buckets: Buckets, readings: Sequence[Reading], quantity: str) -> None:
    """One column of single readings into the buckets of a trend."""
    decimals = QUANTITY[quantity].decimals
    figures = [getattr(reading, quantity) for reading in readings]
    when_bad = quantity in COUNTS_WHEN_BAD
    counts = [
        value is not None and (when_bad or reading.quality is not Quality.BAD)
        for value, reading in zip(figures, readings, strict=True)
    ]
    buckets.add_readings(
        np.array([reading.time_ms for reading in readings], np.int64),
        np.array([int(reading.quality) for reading in readings], np.int64),
        np.array([0 if value is None else scaled(value, decimals) for value in figures], np.int64),
        np.array(counts, np.bool_),
    )
