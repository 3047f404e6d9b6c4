"""Readings in one SQLite file beside the daemon.

Knows how rows are laid out and rolled up; refuses to know what is told outside. Whole numbers in a table clustered by
(tank, seq); time is found through `minute`, a roll-up of each stretch of a tank's readings inside of one clock minute:
its first and last seq, and per figure the count, sum, least and most. So a month is read from 43 200 rows, a time range
needs no second index, and a clock that steps back only opens another stretch of the same minute. A stretch is rolled
up, by SQL from the rows themselves, in the transaction that brings the first reading of the next one; until then its
rows (those above `tank.closed_seq`) are read singly.
"""

import sqlite3
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any, Final, NamedTuple, Self

from history.errors import PointsRejected, StoreDamaged
from history.files import Layout, SqliteFile
from history.scale import COLUMN_OF, COLUMNS, not_above, reading_of, row_of
from history.store import COUNTS_WHEN_BAD, Cell, Grid, Trend, grid_of, trend_of
from models.reading import QUANTITIES, Reading

FORMAT: Final = 1
MINUTE_MS: Final = 60_000
CHUNK: Final = 4000
NEAR_SEQ: Final = 600
"""Two stretches with fewer seqs between them are read in one go; rows of another time between them are passed over."""


def _counted(column: str) -> str:
    """The figure where it counts in a trend, else NULL."""
    scaled = COLUMN_OF[column]
    return scaled if column in COUNTS_WHEN_BAD else f"CASE WHEN quality < 2 THEN {scaled} END"


_FIGURES: Final = tuple(q.column for q in QUANTITIES)
_SCHEMA: Final = (
    "CREATE TABLE tank (id INTEGER PRIMARY KEY, name TEXT NOT NULL UNIQUE, closed_seq INTEGER NOT NULL DEFAULT 0, "
    "good_seq INTEGER)",
    f"CREATE TABLE reading (tank INTEGER NOT NULL, {', '.join(f'{c} INTEGER' for c in COLUMNS)}, "
    "PRIMARY KEY (tank, seq)) WITHOUT ROWID",
    "CREATE TABLE minute (tank INTEGER NOT NULL, minute INTEGER NOT NULL, first_seq INTEGER NOT NULL, "
    "last_seq INTEGER NOT NULL, readings INTEGER NOT NULL, good INTEGER NOT NULL, "
    + ", ".join(f"{c}_values INTEGER, {c}_total INTEGER, {c}_least INTEGER, {c}_most INTEGER" for c in _FIGURES)
    + ", PRIMARY KEY (tank, minute, first_seq)) WITHOUT ROWID",
    # For people with a SQLite shell: the same figures in their units.
    "CREATE VIEW readings AS SELECT tank.name AS tank, seq, time_ms, quality, reason, stock_quality, bound, "  # noqa: S608
    + ", ".join(f"{COLUMN_OF[q.column]} / 1e{q.decimals} AS {q.column}" for q in QUANTITIES)
    + " FROM reading JOIN tank ON tank.id = reading.tank",
)
LAYOUT: Final = Layout("store of readings", 0x67685264, FORMAT, _SCHEMA, "NORMAL")

# Every SQL text below is put together from the constants above; values always come as parameters.
_INSERT: Final = f"INSERT INTO reading (tank, {', '.join(COLUMNS)}) VALUES (?{', ?' * len(COLUMNS)})"  # noqa: S608
_SELECT: Final = f"SELECT {', '.join(COLUMNS)} FROM reading WHERE tank = ?1"  # noqa: S608
_NEWEST: Final = "AND ?2 IS NOT NULL ORDER BY seq DESC LIMIT 1"
_NEWEST_GOOD: Final = "AND seq > ?2 AND quality = 0 ORDER BY seq DESC LIMIT 1"
_LAST_GOOD: Final = "AND seq <= ?2 AND seq = (SELECT good_seq FROM tank WHERE id = ?1)"
_ROLL_UP: Final = (
    "INSERT INTO minute SELECT tank, min(time_ms) / 60000, min(seq), max(seq), count(*), sum(quality = 0), "  # noqa: S608
    + ", ".join(f"count({v}), sum({v}), min({v}), max({v})" for v in map(_counted, _FIGURES))
    + " FROM reading WHERE tank = ? AND seq > ? AND seq <= ? GROUP BY tank"
)


class _Tank(NamedTuple):
    """Where a tank's rows end: rows above `closed_seq` are not rolled up yet and lie in one minute."""

    id: int
    closed_seq: int
    last_seq: int
    minute: int


class SqliteStore:
    """See `history.store.Store`. One process writes; any number read the same file with `read_only`."""

    def __init__(self, file: SqliteFile) -> None:
        self._file = file
        self._tanks: dict[str, _Tank] = {}

    @classmethod
    def open(cls, path: Path, site: str, *, read_only: bool = False) -> Self:
        """Raises `WrongStore`, `StoreBusy`, `StoreUnavailable` or `StoreDamaged`."""
        return cls(SqliteFile(path, LAYOUT, site, writer=not read_only))

    def append(self, readings: Sequence[Reading]) -> None:
        refused: dict[int, str] = {}
        accepted: list[int] = []
        try:
            with self._file.writing() as connection:
                rows: dict[str, list[tuple[Any, ...]]] = {}
                for index, reading in enumerate(readings):
                    why = self._take(connection, reading, rows)
                    if why is None:
                        accepted.append(index)
                    else:
                        refused[index] = why
                ends = {name: _write(connection, self._tanks[name], rows[name]) for name in rows}
        except BaseException:
            self._tanks.clear()  # learnt from a transaction that is undone
            raise
        self._tanks.update(ends)
        if refused:
            raise PointsRejected(refused, tuple(accepted))

    def _take(
        self, connection: sqlite3.Connection, reading: Reading, rows: dict[str, list[tuple[Any, ...]]]
    ) -> str | None:
        """Put a reading's row among those to write, or say why it can never be kept."""
        name = reading.tank
        try:
            row = row_of(reading)
        except ValueError as exc:
            return str(exc)
        taken = rows.get(name)
        if taken is None:
            tank = self._tanks.get(name)
            if tank is None:
                tank = self._tanks[name] = _tank(connection, name)
            last_seq = tank.last_seq
        else:
            last_seq = taken[-1][0]
        if reading.seq <= last_seq:
            return not_above(reading, last_seq)
        rows.setdefault(name, []).append(row)
        return None

    def read(self, tank: str, start_ms: int, end_ms: int) -> Iterator[Reading]:
        with self._file.reading() as connection:
            found = _find(connection, tank)
            ranges = [] if found is None else _ranges(connection, *found, start_ms, end_ms)
        return self._read(tank, 0 if found is None else found[0], ranges, start_ms, end_ms)

    def _read(
        self, tank: str, tank_id: int, ranges: list[tuple[int, int]], start_ms: int, end_ms: int
    ) -> Iterator[Reading]:
        """By chunks, each a query of its own: nothing is held open while the caller thinks."""
        query = f"{_SELECT} AND seq >= ?2 AND seq <= ?3 AND time_ms >= ?4 AND time_ms < ?5 ORDER BY seq LIMIT {CHUNK}"
        for first_seq, last_seq in ranges:
            while first_seq <= last_seq:
                with self._file.reading() as connection:
                    rows = connection.execute(query, (tank_id, first_seq, last_seq, start_ms, end_ms)).fetchall()
                yield from (self._reading(tank, row) for row in rows)
                if len(rows) < CHUNK:
                    break
                first_seq = rows[-1][0] + 1

    def latest(self, tank: str) -> Reading | None:
        return self._one(tank, _NEWEST)

    def latest_good(self, tank: str) -> Reading | None:
        return self._one(tank, _NEWEST_GOOD, _LAST_GOOD)

    def _one(self, tank: str, *conditions: str) -> Reading | None:
        """The first reading found by any of the conditions, in their order."""
        with self._file.reading() as connection:
            found = _find(connection, tank)
            if found is None:
                return None
            for condition in conditions:
                row = connection.execute(f"{_SELECT} {condition}", found).fetchone()
                if row:
                    return self._reading(tank, row)
        return None

    def _reading(self, tank: str, row: Sequence[Any]) -> Reading:
        try:
            return reading_of(tank, row)
        except (IndexError, TypeError) as exc:
            raise StoreDamaged(
                f"{LAYOUT.what} {self._file.path}: tank {tank}, seq {row[0]} holds a code that no program of this "
                f"format wrote; put a good copy of the file in its place"
            ) from exc

    def trend(self, tank: str, quantity: str, start_ms: int, span_ms: int, points: int) -> Trend:
        known, grid = grid_of(quantity, start_ms, span_ms, points)
        cells: dict[int, Cell] = {}
        with self._file.reading() as connection:
            found = _find(connection, tank)
            if found is not None:
                for bucket, *numbers in _cells(connection, *found, quantity, grid):
                    cell = Cell(*(number or 0 for number in numbers))
                    cells[bucket] = cells[bucket].plus(cell) if bucket in cells else cell
        return trend_of(known, grid, cells)

    def last_seq(self) -> int:
        with self._file.reading() as connection:
            last = connection.execute("SELECT max((SELECT max(seq) FROM reading WHERE tank = id)) FROM tank").fetchone()
        return last[0] or 0

    def close(self) -> None:
        self._file.close()


def _find(connection: sqlite3.Connection, name: str) -> tuple[int, int] | None:
    """The number of a tank and the seq up to which it is rolled up; None for a tank that has no rows."""
    found = connection.execute("SELECT id, closed_seq FROM tank WHERE name = ?", (name,))
    row: tuple[int, int] | None = found.fetchone()
    return row


def _tank(connection: sqlite3.Connection, name: str) -> _Tank:
    """Where the rows of a tank end, from the file; an unknown tank is entered."""
    connection.execute("INSERT INTO tank (name) VALUES (?) ON CONFLICT DO NOTHING", (name,))
    tank_id, closed_seq = connection.execute("SELECT id, closed_seq FROM tank WHERE name = ?", (name,)).fetchone()
    last = connection.execute(
        "SELECT seq, time_ms FROM reading WHERE tank = ? ORDER BY seq DESC LIMIT 1", (tank_id,)
    ).fetchone()
    last_seq, time_ms = last or (0, -1)
    return _Tank(tank_id, closed_seq, last_seq, time_ms // MINUTE_MS)


def _write(connection: sqlite3.Connection, tank: _Tank, rows: list[tuple[Any, ...]]) -> _Tank:
    """Write a tank's rows and roll up every stretch that they bring to its end."""
    connection.executemany(_INSERT, [(tank.id, *row) for row in rows])
    tank_id, closed_seq, last_seq, minute = tank
    for row in rows:
        new_minute = row[1] // MINUTE_MS
        if new_minute != minute and last_seq > closed_seq:
            connection.execute(_ROLL_UP, (tank_id, closed_seq, last_seq))
            closed_seq = last_seq
        last_seq, minute = row[0], new_minute
    if closed_seq != tank.closed_seq:
        connection.execute(
            "UPDATE tank SET closed_seq = ?, good_seq = coalesce((SELECT max(seq) FROM reading WHERE tank = ? "
            "AND seq > ? AND seq <= ? AND quality = 0), good_seq) WHERE id = ?",
            (closed_seq, tank_id, tank.closed_seq, closed_seq, tank_id),
        )
    return _Tank(tank_id, closed_seq, last_seq, minute)


def _ranges(
    connection: sqlite3.Connection, tank_id: int, closed_seq: int, start_ms: int, end_ms: int
) -> list[tuple[int, int]]:
    """Rising, disjoint ranges of seq that hold all rows of a time range, and few others."""
    found = connection.execute(
        "SELECT first_seq, last_seq FROM minute WHERE tank = ? AND minute >= ? AND minute <= ? ORDER BY first_seq",
        (tank_id, start_ms // MINUTE_MS, (end_ms - 1) // MINUTE_MS),
    ).fetchall()
    last = connection.execute("SELECT max(seq) FROM reading WHERE tank = ?", (tank_id,)).fetchone()[0] or 0
    if last > closed_seq:
        found.append((closed_seq + 1, last))
    ranges: list[tuple[int, int]] = []
    for first_seq, last_seq in found:
        if ranges and first_seq - ranges[-1][1] < NEAR_SEQ:
            ranges[-1] = (ranges[-1][0], last_seq)
        else:
            ranges.append((first_seq, last_seq))
    return ranges


_BUCKET: Final = "({} - :start) * :points / :span"
_WHOLE: Final = (
    "(minute >= :whole_first AND minute < :whole_end AND "
    f"{_BUCKET.format('minute * 60000')} = {_BUCKET.format('(minute * 60000 + 59999)')})"
)
_MINUTES: Final = "tank = :tank AND minute >= :first AND minute <= :last"


def _cells(connection: sqlite3.Connection, tank_id: int, closed_seq: int, quantity: str, grid: Grid) -> Iterator[Any]:
    """(bucket, *cell) rows that together hold each reading of the span once; a bucket may come several times.

    Where buckets are long, a minute that lies in one bucket comes from its roll-up; all other readings come singly.
    """
    values = {
        "tank": tank_id, "closed": closed_seq, "start": grid.start_ms, "end": grid.end_ms,
        "points": grid.points, "span": grid.span_ms,
        "first": grid.start_ms // MINUTE_MS, "last": (grid.end_ms - 1) // MINUTE_MS,
        "whole_first": -(-grid.start_ms // MINUTE_MS), "whole_end": grid.end_ms // MINUTE_MS,
    }  # fmt: skip
    value = _counted(quantity)
    rows = (
        f"SELECT {_BUCKET.format('time_ms')}, count(*), sum(quality = 0), count({value}), sum({value}), "  # noqa: S608
        f"min({value}), max({value}) FROM "
    )
    within = "time_ms >= :start AND time_ms < :end GROUP BY 1"
    singly = _MINUTES
    if grid.span_ms >= 2 * MINUTE_MS * grid.points:
        singly = f"{_MINUTES} AND NOT {_WHOLE}"
        yield from connection.execute(
            f"SELECT {_BUCKET.format('minute * 60000')}, sum(readings), sum(good), sum({quantity}_values), "  # noqa: S608
            f"sum({quantity}_total), min({quantity}_least), max({quantity}_most) FROM minute "
            f"WHERE {_MINUTES} AND {_WHOLE} GROUP BY 1",
            values,
        )
    stretches = f"(SELECT first_seq, last_seq FROM minute WHERE {singly})"  # noqa: S608
    yield from connection.execute(
        f"{rows} {stretches} CROSS JOIN reading ON tank = :tank AND seq >= first_seq AND seq <= last_seq "
        f"WHERE {within}",
        values,
    )
    yield from connection.execute(f"{rows} reading WHERE tank = :tank AND seq > :closed AND {within}", values)
