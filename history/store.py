"""The contract that every store of readings keeps, and the arithmetic of trends that they share.

Knows readings, buckets and bounds; refuses to know files, servers and threads. All methods are plain calls that may
take their time: the daemon calls them in worker threads (`history.writer`, `history.readers`).
"""

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING, Final, NamedTuple, Protocol

import numpy as np
from numpy.typing import NDArray

from history.errors import BadQuestion
from models.reading import QUANTITY, Quantity, Reading

if TYPE_CHECKING:
    from history.requalify import Requalified

LEAST_POINTS: Final = 10
MOST_POINTS: Final = 2000
MOST_SPAN_MS: Final = 100 * 366 * 86_400_000
MINUTE_MS: Final = 60_000
HOUR_MS: Final = 3_600_000

Ints = NDArray[np.int64]
Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

COUNTS_WHEN_BAD: Final = frozenset({"current_mA", "temperature_degC"})
"""What was measured beside the level stays true while the level is Bad; everything else counts only with its level."""


class Trend(NamedTuple):
    """A quantity over time in buckets of equal length.

    t: the first millisecond of each bucket. min, mean, max: of the values that count in it, None where there is none.
    good: share 0..1 of the bucket's readings whose level is Good; 0.0 where all are Bad (then the figures are None too,
    but for current and temperature), None where there is no reading at all.
    """

    unit: str
    t: tuple[int, ...]
    min: tuple[float | None, ...]
    mean: tuple[float | None, ...]
    max: tuple[float | None, ...]
    good: tuple[float | None, ...]


class Store(Protocol):
    """Readings of a site's tanks, to the fixed decimals of `models.reading.QUANTITIES`.

    The key of a reading is (tank, seq); its time may repeat or step back and nothing is lost or doubled by that. All
    methods may be called from several threads; appends come from one. Any of them raises `StoreUnavailable` (a retry
    may help) or another `StoreError` (it does not).
    """

    def append(self, readings: Sequence[Reading]) -> None:
        """Keep a batch in one transaction; within a tank, seq must rise over all that is stored.

        Raises `PointsRejected` when some can never be kept (seq not above the tank's last, a time before 1970, NaN, a
        figure of no tank): the others are kept then. With every other error none of the batch is.
        """

    def read(self, tank: str, start_ms: int, end_ms: int) -> Iterator[Reading]:
        """The readings with start_ms <= time_ms < end_ms in the order of seq; none for an unknown tank.

        Shows what was kept when it was called. The iterator may be left at any point.
        """

    def latest(self, tank: str) -> Reading | None:
        """The reading of the highest seq."""

    def latest_good(self, tank: str) -> Reading | None:
        """The reading of the highest seq among those whose level is Good."""

    def trend(self, tank: str, quantity: str, start_ms: int, span_ms: int, points: int) -> Trend:
        """A column of `QUANTITIES` in `points` (10 to 2000) buckets of `span_ms` / `points`.

        Edges are exact to 1 ms; where a bucket is longer than two minutes (two hours) they lie on whole minutes (hours)
        of UTC, as `t` tells. Figures are those of the single readings, never of an approximation. Raises `BadQuestion`.
        """

    def requalify(self, found: "Requalified") -> None:
        """From now on every answer tells the readings of these stretches as found bad afterwards, in place of others.

        A trend's minutes and hours that a stretch touches come from single readings; where only roll-ups are left they
        count as a whole.
        """

    def last_seq(self) -> int:
        """The highest seq of all tanks, 0 in an empty store."""

    def close(self) -> None:
        """Let go of everything. Twice is harmless; any other call afterwards raises `StoreError`."""


class Grid(NamedTuple):
    """`points` buckets over [start_ms, start_ms + span_ms), told apart by whole numbers only.

    unit_ms: what the edges are rounded to, outward at both ends: 1, or a minute or an hour where buckets are longer
    than two of them, so that a month or a year is answered from roll-ups, exactly.
    """

    start_ms: int
    span_ms: int
    points: int
    unit_ms: int = 1

    @property
    def first_ms(self) -> int:
        """The first millisecond that is in a bucket."""
        return self.start_ms // self.unit_ms * self.unit_ms

    @property
    def end_ms(self) -> int:
        """The first millisecond after the last bucket."""
        return -(-(self.start_ms + self.span_ms) // self.unit_ms) * self.unit_ms

    def starts(self) -> tuple[int, ...]:
        """The first millisecond of each bucket."""
        unit = self.unit_ms
        if unit == 1:  # the least t with (t - start) x points >= i x span, so the quotient is rounded up
            return tuple(self.start_ms - (-i * self.span_ms // self.points) for i in range(self.points))
        return tuple((self.start_ms + i * self.span_ms // self.points) // unit * unit for i in range(self.points))


class Buckets:
    """What is known of each bucket of a grid, in whole scaled numbers: sums of them are exact in any order."""

    def __init__(self, grid: Grid) -> None:
        self._grid = grid
        self._starts = np.array(grid.starts(), np.int64)
        self._readings, self._good, self._values, self._total = np.zeros((4, grid.points), np.int64)
        self._least = np.full(grid.points, np.iinfo(np.int64).max)
        self._most = np.full(grid.points, np.iinfo(np.int64).min)

    def add(
        self, time_ms: Ints, readings: Ints, good: Ints, values: Ints, total: Ints, least: Ints, most: Ints
    ) -> None:
        """Stretches that each lie in one bucket, by any of their times: how many readings, how many Good, the figure.

        Those outside of the grid are left out; `total`, `least` and `most` of a stretch without values do not matter.
        """
        inside = (time_ms >= self._grid.first_ms) & (time_ms < self._grid.end_ms)
        bucket = np.searchsorted(self._starts, time_ms[inside], side="right") - 1
        np.add.at(self._readings, bucket, readings[inside])
        np.add.at(self._good, bucket, good[inside])
        counted = values[inside] > 0
        filled = bucket[counted]
        np.add.at(self._values, filled, values[inside][counted])
        np.add.at(self._total, filled, total[inside][counted])
        np.minimum.at(self._least, filled, least[inside][counted])
        np.maximum.at(self._most, filled, most[inside][counted])

    def add_readings(self, time_ms: Ints, quality: Ints, figure: Ints, counts: Flags) -> None:
        """Single readings in any order; `counts`: whether the figure of a reading counts in a trend."""
        if not len(time_ms):
            return
        if (np.diff(time_ms) < 0).any():
            order = np.argsort(time_ms, kind="stable")
            time_ms, quality, figure, counts = time_ms[order], quality[order], figure[order], counts[order]
        low, high = np.searchsorted(time_ms, (self._grid.first_ms, self._grid.end_ms))
        time_ms, quality, figure = time_ms[low:high], quality[low:high], figure[low:high]
        counts = counts[low:high]
        if not len(time_ms):
            return
        edges = np.searchsorted(time_ms, self._starts)
        bucket = np.flatnonzero(np.diff(edges, append=len(time_ms)))
        at = edges[bucket]
        one = np.add.reduceat(counts.astype(np.int64), at)
        self.add(
            time_ms[at],
            np.diff(at, append=len(time_ms)),
            np.add.reduceat((quality == 0).astype(np.int64), at),
            one,
            np.add.reduceat(np.where(counts, figure, 0), at),
            np.minimum.reduceat(np.where(counts, figure, np.iinfo(np.int64).max), at),
            np.maximum.reduceat(np.where(counts, figure, np.iinfo(np.int64).min), at),
        )

    def forget(self, place: int) -> None:
        """Empty one bucket, to fill it anew."""
        for counted in (self._readings, self._good, self._values, self._total):
            counted[place] = 0
        self._least[place], self._most[place] = np.iinfo(np.int64).max, np.iinfo(np.int64).min

    def trend(self, quantity: Quantity) -> Trend:
        """The buckets as a trend; one without a reading is a gap."""
        factor = 10**quantity.decimals
        some, read = self._values > 0, self._readings > 0
        number = np.where(some, self._values, 1)
        mean = self._total / (number * factor)
        return Trend(
            quantity.unit,
            tuple(self._starts.tolist()),
            _told(self._least / factor, some),
            _told(mean, some),
            _told(self._most / factor, some),
            _told(self._good / np.where(read, self._readings, 1), read),
        )


def _told(values: Floats, known: Flags) -> tuple[float | None, ...]:
    if known.all():
        return tuple(values.tolist())
    return tuple(value if told else None for value, told in zip(values.tolist(), known.tolist(), strict=True))


def grid_of(quantity: str, start_ms: int, span_ms: int, points: int) -> tuple[Quantity, Grid]:
    """The quantity and the buckets of a question, or `BadQuestion` with what is allowed."""
    known = QUANTITY.get(quantity)
    if known is None:
        raise BadQuestion(f"no quantity is called {quantity!r}; there are {', '.join(QUANTITY)}")
    if not LEAST_POINTS <= points <= MOST_POINTS:
        raise BadQuestion(f"{points} points asked for; allowed are {LEAST_POINTS} to {MOST_POINTS}")
    if not points <= span_ms <= MOST_SPAN_MS:
        raise BadQuestion(
            f"a span of {span_ms} ms in {points} points; allowed are {points} ms (1 ms a point) to 100 years"
        )
    unit_ms = next((unit for unit in (HOUR_MS, MINUTE_MS) if span_ms >= 2 * unit * points), 1)
    return known, Grid(start_ms, span_ms, points, unit_ms)
