"""Where a tank stands in the file of readings: its number, and up to which seq its rows are rolled up and sealed.

Knows how time is found in rows that are clustered by seq; refuses to know what is in them.
"""

import sqlite3
from typing import Final, NamedTuple

from history.store import MINUTE_MS

NEAR_SEQ: Final = 600
"""Two stretches with fewer seqs between them are read in one go; rows of another time between them are passed over."""


class Place(NamedTuple):
    """A tank as the file has it: up to which seq it is rolled up, and up to which it is sealed."""

    id: int
    closed_seq: int
    sealed_seq: int


def find(connection: sqlite3.Connection, name: str) -> Place | None:
    """Where a tank stands in the file; None for a tank that has no rows."""
    row = connection.execute("SELECT id, closed_seq, sealed_seq FROM tank WHERE name = ?", (name,)).fetchone()
    return None if row is None else Place._make(row)


def place_of(connection: sqlite3.Connection, tank_id: int) -> Place:
    row = connection.execute("SELECT id, closed_seq, sealed_seq FROM tank WHERE id = ?", (tank_id,)).fetchone()
    return Place._make(row)


def ranges_of(connection: sqlite3.Connection, place: Place, start_ms: int, end_ms: int) -> list[tuple[int, int]]:
    """Rising, disjoint ranges of seq above the sealed ones that hold all rows of a time range, and few others."""
    found = connection.execute(
        "SELECT first_seq, last_seq FROM minute WHERE tank = ? AND minute >= ? AND minute <= ? AND first_seq > ? "
        "ORDER BY first_seq",
        (place.id, start_ms // MINUTE_MS, (end_ms - 1) // MINUTE_MS, place.sealed_seq),
    ).fetchall()
    last = connection.execute("SELECT max(seq) FROM reading WHERE tank = ?", (place.id,)).fetchone()[0] or 0
    if last > place.closed_seq:
        found.append((place.closed_seq + 1, last))
    ranges: list[tuple[int, int]] = []
    for first_seq, last_seq in found:
        if ranges and first_seq - ranges[-1][1] < NEAR_SEQ:
            ranges[-1] = (ranges[-1][0], last_seq)
        else:
            ranges.append((first_seq, last_seq))
    return ranges
