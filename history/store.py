"""The contract that every store of readings keeps, and the arithmetic of trends that they share.

Knows readings, buckets and bounds; refuses to know files, servers and threads. All methods are plain calls that may
take their time: the daemon calls them in worker threads (`history.writer`, `history.readers`).
"""

from collections.abc import Iterator, Mapping, Sequence
from typing import Final, NamedTuple, Protocol

from history.errors import BadQuestion
from models.reading import QUANTITY, Quantity, Reading

LEAST_POINTS: Final = 10
MOST_POINTS: Final = 2000
MOST_SPAN_MS: Final = 100 * 366 * 86_400_000

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
        """A column of `QUANTITIES` in `points` (10 to 2000) buckets of `span_ms` / `points`, edges exact to 1 ms.

        Figures are those of the single readings, never of an approximation. Raises `BadQuestion`.
        """

    def last_seq(self) -> int:
        """The highest seq of all tanks, 0 in an empty store."""

    def close(self) -> None:
        """Let go of everything. Twice is harmless; any other call afterwards raises `StoreError`."""


class Grid(NamedTuple):
    """`points` buckets over [start_ms, start_ms + span_ms), told apart by whole numbers only."""

    start_ms: int
    span_ms: int
    points: int

    @property
    def end_ms(self) -> int:
        return self.start_ms + self.span_ms

    def bucket(self, time_ms: int) -> int:
        """The bucket of a time inside of the span."""
        return (time_ms - self.start_ms) * self.points // self.span_ms

    def starts(self) -> tuple[int, ...]:
        """The first millisecond of each bucket: the least t with bucket(t) = i, so the quotient is rounded up."""
        return tuple(self.start_ms - (-i * self.span_ms // self.points) for i in range(self.points))


class Cell(NamedTuple):
    """What is known of a bucket, in whole scaled numbers: sums of them are exact in any order."""

    readings: int
    good: int
    values: int
    total: int
    least: int
    most: int

    def plus(self, other: "Cell") -> "Cell":
        readings, good = self.readings + other.readings, self.good + other.good
        if not other.values:
            return self._replace(readings=readings, good=good)
        if not self.values:
            return other._replace(readings=readings, good=good)
        return Cell(
            readings,
            good,
            self.values + other.values,
            self.total + other.total,
            min(self.least, other.least),
            max(self.most, other.most),
        )


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
    return known, Grid(start_ms, span_ms, points)


def trend_of(quantity: Quantity, grid: Grid, cells: Mapping[int, Cell]) -> Trend:
    """A trend out of its buckets' cells; a bucket without a cell is a gap."""
    factor = 10**quantity.decimals
    least: list[float | None] = [None] * grid.points
    mean, most, good = least.copy(), least.copy(), least.copy()
    for bucket, cell in cells.items():
        good[bucket] = cell.good / cell.readings
        if cell.values:
            least[bucket] = cell.least / factor
            mean[bucket] = cell.total / (cell.values * factor)
            most[bucket] = cell.most / factor
    return Trend(quantity.unit, grid.starts(), tuple(least), tuple(mean), tuple(most), tuple(good))
