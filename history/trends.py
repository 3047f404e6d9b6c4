"""A trend out of the file of readings: roll-ups where they are enough, single readings for all the rest.

Knows which stretches were found bad afterwards and that their minutes and hours must not come from a roll-up while
single readings are left; refuses to know how buckets add up.
"""

import sqlite3
from typing import NamedTuple

import numpy as np

from history.layout import counted
from history.placing import Place, ranges_of
from history.requalify import Requalified
from history.rollup import Rolled, rolled_part
from history.sealed import HOURS, MINUTES, UNITS, Block, Sealed
from history.store import COUNTS_WHEN_BAD, HOUR_MS, MINUTE_MS, Buckets, Grid


class Asked(NamedTuple):
    """A tank's column in the buckets of a grid."""

    tank: str
    quantity: str
    grid: Grid


def add_sealed(
    connection: sqlite3.Connection,
    sealed: Sealed,
    requalified: Requalified,
    tank_id: int,
    asked: Asked,
    buckets: Buckets,
) -> None:
    """From roll-ups where buckets are made of whole minutes or hours, or where nothing else is left."""
    tank, quantity, grid = asked
    start_ms, end_ms = grid.first_ms, grid.end_ms
    blocks = sealed.blocks(connection, tank_id, start_ms, end_ms)
    unit = HOURS if grid.unit_ms == HOUR_MS else MINUTES
    rolled = {}
    if grid.unit_ms > 1 or any(block.thinned for block in blocks):
        rolled = sealed.rolled(connection, tank_id, start_ms, end_ms, unit, quantity)
    parts: list[Rolled] = []
    for block in blocks:
        whole = block.id in rolled and (grid.unit_ms > 1 or bool(block.thinned))
        touched = requalified.touches(tank, block.first_ms, block.last_ms + 1)
        if whole and not touched:
            parts.append(rolled_part(rolled[block.id], UNITS[unit]))
        elif block.thinned and block.id in rolled:
            minutes = rolled
            if unit != MINUTES:  # the finest that is left
                span = block.first_ms, block.last_ms + 1
                minutes = sealed.rolled(connection, tank_id, *span, MINUTES, quantity)
            part = rolled_part(minutes[block.id], UNITS[MINUTES])
            worst = requalified.units(tank, part.time_ms // MINUTE_MS, MINUTE_MS)
            parts.append(part.distrusted(worst, measured=quantity in COUNTS_WHEN_BAD))
        else:
            keep = None
            if whole:
                part = rolled_part(rolled[block.id], UNITS[unit])
                worst = requalified.units(tank, part.time_ms // grid.unit_ms, grid.unit_ms)
                parts.append(part.take(worst == 0))
                keep = grid.unit_ms
            _add_singly(connection, sealed, requalified, block, asked, keep, buckets)
    if parts:
        buckets.add(*(np.concatenate(column) for column in zip(*parts, strict=True)))


def _add_singly(
    connection: sqlite3.Connection,
    sealed: Sealed,
    requalified: Requalified,
    block: Block,
    asked: Asked,
    touched_ms: int | None,
    buckets: Buckets,
) -> None:
    """The single readings of a block; touched_ms: only those of units of that length that a stretch touches."""
    tank, quantity, _ = asked
    for columns in sealed.whole(connection, block, (quantity,)):
        figure, time_ms = columns.figures[quantity], columns.time_ms
        quality = requalified.graded(tank, time_ms, columns.quality)
        counts = figure.known if quantity in COUNTS_WHEN_BAD else figure.known & (quality < 2)
        values = figure.values
        if touched_ms is not None:
            some = requalified.units(tank, time_ms // touched_ms, touched_ms) > 0
            time_ms, quality, values, counts = time_ms[some], quality[some], values[some], counts[some]
        buckets.add_readings(time_ms, quality, values, counts)


def add_rows(
    connection: sqlite3.Connection, requalified: Requalified, place: Place, asked: Asked, buckets: Buckets
) -> None:
    """The rows that are not sealed: minutes by their roll-up where that is enough, all others singly."""
    tank, quantity, grid = asked
    ranges = ranges_of(connection, place, grid.first_ms, grid.end_ms)
    if grid.unit_ms > 1:
        rows = connection.execute(
            f"SELECT minute * 60000, readings, good, {quantity}_values, {quantity}_total, {quantity}_least, "  # noqa: S608
            f"{quantity}_most, first_seq, last_seq FROM minute "
            "WHERE tank = ? AND first_seq > ? AND minute >= ? AND minute <= ?",
            (place.id, place.sealed_seq, grid.first_ms // MINUTE_MS, (grid.end_ms - 1) // MINUTE_MS),
        ).fetchall()
        ranges = [(max(first, place.closed_seq + 1), last) for first, last in ranges if last > place.closed_seq]
        if rows:
            turned = [np.array([value or 0 for value in column], np.int64) for column in zip(*rows, strict=True)]
            worst = requalified.units(tank, turned[0] // MINUTE_MS, MINUTE_MS)
            buckets.add(*Rolled(*turned[:7]).take(worst == 0))
            touched = zip(turned[7][worst > 0].tolist(), turned[8][worst > 0].tolist(), strict=True)
            ranges = [*touched, *ranges]
    figure = counted(quantity)
    singly = f"SELECT time_ms, quality, {figure} FROM reading WHERE tank = ? AND seq >= ? AND seq <= ?"  # noqa: S608
    for first_seq, last_seq in ranges:
        rows = connection.execute(singly, (place.id, first_seq, last_seq)).fetchall()
        if rows:
            times, qualities, values = zip(*rows, strict=True)
            time_ms = np.array(times, np.int64)
            quality = requalified.graded(tank, time_ms, np.array(qualities, np.int64))
            counts = np.array([value is not None for value in values], np.bool_)
            if quantity not in COUNTS_WHEN_BAD:
                counts &= quality < 2
            buckets.add_readings(time_ms, quality, np.array([value or 0 for value in values], np.int64), counts)
