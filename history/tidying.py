"""What the writer of readings does between two batches: seal hours that are over, merge days that are over, thin.

Knows when a piece is due, by the times of the readings alone; refuses to know clocks and threads. One call does at most
one piece of work for one tank, in one transaction: a kill at any instant leaves either the rows or the block.
"""

import logging
import sqlite3
from collections.abc import Sequence
from typing import Final, NamedTuple

from history.block import columns_of, joined
from history.errors import StoreDamaged
from history.following import count_dropped
from history.layout import FOR_SEALING
from history.sealed import DAY, HOUR, Block, Sealed, is_corrupt
from history.store import HOUR_MS

log = logging.getLogger(__name__)

DAY_MS: Final = 86_400_000


_END: Final = 2**62
"""Above every seq."""


class Kept(NamedTuple):
    """How long is kept what. readings_ms: single readings; None = for good. Roll-ups are kept for good."""

    readings_ms: int | None = None


FOR_GOOD: Final = Kept()


class Pinned(NamedTuple):
    """A stretch that something points at: its readings are never thinned. tank: empty for those of all tanks."""

    start_ms: int
    end_ms: int
    tank: str = ""


def seal_one(connection: sqlite3.Connection, sealed: Sealed, tank_id: int, *, to_the_end: bool = False) -> bool:
    """Seal the oldest hour of a tank's rows that is over; True when there was one. to_the_end: one that goes on too."""
    sealed_seq, closed_seq = connection.execute(
        "SELECT sealed_seq, closed_seq FROM tank WHERE id = ?", (tank_id,)
    ).fetchone()
    first = connection.execute(
        "SELECT time_ms, model FROM reading WHERE tank = ? AND seq > ? ORDER BY seq LIMIT 1", (tank_id, sealed_seq)
    ).fetchone()
    if first is None:
        return False
    hour, model = first[0] // HOUR_MS, first[1]
    other = connection.execute(
        "SELECT min(seq) FROM reading WHERE tank = ?1 AND seq > ?2 AND seq <= ?3 "
        "AND (time_ms / 3600000 != ?4 OR model IS NOT ?5)",
        (tank_id, sealed_seq, _END if to_the_end else closed_seq, hour, model),
    ).fetchone()[0]
    if other is None and not to_the_end:  # the hour goes on, or its end is not rolled up yet
        return False
    rows = connection.execute(FOR_SEALING, (tank_id, sealed_seq, _END if other is None else other - 1)).fetchall()
    sealed.write(connection, tank_id, columns_of(rows), HOUR, model)
    good_seq = next((row[0] for row in reversed(rows) if row[2] == 0), None)
    mark_sealed(connection, tank_id, rows[-1][0], good_seq)
    return True


def mark_sealed(connection: sqlite3.Connection, tank_id: int, last_seq: int, good_seq: int | None) -> None:
    """Let the rows up to a seq go that are in blocks now; the tank's last row and its last good one stay."""
    connection.execute(
        "UPDATE tank SET sealed_seq = ?2, closed_seq = max(closed_seq, ?2), "
        "good_seq = max(coalesce(good_seq, 0), coalesce(?3, good_seq, 0)) WHERE id = ?1",
        (tank_id, last_seq, good_seq),
    )
    connection.execute(
        "DELETE FROM reading WHERE tank = ?1 AND seq <= ?2 AND seq != (SELECT good_seq FROM tank WHERE id = ?1) "
        "AND seq != (SELECT max(seq) FROM reading WHERE tank = ?1)",
        (tank_id, last_seq),
    )
    connection.execute("DELETE FROM minute WHERE tank = ? AND last_seq <= ?", (tank_id, last_seq))


def merge_one(connection: sqlite3.Connection, sealed: Sealed, tank_id: int) -> bool:
    """Merge the hours of a day that is over, of one model, that follow each other; True when there were some.

    Blocks of a tank never overlap: hours on both sides of one that was set aside become two blocks.
    """
    hours = sealed.hours(connection, tank_id)
    if not hours:
        return False
    run = [hours[0]]
    for block in hours[1:]:
        if _day(block) != _day(run[0]) or block.model != run[0].model or _parted(connection, tank_id, run[-1], block):
            break
        run.append(block)
    if not _is_over(connection, tank_id, _day(run[0]), run[-1].last_seq):
        return False
    parts = []
    for block in run:
        try:
            parts.append(sealed.columns(connection, block))
        except StoreDamaged as error:
            sealed.set_aside(connection, block, str(error))
            sealed.tell(block, error)
            return True
    connection.execute("SAVEPOINT merging")
    try:
        for block in run:
            sealed.delete(connection, block)
        sealed.write(connection, tank_id, joined(parts), DAY, run[0].model)
    except sqlite3.DatabaseError as exc:
        if not is_corrupt(exc):
            raise
        connection.execute("ROLLBACK TO merging")  # a broken page beside theirs: they stay as they are, and readable
        connection.executemany("UPDATE block SET span = ? WHERE id = ?", [(DAY, block.id) for block in run])
        log.error("hours from %s on are not merged: %s", run[0], exc)
    connection.execute("RELEASE merging")
    return True


def _day(block: Block) -> int:
    return block.first_ms // DAY_MS


def _parted(connection: sqlite3.Connection, tank_id: int, before: Block, after: Block) -> bool:
    """Whether another block lies between two."""
    query = "SELECT EXISTS (SELECT 1 FROM block WHERE tank = ? AND first_seq > ? AND first_seq < ?)"
    return bool(connection.execute(query, (tank_id, before.first_seq, after.first_seq)).fetchone()[0])


def _is_over(connection: sqlite3.Connection, tank_id: int, day: int, last_seq: int) -> bool:
    """Whether readings of another day follow."""
    row = connection.execute(
        "SELECT EXISTS (SELECT 1 FROM block WHERE tank = ?1 AND first_seq > ?2 AND first_ms / 86400000 != ?3) "
        "OR EXISTS (SELECT 1 FROM reading WHERE tank = ?1 AND seq > ?2 AND time_ms / 86400000 != ?3)",
        (tank_id, last_seq, day),
    ).fetchone()
    return bool(row[0])


def newest_ms(connection: sqlite3.Connection) -> int:
    """The time that retention is reckoned from: of a tank's last reading, or the end of its last day that is over.

    The earlier one: a clock that is years ahead lets nothing go while it stays within one day, as either the reading or
    the day that is over is not of the wrong year.
    """
    found = connection.execute(
        "SELECT max(min((SELECT time_ms FROM reading WHERE tank = tank.id ORDER BY seq DESC LIMIT 1), "
        "(SELECT last_ms / ?1 * ?1 + ?1 FROM block WHERE tank = tank.id AND span = 'day' ORDER BY first_seq DESC "
        "LIMIT 1))) FROM tank",
        (DAY_MS,),
    ).fetchone()[0]
    return int(found or 0)


def thin_one(
    connection: sqlite3.Connection, sealed: Sealed, tank_id: int, newest_ms: int, kept: Kept, pinned: Sequence[Pinned]
) -> bool:
    """Let the single readings of the oldest block go that is older than they are kept; True when there was one."""
    if kept.readings_ms is None:
        return False
    for block in sealed.full_days(connection, tank_id, newest_ms - kept.readings_ms):
        if not any(pin.start_ms <= block.last_ms and block.first_ms < pin.end_ms for pin in pinned):
            count_dropped(connection, sealed, block)
            try:
                sealed.thin(connection, block)
            except StoreDamaged as error:
                sealed.set_aside(connection, block, str(error))
                sealed.tell(block, error)
            return True
    return False
