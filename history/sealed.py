"""Sealed stretches in the file of readings: how they are written, merged, thinned and read back.

Knows the tables `block`, `part` and `model`; refuses to know the newest rows. Each call that writes is one short piece
of work in a transaction of the caller's. A block that cannot be read back is set aside by name and the rest goes on.
"""

import logging
import sqlite3
import zlib
from collections.abc import Iterable, Iterator, Mapping
from typing import Final, NamedTuple, Protocol

import numpy as np

from history.block import FIGURES, Columns, Deriver, pack, unpack
from history.errors import StoreDamaged
from history.rollup import Cells, Counts, pack_cells, pack_counts, roll_up, unpack_cells, unpack_counts
from history.store import HOUR_MS, MINUTE_MS

log = logging.getLogger(__name__)

HOUR: Final = "hour"
DAY: Final = "day"
MINUTES: Final = "m"
HOURS: Final = "h"
UNITS: Final[Mapping[str, int]] = {MINUTES: MINUTE_MS, HOURS: HOUR_MS}
"""Prefix of a roll-up's parts, and its unit of time in ms."""

WORTH_MINUTES: Final = 3
"""Readings a minute from which a roll-up by the minute is kept: of rarer ones it would be larger than they are."""

_HEAD: Final = ("seq", "time_ms", "status", "fine_m")
_FIELDS: Final = "id, tank, first_seq, last_seq, first_ms, last_ms, readings, span, model, thinned, damaged"


class TankModels(Protocol):
    """Where the store gets what works figures out from levels."""

    def current(self, tank: str) -> Deriver | None:
        """By the model in force; None for a tank that has none."""
        ...

    def definition(self, tank: str) -> str:
        """The model in force as a text that `earlier` can read, for any version of this program."""
        ...

    def earlier(self, tank: str, version: str, definition: str) -> Deriver | None:
        """By a model that was in force once; None where this program cannot read its definition."""
        ...


class Block(NamedTuple):
    """A sealed stretch. Times: the least and the most in it."""

    id: int
    tank: int
    first_seq: int
    last_seq: int
    first_ms: int
    last_ms: int
    readings: int
    span: str
    model: int | None
    thinned: int
    damaged: str

    def __str__(self) -> str:
        return f"block {self.id} (seq {self.first_seq} to {self.last_seq}, UTC ms {self.first_ms} to {self.last_ms})"


class Sealed:
    """The sealed stretches of a file. models: for figures that were kept as what a model leaves over."""

    def __init__(self, models: TankModels | None) -> None:
        self._models = models
        self._derivers: dict[int, Deriver | None] = {}
        self._told: set[int] = set()

    def model_of(self, connection: sqlite3.Connection, tank_id: int, tank: str, now_ms: int) -> int | None:
        """The number of the model in force; a version that is new is entered. Inside of a writing transaction."""
        deriver = None if self._models is None else self._models.current(tank)
        if deriver is None or self._models is None:
            return None
        row = connection.execute(
            "SELECT id FROM model WHERE tank = ? AND version = ?", (tank_id, deriver.version)
        ).fetchone()
        if row is None:
            row = connection.execute(
                "INSERT INTO model (tank, version, first_seen_ms, definition) VALUES (?, ?, ?, ?) RETURNING id",
                (tank_id, deriver.version, now_ms, self._models.definition(tank)),
            ).fetchone()
        number = int(row[0])
        self._derivers[number] = deriver
        return number

    def deriver(self, connection: sqlite3.Connection, model: int | None) -> Deriver | None:
        """What packed a block. None for a block without a model, or one whose model cannot be made again."""
        if model is None or self._models is None:
            return None
        if model not in self._derivers:
            row = connection.execute(
                "SELECT tank.name, version, definition FROM model JOIN tank ON tank.id = model.tank WHERE model.id = ?",
                (model,),
            ).fetchone()
            self._derivers[model] = None if row is None else self._find(*row)
        return self._derivers[model]

    def _find(self, tank: str, version: str, definition: str) -> Deriver | None:
        assert self._models is not None
        current = self._models.current(tank)
        if current is not None and current.version == version:
            return current
        return self._models.earlier(tank, version, definition)

    def write(
        self, connection: sqlite3.Connection, tank_id: int, columns: Columns, span: str, model: int | None
    ) -> None:
        """Keep a stretch with its roll-ups."""
        times = columns.time_ms
        block_id = connection.execute(
            "INSERT INTO block (tank, first_seq, last_seq, first_ms, last_ms, readings, span, model) "
            "VALUES (?, ?, ?, ?, ?, ?, ?, ?)",
            (tank_id, int(columns.seq[0]), int(columns.seq[-1]), int(times.min()), int(times.max()), len(columns), span,
             model),
        ).lastrowid  # fmt: skip
        assert block_id is not None
        parts = pack(columns, self.deriver(connection, model)) | _rolled_parts(columns, HOURS)
        if len(np.unique(times // MINUTE_MS)) * WORTH_MINUTES <= len(columns):
            parts |= _rolled_parts(columns, MINUTES)
        self._keep(connection, block_id, parts)

    def _keep(self, connection: sqlite3.Connection, block_id: int, parts: Mapping[str, bytes]) -> None:
        connection.executemany(
            "INSERT INTO part (block, name, data) VALUES (?, ?, ?)",
            [(block_id, name, _guarded(data)) for name, data in parts.items()],
        )

    def delete(self, connection: sqlite3.Connection, block: Block) -> None:
        connection.execute("DELETE FROM part WHERE block = ?", (block.id,))
        connection.execute("DELETE FROM block WHERE id = ?", (block.id,))

    def thin(self, connection: sqlite3.Connection, block: Block) -> None:
        """Let the single readings of a block go; its roll-ups stay, by the minute even where readings were as rare."""
        if not connection.execute("SELECT 1 FROM part WHERE block = ? AND name = 'm:'", (block.id,)).fetchone():
            self._keep(connection, block.id, _rolled_parts(self.columns(connection, block), MINUTES))
        connection.execute("DELETE FROM part WHERE block = ? AND name NOT LIKE '_:%'", (block.id,))
        connection.execute("UPDATE block SET thinned = 1 WHERE id = ?", (block.id,))

    def set_aside(self, connection: sqlite3.Connection, block: Block, why: str) -> None:
        """Mark a block that cannot be read: nothing merges or thins it any more. Its bytes stay, for a person."""
        connection.execute("UPDATE block SET damaged = ? WHERE id = ?", (why, block.id))

    def set_asides(self, connection: sqlite3.Connection) -> list[str]:
        """The blocks that were set aside, each with its tank and what is wrong with it."""
        rows = connection.execute(
            f"SELECT (SELECT name FROM tank WHERE id = block.tank), {_FIELDS} FROM block WHERE damaged != ''"  # noqa: S608
        )
        return [f"tank {tank}, {(block := Block._make(row))} was set aside: {block.damaged}" for tank, *row in rows]

    def blocks(
        self, connection: sqlite3.Connection, tank_id: int, start_ms: int | None = None, end_ms: int | None = None
    ) -> list[Block]:
        """Those that touch start_ms <= t < end_ms, in the order of seq."""
        rows = connection.execute(
            f"SELECT {_FIELDS} FROM block WHERE tank = ?1 AND (?2 IS NULL OR last_ms >= ?2) "  # noqa: S608
            "AND (?3 IS NULL OR first_ms < ?3) ORDER BY first_seq",
            (tank_id, start_ms, end_ms),
        )
        return [Block._make(row) for row in rows]

    def next_full(self, connection: sqlite3.Connection, tank_id: int, after: int) -> Block | None:
        """The first block that holds single readings above a seq."""
        # blocks of a tank never overlap: of those that begin by then, only the last can reach beyond
        for question in (
            f"SELECT {_FIELDS} FROM block WHERE tank = ? AND first_seq <= ? ORDER BY first_seq DESC LIMIT 1",  # noqa: S608
            f"SELECT {_FIELDS} FROM block WHERE tank = ? AND first_seq > ? AND thinned = 0 ORDER BY first_seq LIMIT 1",  # noqa: S608
        ):
            row = connection.execute(question, (tank_id, after)).fetchone()
            if row is not None and (block := Block._make(row)).last_seq > after and not block.thinned:
                return block
        return None

    def hours(self, connection: sqlite3.Connection, tank_id: int) -> list[Block]:
        """The sound blocks of single hours, in the order of seq."""
        rows = connection.execute(
            f"SELECT {_FIELDS} FROM block WHERE tank = ? AND span = 'hour' AND damaged = '' ORDER BY first_seq",  # noqa: S608
            (tank_id,),
        )
        return [Block._make(row) for row in rows]

    def full_days(self, connection: sqlite3.Connection, tank_id: int, before_ms: int) -> list[Block]:
        """The sound blocks of days that end before a time and still hold their single readings."""
        rows = connection.execute(
            f"SELECT {_FIELDS} FROM block WHERE tank = ? AND last_ms < ? AND span = 'day' AND damaged = '' "  # noqa: S608
            "AND thinned = 0 ORDER BY first_seq",
            (tank_id, before_ms),
        )
        return [Block._make(row) for row in rows]

    def columns(
        self,
        connection: sqlite3.Connection,
        block: Block,
        wanted: Iterable[str] = FIGURES,
        deriver: Deriver | None = None,
    ) -> Columns:
        """The readings of a block, with the wanted figures. Raises `StoreDamaged`; none for a thinned block."""
        wanted = tuple(wanted)
        names = {*_HEAD, *wanted, "temperature_degC", "water_m"}
        parts = self._parts(connection, block, names)
        return unpack(parts, deriver or self.deriver(connection, block.model), wanted)

    def whole(self, connection: sqlite3.Connection, block: Block, wanted: Iterable[str] = FIGURES) -> Iterator[Columns]:
        """The columns of a block, or nothing of one that is thinned or cannot be read."""
        if block.damaged:
            self.tell(block, block.damaged)
            return
        if block.thinned:
            return
        try:
            yield self.columns(connection, block, wanted)
        except StoreDamaged as error:
            self.tell(block, error)

    def rolled(
        self, connection: sqlite3.Connection, tank_id: int, start_ms: int, end_ms: int, unit: str, quantity: str
    ) -> dict[int, tuple[Counts, Cells]]:
        """The roll-ups of one figure in minutes ("m") or hours ("h") of every block that touches a time range.

        By block; a block without such a roll-up, or with one that cannot be read, is not among them.
        """
        names = f"{unit}:", f"{unit}:{quantity}"
        query = (
            "SELECT block.id, (SELECT data FROM part WHERE block = block.id AND name = ?4), "
            "(SELECT data FROM part WHERE block = block.id AND name = ?5) FROM block "
            "WHERE tank = ?1 AND last_ms >= ?2 AND first_ms < ?3 AND damaged = ''"
        )
        rows: Iterable[tuple[int, bytes | None, bytes | None]]
        try:
            rows = connection.execute(query, (tank_id, start_ms, end_ms, *names)).fetchall()
        except sqlite3.DatabaseError as exc:
            if not is_corrupt(exc):
                raise
            rows = self._rolled_singly(connection, tank_id, (start_ms, end_ms), names)
        out: dict[int, tuple[Counts, Cells]] = {}
        for block_id, counts_data, cells_data in rows:
            if counts_data is None or cells_data is None:
                continue
            try:
                counts = unpack_counts(_checked(block_id, names[0], counts_data))
                out[block_id] = counts, unpack_cells(_checked(block_id, names[1], cells_data), counts)
            except StoreDamaged as error:
                self._tell(block_id, f"block {block_id}", error)
        return out

    def _rolled_singly(
        self, connection: sqlite3.Connection, tank_id: int, times: tuple[int, int], names: tuple[str, str]
    ) -> Iterator[tuple[int, bytes | None, bytes | None]]:
        """Block by block, where a page of the file is broken: so that one of them does not hide the others."""
        for block in self.blocks(connection, tank_id, *times):
            try:
                found = {} if block.damaged else self._parts(connection, block, set(names), checked=False)
            except StoreDamaged as error:
                self.tell(block, error)
            else:
                yield block.id, found.get(names[0]), found.get(names[1])

    def roll_up_of(
        self, connection: sqlite3.Connection, block: Block, prefix: str, figure: str
    ) -> tuple[Counts, Cells] | None:
        """One figure's roll-up of a block; None where the block has none of that length. Raises `StoreDamaged`."""
        try:
            found = self._parts(connection, block, {f"{prefix}:", f"{prefix}:{figure}"})
        except StoreDamaged:
            if not block.thinned and not self._has(connection, block, f"{prefix}:"):
                return None
            raise
        counts = unpack_counts(found[f"{prefix}:"])
        return counts, unpack_cells(found[f"{prefix}:{figure}"], counts)

    def _has(self, connection: sqlite3.Connection, block: Block, name: str) -> bool:
        query = "SELECT 1 FROM part WHERE block = ? AND name = ?"
        return connection.execute(query, (block.id, name)).fetchone() is not None

    def tell(self, block: Block, why: object) -> None:
        """Say once, by name, that a block cannot be read."""
        self._tell(block.id, str(block), why)

    def _tell(self, block_id: int, name: str, why: object) -> None:
        if block_id not in self._told:
            self._told.add(block_id)
            log.error("%s cannot be read and is left out: %s; a backup may hold it", name, why)

    def _parts(
        self, connection: sqlite3.Connection, block: Block, names: set[str], *, checked: bool = True
    ) -> dict[str, bytes]:
        marks = ", ".join("?" * len(names))
        try:
            rows = connection.execute(
                f"SELECT name, data FROM part WHERE block = ? AND name IN ({marks})",  # noqa: S608
                (block.id, *sorted(names)),
            ).fetchall()
        except sqlite3.DatabaseError as exc:
            if not is_corrupt(exc):
                raise
            raise StoreDamaged(f"{block}: {exc}") from exc
        if not checked:
            return dict(rows)
        found = {name: _checked(block, name, data) for name, data in rows}
        missing = names - found.keys()
        if missing:
            raise StoreDamaged(f"{block}: {', '.join(sorted(missing))} is missing")
        return found


def is_corrupt(exc: sqlite3.DatabaseError) -> bool:
    """Whether a page of the file was not what it must be."""
    return (getattr(exc, "sqlite_errorcode", 0) & 0xFF) == sqlite3.SQLITE_CORRUPT


def _rolled_parts(columns: Columns, prefix: str) -> dict[str, bytes]:
    rolled = roll_up(columns, UNITS[prefix])
    parts = {f"{prefix}:": pack_counts(rolled.counts)}
    return parts | {f"{prefix}:{name}": pack_cells(cells, rolled.counts) for name, cells in rolled.cells.items()}


def _guarded(data: bytes) -> bytes:
    return zlib.crc32(data).to_bytes(4, "little") + data


def _checked(block: Block | int, name: str, data: object) -> bytes:
    """The bytes behind their checksum: a compressor would make other numbers of a broken byte in silence."""
    if not isinstance(data, bytes) or zlib.crc32(data[4:]).to_bytes(4, "little") != data[:4]:
        where = f"block {block}" if isinstance(block, int) else str(block)
        raise StoreDamaged(f"{where}: {name} does not match its checksum")
    return data[4:]
