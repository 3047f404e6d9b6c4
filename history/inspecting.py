"""What a file of readings holds and whether it is sound: sizes by tank and kind, every block decoded and compared.

Knows tables and blocks; refuses to change anything. A check goes on after a fault, so that each one is named.
"""

import sqlite3
from collections.abc import Callable, Iterator
from typing import Final, NamedTuple

import numpy as np

from history.block import FIGURES
from history.errors import StoreDamaged
from history.files import structure_of
from history.layout import ROLL_UP
from history.rollup import Cells, Counts, roll_up
from history.sealed import HOURS, MINUTES, UNITS, Block, Sealed

KINDS: Final = ("columns", "minutes", "hours")
"""What a block is made of: its single readings, its roll-ups by the minute, those by the hour."""


class TankSize(NamedTuple):
    """One tank in the file. Bytes of what is sealed by `KINDS`; thinned: readings of which only roll-ups are left.

    freed: bytes and readings of blocks that a retention would thin.
    """

    tank: str
    oldest_ms: int
    newest_ms: int
    fresh: int
    sealed: int
    thinned: int
    bytes_of: tuple[int, int, int]
    freed_bytes: int
    freed_readings: int


class FileSize(NamedTuple):
    """The file as a whole. fresh_bytes: of the tables of what is not sealed yet, all tanks together."""

    tanks: list[TankSize]
    file_bytes: int
    fresh_bytes: int


def sizes(connection: sqlite3.Connection, before_ms: int | None) -> FileSize:
    """before_ms: the time before which single readings are no longer wanted; None where they are kept for good."""
    tanks = []
    for tank_id, name in connection.execute("SELECT id, name FROM tank ORDER BY name").fetchall():
        rows = connection.execute(
            "SELECT count(*), min(time_ms), max(time_ms) FROM reading WHERE tank = ? AND seq > (SELECT sealed_seq FROM "
            "tank WHERE id = ?)",
            (tank_id, tank_id),
        ).fetchone()
        blocks = connection.execute(
            "SELECT coalesce(sum(readings * (thinned = 0)), 0), coalesce(sum(readings * thinned), 0), min(first_ms), "
            "max(last_ms) FROM block WHERE tank = ?",
            (tank_id,),
        ).fetchone()
        times = [ms for ms in (*rows[1:], *blocks[2:]) if ms is not None]
        if not times:
            continue
        found = connection.execute(
            "SELECT CASE WHEN name LIKE 'm:%' THEN 1 WHEN name LIKE 'h:%' THEN 2 ELSE 0 END, sum(length(data)), "
            "sum(length(data) * (last_ms < ?2 AND span = 'day')), sum(readings * (last_ms < ?2 AND span = 'day') * "
            "(name = 'seq')) FROM block JOIN part ON part.block = block.id WHERE tank = ?1 AND damaged = '' GROUP BY 1",
            (tank_id, -1 if before_ms is None else before_ms),
        ).fetchall()
        columns, minutes, hours = (next((size for kind, size, *_ in found if kind == k), 0) for k in range(3))
        freed, freed_readings = next(((row[2], row[3]) for row in found if row[0] == 0), (0, 0))
        bytes_of = columns, minutes, hours
        oldest_ms, newest_ms, (kept, thinned) = min(times), max(times), blocks[:2]
        tanks.append(TankSize(name, oldest_ms, newest_ms, rows[0], kept, thinned, bytes_of, freed, freed_readings))
    pages = connection.execute("PRAGMA page_count").fetchone()[0] * connection.execute("PRAGMA page_size").fetchone()[0]
    fresh = connection.execute("SELECT sum(pgsize) FROM dbstat WHERE name IN ('reading', 'minute')").fetchone()[0]
    return FileSize(tanks, pages, fresh or 0)


class Fault(NamedTuple):
    """Something in the file that is not as it was written. where: empty for the file as a whole."""

    where: str
    what: str


def count(connection: sqlite3.Connection) -> int:
    """How many blocks there are to look at."""
    return int(connection.execute("SELECT count(*) FROM block").fetchone()[0])


def faults(connection: sqlite3.Connection, sealed: Sealed, step: Callable[[float], None]) -> Iterator[Fault]:
    """Every block decoded, checksums and all; roll-ups worked out anew; then the structure of the file itself."""
    for tank_id, name in connection.execute("SELECT id, name FROM tank ORDER BY name").fetchall():
        last = 0
        for block in sealed.blocks(connection, tank_id):
            where = f"tank {name}, {block}"
            if block.first_seq <= last:
                yield Fault(where, f"overlaps the block before it, which ends with seq {last}")
            last = block.last_seq
            if block.damaged:
                yield Fault(where, f"was set aside: {block.damaged}")
            else:
                yield from (Fault(where, what) for what in _wrong(connection, sealed, block))
            step(1)
        yield from (Fault(f"tank {name}", what) for what in _fresh(connection, tank_id))
    yield from (Fault("", told) for told in structure_of(connection))


def _wrong(connection: sqlite3.Connection, sealed: Sealed, block: Block) -> Iterator[str]:
    try:
        if block.thinned:
            for prefix in (MINUTES, HOURS):
                for name in FIGURES:
                    sealed.roll_up_of(connection, block, prefix, name)
            return
        columns = sealed.columns(connection, block)
        if len(columns) != block.readings:
            yield f"holds {len(columns)} readings, not {block.readings}"
        if (np.diff(columns.seq) <= 0).any() or (columns.seq[0], columns.seq[-1]) != (block.first_seq, block.last_seq):
            yield "its seqs are not those that it is kept under"
        if (columns.time_ms.min(), columns.time_ms.max()) != (block.first_ms, block.last_ms):
            yield "its times are not those that it is kept under"
        for prefix, unit_ms in UNITS.items():
            expected = roll_up(columns, unit_ms)
            for name in FIGURES:
                kept = sealed.roll_up_of(connection, block, prefix, name)
                if kept is not None and not _same(kept, (expected.counts, expected.cells[name])):
                    yield f"its roll-up {prefix}:{name} does not add up to its readings"
                    return
    except StoreDamaged as error:
        yield str(error).removeprefix(f"{block}: ")


def _same(kept: tuple[Counts, Cells], expected: tuple[Counts, Cells]) -> bool:
    pairs = [*zip(kept[0], expected[0], strict=True), *zip(kept[1], expected[1], strict=True)]
    return all(np.array_equal(one, other) for one, other in pairs)


def _fresh(connection: sqlite3.Connection, tank_id: int) -> Iterator[str]:
    """The roll-ups by the minute of what is not sealed yet, against its rows."""
    stretches = connection.execute(
        "SELECT * FROM minute WHERE tank = ? AND first_seq > (SELECT sealed_seq FROM tank WHERE id = ?) "
        "ORDER BY first_seq",
        (tank_id, tank_id),
    ).fetchall()
    again = ROLL_UP.removeprefix("INSERT INTO minute ")
    for stretch in stretches:
        first_seq, last_seq = stretch[2], stretch[3]
        if connection.execute(again, (tank_id, first_seq - 1, last_seq)).fetchone() != stretch:
            yield f"the minute of seq {first_seq} to {last_seq} does not add up to its readings"
