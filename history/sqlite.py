"""Readings in one SQLite file beside the daemon.

Knows the newest rows and how they and the sealed stretches together answer; refuses to know what is told outside. Whole
numbers in a table clustered by (tank, seq); time is found through `minute`, a roll-up of each stretch of a tank's
readings inside of one clock minute: its first and last seq, and per figure the count, sum, least and most. So a clock
that steps back only opens another stretch of the same minute. A stretch is rolled up, by SQL from the rows themselves,
in the transaction that brings the first reading of the next one; until then its rows (those above `tank.closed_seq`)
are read singly. `tidy` seals hours that are over into compressed blocks (`history.tidying`, `history.sealed`).
"""

import sqlite3
from collections.abc import Callable, Iterable, Iterator, Sequence
from itertools import pairwise
from pathlib import Path
from typing import Any, Final, NamedTuple, Self

import numpy as np

from history.block import FIGURES, Columns, columns_of, rows_of
from history.errors import PointsRejected, StoreDamaged
from history.files import SqliteFile
from history.following import Cursor, KeptFrom, Stretch, cursor_of, following, kept_from, move, waiting
from history.inspecting import Fault, FileSize, count, faults, sizes
from history.layout import FOR_SEALING, INSERT, LAYOUT, ROLL_UP, SELECT
from history.modelled import Modelled, modelled
from history.placing import find, place_of, ranges_of
from history.requalify import AS_MEASURED, Requalified
from history.scale import not_above, reading_of, row_of
from history.sealed import DAY, Block, Sealed, TankModels
from history.store import MINUTE_MS, Buckets, Grid, Trend, grid_of
from history.tidying import DAY_MS, FOR_GOOD, Kept, Pinned, mark_sealed, merge_one, newest_ms, seal_one, thin_one
from history.trends import Asked, add_rows, add_sealed
from models.reading import GOOD, Reading

CHUNK: Final = 4000

_NEWEST: Final = "AND ?2 IS NOT NULL ORDER BY seq DESC LIMIT 1"
_NEWEST_GOOD: Final = "AND seq > ?2 AND quality = 0 ORDER BY seq DESC LIMIT 1"
_LAST_GOOD: Final = "AND seq <= ?2 AND seq = (SELECT good_seq FROM tank WHERE id = ?1)"


class _Tank(NamedTuple):
    """Where a tank's rows end: rows above `closed_seq` are not rolled up yet and lie in one minute."""

    id: int
    closed_seq: int
    last_seq: int
    minute: int
    model: int | None


class SqliteStore:
    """See `history.store.Store`. One process writes; any number read the same file with `read_only`."""

    def __init__(self, file: SqliteFile, models: TankModels | None = None) -> None:
        self._file = file
        self._sealed = Sealed(models)
        self._tanks: dict[str, _Tank] = {}
        self._requalified = AS_MEASURED

    @classmethod
    def open(cls, path: Path, site: str, *, read_only: bool = False, models: TankModels | None = None) -> Self:
        """Raises `WrongStore`, `StoreBusy`, `StoreUnavailable` or `StoreDamaged`."""
        return cls(SqliteFile(path, LAYOUT, site, writer=not read_only), models)

    @property
    def requalified(self) -> Requalified:
        """What stands found out afterwards."""
        return self._requalified

    @property
    def file(self) -> SqliteFile:
        """The file that it is kept in."""
        return self._file

    def requalify(self, found: Requalified) -> None:
        self._requalified = found

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
                tank = self._tanks[name] = self._tank(connection, name, reading.time_ms)
            last_seq = tank.last_seq
        else:
            last_seq = taken[-1][0]
        if reading.seq <= last_seq:
            return not_above(reading, last_seq)
        rows.setdefault(name, []).append((*row, reading.level_m))
        return None

    def _tank(self, connection: sqlite3.Connection, name: str, now_ms: int) -> _Tank:
        """Where the rows of a tank end, from the file; an unknown tank is entered."""
        connection.execute("INSERT INTO tank (name) VALUES (?) ON CONFLICT DO NOTHING", (name,))
        tank_id, closed_seq = connection.execute("SELECT id, closed_seq FROM tank WHERE name = ?", (name,)).fetchone()
        last = connection.execute(
            "SELECT seq, time_ms FROM reading WHERE tank = ? ORDER BY seq DESC LIMIT 1", (tank_id,)
        ).fetchone()
        last_seq, time_ms = last or (0, -1)
        model = self._sealed.model_of(connection, tank_id, name, now_ms)
        return _Tank(tank_id, closed_seq, last_seq, time_ms // MINUTE_MS, model)

    def read(self, tank: str, start_ms: int, end_ms: int) -> Iterator[Reading]:
        with self._file.reading() as connection:
            place = find(connection, tank)
            if place is None:
                return iter(())
            blocks = self._sealed.blocks(connection, place.id, start_ms, end_ms)
            ranges = ranges_of(connection, place, start_ms, end_ms)
        return self._read(tank, place.id, blocks, ranges, start_ms, end_ms)

    def _read(
        self, tank: str, tank_id: int, blocks: list[Block], ranges: list[tuple[int, int]], start_ms: int, end_ms: int
    ) -> Iterator[Reading]:
        """By blocks and chunks, each a query of its own: nothing is held open while the caller thinks.

        What was sealed, merged or thinned since it was asked is looked up anew by its seqs.
        """
        for block in blocks:
            with self._file.reading() as connection:
                rows = self._sealed_rows(connection, tank_id, (block.first_seq, block.last_seq), start_ms, end_ms)
            yield from (self._reading(tank, row) for row in rows)
        query = f"{SELECT} AND seq >= ?2 AND seq <= ?3 AND time_ms >= ?4 AND time_ms < ?5 ORDER BY seq LIMIT {CHUNK}"
        for first_seq, last_seq in ranges:
            while first_seq <= last_seq:
                with self._file.reading() as connection:
                    sealed_seq = place_of(connection, tank_id).sealed_seq
                    if sealed_seq >= first_seq:  # sealed while the caller thought
                        seqs = first_seq, min(last_seq, sealed_seq)
                        rows = self._sealed_rows(connection, tank_id, seqs, start_ms, end_ms)
                        first_seq = sealed_seq + 1
                    else:
                        rows = connection.execute(query, (tank_id, first_seq, last_seq, start_ms, end_ms)).fetchall()
                        first_seq = rows[-1][0] + 1 if len(rows) == CHUNK else last_seq + 1
                yield from (self._reading(tank, row) for row in rows)

    def _sealed_rows(
        self, connection: sqlite3.Connection, tank_id: int, seqs: tuple[int, int], start_ms: int, end_ms: int
    ) -> list[tuple[Any, ...]]:
        """The rows of a range of seqs and of times; a block that cannot be read is told and left out."""
        first_seq, last_seq = seqs
        rows: list[tuple[Any, ...]] = []
        for block in self._sealed.blocks(connection, tank_id, start_ms, end_ms):
            if block.first_seq <= last_seq and block.last_seq >= first_seq:
                for columns in self._sealed.whole(connection, block):
                    inside = (columns.seq >= first_seq) & (columns.seq <= last_seq)
                    inside &= (columns.time_ms >= start_ms) & (columns.time_ms < end_ms)
                    rows += rows_of(columns.take(inside))
        return rows

    def append_columns(self, tank: str, columns: Columns) -> int:
        """Keep a long stretch at once, sealed by days of UTC; the number of readings kept. For imports.

        Seq must rise from row to row and above all that is stored of the tank: else `PointsRejected`, and none is kept.
        What is not sealed yet of the tank is sealed before. A day is a transaction of its own.
        """
        seq, last = columns.seq, len(columns) - 1
        if last < 0:
            return 0
        with self._file.writing() as connection:
            place = self._tank(connection, tank, int(columns.time_ms[-1]))
            if int(seq[0]) <= place.last_seq or (np.diff(seq) <= 0).any() or int(columns.time_ms.min()) < 0:
                at = 0 if int(seq[0]) <= place.last_seq else int(np.argmax(np.diff(seq) <= 0)) + 1
                why = f"tank {tank}, seq {int(seq[at])}: seq must rise, and times are from 1970 on"
                raise PointsRejected({at: why}, ())
            while seal_one(connection, self._sealed, place.id, to_the_end=True):
                pass
            self._tanks.pop(tank, None)
        edges = [0, *(np.flatnonzero(np.diff(columns.time_ms // DAY_MS)) + 1).tolist(), last + 1]
        for start, end in pairwise(edges):
            with self._file.writing() as connection:
                day = columns.take(slice(start, end))
                self._sealed.write(connection, place.id, day, DAY, place.model)
                good = np.flatnonzero(day.quality == 0)
                kept = {len(day) - 1, *good[-1:].tolist()}
                rows = [(place.id, *rows_of(day.take(slice(k, k + 1)))[0], place.model, None) for k in sorted(kept)]
                connection.executemany(INSERT, rows)
                mark_sealed(connection, place.id, int(day.seq[-1]), int(day.seq[good[-1]]) if len(good) else None)
        return last + 1

    def seal(self, tank: str) -> int:
        """Seal all of a tank's rows, also those of the hour that goes on; how many blocks that made."""
        made = 0
        with self._file.writing() as connection:
            place = find(connection, tank)
            while place is not None and seal_one(connection, self._sealed, place.id, to_the_end=True):
                made += 1
        self._tanks.pop(tank, None)
        return made

    def columns(self, tank: str, start_ms: int, end_ms: int, wanted: Iterable[str] = FIGURES) -> list[Columns]:
        """The readings with start_ms <= time_ms < end_ms as columns, in the order of seq, in one or more stretches."""
        wanted = tuple(wanted)
        with self._file.reading() as connection:
            place = find(connection, tank)
            if place is None:
                return []
            found = [
                columns
                for block in self._sealed.blocks(connection, place.id, start_ms, end_ms)
                for columns in self._sealed.whole(connection, block, wanted)
            ]
            for first_seq, last_seq in ranges_of(connection, place, start_ms, end_ms):
                rows = connection.execute(FOR_SEALING, (place.id, first_seq - 1, last_seq)).fetchall()
                if rows:
                    found.append(columns_of(rows))
        inside = (columns.take((columns.time_ms >= start_ms) & (columns.time_ms < end_ms)) for columns in found)
        inside = (self._requalified.columns(tank, columns) for columns in inside)
        return [columns for columns in inside if len(columns)]

    def rows_between(self, tank: str, start_ms: int, end_ms: int) -> tuple[int, int]:
        """About how many single readings touch a time range, and how many there have been thinned to roll-ups."""
        with self._file.reading() as connection:
            place = find(connection, tank)
            if place is None:
                return 0, 0
            blocks = self._sealed.blocks(connection, place.id, start_ms, end_ms)
            ranges = ranges_of(connection, place, start_ms, end_ms)
        thinned = sum(block.readings for block in blocks if block.thinned)
        kept = sum(block.readings for block in blocks if not block.thinned)
        return kept + sum(last - first + 1 for first, last in ranges), thinned

    def latest(self, tank: str) -> Reading | None:
        return self._one(tank, _NEWEST)

    def latest_good(self, tank: str) -> Reading | None:
        found = self._one(tank, _NEWEST_GOOD, _LAST_GOOD)
        if found is None or found.quality is GOOD:
            return found
        return self._earlier_good(tank, found.seq)

    def _earlier_good(self, tank: str, seq: int) -> Reading | None:
        """The newest Good reading before a seq that no stretch has taken the trust from."""
        stretches = self._requalified.of(tank)
        outside = "".join(" AND NOT (time_ms >= ? AND time_ms < ?)" for _ in stretches)
        times = [ms for one in stretches for ms in one[:2]]
        query = f"{SELECT} AND seq < ?2 AND seq > ?3 AND quality = 0{outside} ORDER BY seq DESC LIMIT 1"
        with self._file.reading() as connection:
            place = find(connection, tank)
            if place is None:
                return None
            row = connection.execute(query, (place.id, seq, place.sealed_seq, *times)).fetchone()
            if row:
                return self._reading(tank, row)
            for block in reversed(self._sealed.blocks(connection, place.id)):
                for columns in self._sealed.whole(connection, block) if block.first_seq < seq else ():
                    quality = self._requalified.graded(tank, columns.time_ms, columns.quality)
                    good = np.flatnonzero((quality == 0) & (columns.seq < seq))
                    if len(good):
                        return self._reading(tank, rows_of(columns.take(slice(good[-1], good[-1] + 1)))[0])
        return None

    def _one(self, tank: str, *conditions: str) -> Reading | None:
        """The first reading found by any of the conditions, in their order."""
        with self._file.reading() as connection:
            found = find(connection, tank)
            if found is None:
                return None
            for condition in conditions:
                row = connection.execute(f"{SELECT} {condition}", found[:2]).fetchone()
                if row:
                    return self._reading(tank, row)
        return None

    def _reading(self, tank: str, row: Sequence[Any]) -> Reading:
        try:
            return self._requalified.reading(reading_of(tank, row))
        except (IndexError, TypeError) as exc:
            raise StoreDamaged(
                f"{LAYOUT.what} {self._file.path}: tank {tank}, seq {row[0]} holds a code that no program of this "
                f"format wrote; put a good copy of the file in its place"
            ) from exc

    def trend(self, tank: str, quantity: str, start_ms: int, span_ms: int, points: int) -> Trend:
        known, grid = grid_of(quantity, start_ms, span_ms, points)
        buckets = Buckets(grid)
        self.fill(buckets, tank, quantity, grid)
        return buckets.trend(known)

    def fill(self, buckets: Buckets, tank: str, quantity: str, grid: Grid) -> None:
        """Add what is known of a tank to the buckets of a trend."""
        with self._file.reading() as connection:
            place = find(connection, tank)
            if place is not None:
                asked = Asked(tank, quantity, grid)
                add_sealed(connection, self._sealed, self._requalified, place.id, asked, buckets)
                add_rows(connection, self._requalified, place, asked, buckets)

    def kept_from(self, tank: str) -> KeptFrom:
        """Since when there is anything of a tank, and since when every single reading."""
        with self._file.reading() as connection:
            return kept_from(connection, tank)

    def tidy(self, kept: Kept = FOR_GOOD, pinned: Sequence[Pinned] = ()) -> bool:
        """Do one piece of what is due (seal an hour, merge a day, thin) and say whether there was one."""
        with self._file.reading() as connection:
            tanks = connection.execute("SELECT id, name FROM tank").fetchall()
            newest = newest_ms(connection)
        broken: StoreDamaged | None = None
        for tank_id, name in tanks:
            here = [pin for pin in pinned if pin.tank in ("", name)]
            try:
                with self._file.writing() as connection:
                    if (
                        seal_one(connection, self._sealed, tank_id)
                        or merge_one(connection, self._sealed, tank_id)
                        or thin_one(connection, self._sealed, tank_id, newest, kept, here)
                    ):
                        return True
            except StoreDamaged as error:  # a broken page under one tank's blocks does not keep others from it
                broken = error
        if broken is not None:
            raise broken
        return False

    def following(self, after: int, most: int) -> Stretch | None:
        """The readings of all tanks that follow a seq, some at a time: see `history.following.following`."""
        with self._file.reading() as connection:
            return following(connection, self._sealed, after, most)

    def waiting(self, after: int) -> int:
        """About how many readings follow a seq."""
        with self._file.reading() as connection:
            return waiting(connection, after)

    def cursor(self, server: str) -> Cursor:
        """How far a server has got with this store's readings."""
        with self._file.reading() as connection:
            return cursor_of(connection, server)

    def move_cursor(self, server: str, to: Cursor) -> None:
        """A server has got to `to.seq`; the counts of `to` are added to those that stand."""
        with self._file.writing() as connection:
            move(connection, server, to)

    def modelled(self, tank: str, start_ms: int, end_ms: int) -> list[Modelled]:
        """The single readings of a time range with the versions of the tank's model that made them."""
        with self._file.reading() as connection:
            place = find(connection, tank)
            found = [] if place is None else list(modelled(connection, self._sealed, place, start_ms, end_ms))
        told = (one._replace(columns=self._requalified.columns(tank, one.columns)) for one in found)
        return [one for one in told if len(one.columns)]

    def set_aside(self) -> list[str]:
        """The blocks that were set aside because they cannot be read, by name and with what is wrong."""
        with self._file.reading() as connection:
            return self._sealed.set_asides(connection)

    def sizes(self, before_ms: int | None = None) -> FileSize:
        """What the file holds by tank and kind; before_ms: what thinning readings older than that would free."""
        with self._file.reading() as connection:
            return sizes(connection, before_ms)

    def faults(
        self, step: Callable[[float], None] = lambda _: None, begun: Callable[[int], None] = lambda _: None
    ) -> Iterator[Fault]:
        """Look at everything that is kept. begun: told how many blocks there are; step: told of each that is done."""
        with self._file.reading() as connection:
            begun(count(connection))
            yield from faults(connection, self._sealed, step)

    def last_seq(self) -> int:
        with self._file.reading() as connection:
            last = connection.execute("SELECT max((SELECT max(seq) FROM reading WHERE tank = id)) FROM tank").fetchone()
        return last[0] or 0

    def close(self) -> None:
        self._file.close()


def _write(connection: sqlite3.Connection, tank: _Tank, rows: list[tuple[Any, ...]]) -> _Tank:
    """Write a tank's rows and roll up every stretch that they bring to its end."""
    model = tank.model
    connection.executemany(INSERT, [(tank.id, *row[:-1], model, row[-1]) for row in rows])
    tank_id, closed_seq, last_seq, minute = tank[:4]
    for row in rows:
        new_minute = row[1] // MINUTE_MS
        if new_minute != minute and last_seq > closed_seq:
            connection.execute(ROLL_UP, (tank_id, closed_seq, last_seq))
            closed_seq = last_seq
        last_seq, minute = row[0], new_minute
    if closed_seq != tank.closed_seq:
        connection.execute(
            "UPDATE tank SET closed_seq = ?, good_seq = coalesce((SELECT max(seq) FROM reading WHERE tank = ? "
            "AND seq > ? AND seq <= ? AND quality = 0), good_seq) WHERE id = ?",
            (closed_seq, tank_id, tank.closed_seq, closed_seq, tank_id),
        )
    return _Tank(tank_id, closed_seq, last_seq, minute, model)
