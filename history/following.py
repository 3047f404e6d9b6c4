"""The readings of all tanks by seq, from newest rows and sealed blocks alike, and how far each server has got.

Knows the tables that hold them; refuses to know servers. A cursor is the highest seq that a server has taken, beside
the counts of what became of the readings: nothing is copied for it. Readings that are thinned before a cursor has
passed them are counted as dropped for that server in the very transaction that lets them go.
"""

import contextlib
import sqlite3
from typing import Final, NamedTuple

from history.block import Columns, columns_of
from history.errors import StoreDamaged
from history.layout import FOR_SEALING
from history.sealed import Block, Sealed

_LAST: Final = 2**62
"""Above every seq."""

_NEXT_ROWS: Final = f"{FOR_SEALING} LIMIT ?"


class Cursor(NamedTuple):
    """How far a server has got. sent, rejected, dropped: readings that it took, that it will never take, and that were
    gone from this store (thinned, or unreadable) before it could take them."""

    seq: int = 0
    sent: int = 0
    rejected: int = 0
    dropped: int = 0


class Stretch(NamedTuple):
    """All readings with after < seq <= last_seq, by tank. lost: how many more there were that cannot be read."""

    parts: tuple[tuple[str, Columns], ...]
    last_seq: int
    lost: int

    @property
    def readings(self) -> int:
        return sum(len(columns) for _, columns in self.parts)


class KeptFrom(NamedTuple):
    """Where a tank's readings begin, UTC ms; None where there is none. first_ms: roll-ups too; whole_ms: from there on
    every single reading is kept."""

    first_ms: int | None
    whole_ms: int | None


class _Piece(NamedTuple):
    """What comes next of one tank. end: up to which seq it is whole, None when that is all there is."""

    columns: Columns | None
    end: int | None
    lost: int = 0


def following(connection: sqlite3.Connection, sealed: Sealed, after: int, most: int) -> Stretch | None:
    """Some of what follows a seq: about `most` readings at the most, never part of a seq; None where nothing does."""
    tanks = connection.execute("SELECT id, name, sealed_seq FROM tank ORDER BY id").fetchall()
    each = max(1, most // max(1, len(tanks)))
    pieces = {name: _next_of(connection, sealed, tank_id, max(after, 0), sealed_seq, each)
              for tank_id, name, sealed_seq in tanks}  # fmt: skip
    ends = [piece.end for piece in pieces.values() if piece.end is not None]
    newest = [int(piece.columns.seq[-1]) for piece in pieces.values() if piece.columns is not None]
    if not ends and not newest:
        return None
    last_seq = min(ends) if ends else max(newest)
    parts = []
    lost = 0
    for name, piece in pieces.items():
        if piece.columns is None:
            lost += piece.lost if piece.end is not None and piece.end <= last_seq else 0
            continue
        columns = piece.columns.take(piece.columns.seq <= last_seq)
        if len(columns):
            parts.append((name, columns))
    return Stretch(tuple(parts), last_seq, lost)


def _next_of(
    connection: sqlite3.Connection, sealed: Sealed, tank_id: int, after: int, sealed_seq: int, most: int
) -> _Piece:
    """The next readings of a tank: of one block, or of the rows that are not sealed."""
    block = sealed.next_full(connection, tank_id, after)
    if block is not None:
        return _of_block(connection, sealed, block, after, most)
    rows = connection.execute(_NEXT_ROWS, (tank_id, max(after, sealed_seq), _LAST, most)).fetchall()
    if not rows:
        return _Piece(None, None)
    return _Piece(columns_of(rows), rows[-1][0] if len(rows) == most else None)


def _of_block(connection: sqlite3.Connection, sealed: Sealed, block: Block, after: int, most: int) -> _Piece:
    if block.damaged:
        sealed.tell(block, block.damaged)
        return _Piece(None, block.last_seq, block.readings)
    try:
        columns = sealed.columns(connection, block)
    except StoreDamaged as error:
        sealed.tell(block, error)
        return _Piece(None, block.last_seq, block.readings)
    following = columns.seq > after
    if int(following.sum()) > most:
        end = int(columns.seq[following][most - 1])
        return _Piece(columns.take(following & (columns.seq <= end)), end)
    return _Piece(columns.take(following), block.last_seq)


def waiting(connection: sqlite3.Connection, after: int) -> int:
    """About how many readings follow a seq: of a block that it cuts, the part by seq."""
    blocks = connection.execute(
        "SELECT total(CASE WHEN first_seq > ?1 THEN readings ELSE readings * (last_seq - ?1) / "
        "(last_seq - first_seq + 1.0) END) FROM block WHERE thinned = 0 AND last_seq > ?1",
        (after,),
    ).fetchone()[0]
    rows = connection.execute(
        "SELECT total((SELECT count(*) FROM reading WHERE tank = tank.id AND seq > max(?1, sealed_seq))) FROM tank",
        (after,),
    ).fetchone()[0]
    return int(round(blocks) + round(rows))


def kept_from(connection: sqlite3.Connection, tank: str) -> KeptFrom:
    """Since when there is anything of a tank, and since when every single reading."""
    found = connection.execute("SELECT id, sealed_seq FROM tank WHERE name = ?", (tank,)).fetchone()
    if found is None:
        return KeptFrom(None, None)
    first, thinned = connection.execute(
        "SELECT min(first_ms), max(CASE WHEN thinned THEN last_seq END) FROM block WHERE tank = ?", found[:1]
    ).fetchone()
    whole = connection.execute(
        "SELECT min(first_ms) FROM block WHERE tank = ? AND first_seq > ?", (found[0], thinned or 0)
    ).fetchone()[0]
    if whole is None:
        whole = connection.execute("SELECT min(time_ms) FROM reading WHERE tank = ? AND seq > ?", found).fetchone()[0]
    return KeptFrom(whole if first is None else first, whole)


def cursor_of(connection: sqlite3.Connection, server: str) -> Cursor:
    """How far a server has got; the very beginning for one that is new."""
    row = connection.execute("SELECT seq, sent, rejected, dropped FROM outlet WHERE server = ?", (server,)).fetchone()
    return Cursor() if row is None else Cursor._make(row)


def move(connection: sqlite3.Connection, server: str, to: Cursor) -> None:
    """Set a cursor to `to.seq`, and add to its counts. Inside of a writing transaction."""
    connection.execute(
        "INSERT INTO outlet VALUES (?, ?, ?, ?, ?) ON CONFLICT (server) DO UPDATE SET seq = excluded.seq, "
        "sent = sent + excluded.sent, rejected = rejected + excluded.rejected, dropped = dropped + excluded.dropped",
        (server, *to),
    )


def count_dropped(connection: sqlite3.Connection, sealed: Sealed, block: Block) -> None:
    """Before a block is thinned: what of it a server has not taken yet is dropped for that server."""
    for server, seq in connection.execute(
        "SELECT server, seq FROM outlet WHERE seq < ? ORDER BY server", (block.last_seq,)
    ).fetchall():
        left = block.readings
        if seq >= block.first_seq:
            with contextlib.suppress(StoreDamaged):
                left = int((sealed.columns(connection, block, ()).seq > seq).sum())
        connection.execute("UPDATE outlet SET dropped = dropped + ? WHERE server = ?", (left, server))
