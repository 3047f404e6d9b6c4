"""Roll-ups of a stretch of readings: per minute and per hour what a trend needs, as arrays and as bytes.

Knows how readings are counted (what is Bad counts only where it was measured beside the level); refuses to know files
and questions. A roll-up of whole scaled numbers is exact: sums of sums are the sums of the single readings.
"""

import struct
import zlib
from collections.abc import Sequence
from itertools import accumulate, pairwise
from typing import Final, NamedTuple

import numpy as np

from history.block import FIGURES, Columns
from history.codec import Numbers, decode, encode, whole
from history.errors import StoreDamaged
from history.store import COUNTS_WHEN_BAD, Flags, Ints

BAD: Final = 2

_LENGTHS = struct.Struct("<H")


class Counts(NamedTuple):
    """How many readings each unit of time has: `unit` numbers the minutes (or hours) since 1970, rising."""

    unit: Ints
    readings: Ints
    good: Ints


class Cells(NamedTuple):
    """One figure in the same units: how many values count, their sum, least, most and last (0 where there is none)."""

    values: Ints
    total: Ints
    least: Ints
    most: Ints
    last: Ints


class Rolled(NamedTuple):
    """Stretches in the order of `history.store.Buckets.add`: their time, readings, good ones, and one figure."""

    time_ms: Ints
    readings: Ints
    good: Ints
    values: Ints
    total: Ints
    least: Ints
    most: Ints

    def take(self, which: Flags) -> "Rolled":
        return self if which.all() else Rolled(*(column[which] for column in self))

    def distrusted(self, worst: Ints, *, measured: bool) -> "Rolled":
        """With the worst quality found afterwards of each unit; measured: the figure stands although that is Bad."""
        values = self.values if measured else np.where(worst >= BAD, 0, self.values)
        return self._replace(good=np.where(worst > 0, 0, self.good), values=values)


def rolled_part(rolled: tuple[Counts, Cells], unit_ms: int) -> Rolled:
    """A roll-up of one figure for `history.store.Buckets`."""
    counts, cells = rolled
    return Rolled(counts.unit * unit_ms, counts.readings, counts.good, *cells[:4])


class Rollup(NamedTuple):
    """The roll-up of one stretch in one unit of time."""

    counts: Counts
    cells: dict[str, Cells]


def roll_up(columns: Columns, unit_ms: int) -> Rollup:
    """All figures by units of time. Readings of one unit may stand apart where a clock stepped back."""
    unit = columns.time_ms // unit_ms
    order = np.argsort(unit, kind="stable") if (np.diff(unit) < 0).any() else None
    if order is not None:
        unit = unit[order]
    starts = np.flatnonzero(np.diff(unit, prepend=unit[0] - 1))
    quality = columns.quality if order is None else columns.quality[order]
    readings = np.diff(starts, append=len(unit))
    good = np.add.reduceat((quality == 0).astype(np.int64), starts)
    cells = {}
    for name in FIGURES:
        column = columns.figures[name]
        values, known = (column.values, column.known) if order is None else (column.values[order], column.known[order])
        counts = known if name in COUNTS_WHEN_BAD else known & (quality < BAD)
        cells[name] = _cells(values, counts, starts, readings)
    return Rollup(Counts(unit[starts], readings.astype(np.int64), good), cells)


def _cells(values: Ints, counts: Flags, starts: Ints, readings: Ints) -> Cells:
    if counts.all():
        last = values[np.append(starts[1:], len(values)) - 1]
        return Cells(
            readings.astype(np.int64),
            np.add.reduceat(values, starts),
            np.minimum.reduceat(values, starts),
            np.maximum.reduceat(values, starts),
            last,
        )
    number = np.add.reduceat(counts.astype(np.int64), starts)
    some = number > 0
    least = np.minimum.reduceat(np.where(counts, values, np.iinfo(np.int64).max), starts)
    most = np.maximum.reduceat(np.where(counts, values, np.iinfo(np.int64).min), starts)
    place = np.maximum.reduceat(np.where(counts, np.arange(len(values)), -1), starts)
    return Cells(
        number,
        np.add.reduceat(np.where(counts, values, 0), starts),
        np.where(some, least, 0),
        np.where(some, most, 0),
        np.where(some, values[place], 0),
    )


def pack_counts(counts: Counts) -> bytes:
    return _pack([counts.unit, counts.readings, counts.good])


def unpack_counts(data: bytes) -> Counts:
    return Counts(*_unpack(data, 3))


def pack_cells(cells: Cells, counts: Counts) -> bytes:
    """Nothing for a figure that is nowhere known; else kept as differences that are small or nothing.

    Sums above n times the least, the most and the last above it.
    """
    if not cells.values.any():
        return b""
    return _pack(
        [
            counts.readings - cells.values,
            cells.total - cells.values * cells.least,
            cells.least,
            cells.most - cells.least,
            cells.last - cells.least,
        ]
    )


def unpack_cells(data: bytes, counts: Counts) -> Cells:
    if not data:
        nothing = np.zeros(len(counts.unit), np.int64)
        return Cells(*[nothing] * 5)
    missing, above, least, spread, last = _unpack(data, 5)
    if len(missing) != len(counts.unit):
        raise StoreDamaged("a roll-up cannot be read: it is of another length than the counts that it goes with")
    values = counts.readings - missing
    return Cells(values, above + values * least, least, least + spread, least + last)


_SHORT: Final = 0  # arrays in forms of their own
_MATRIX: Final = 1  # int64, little-endian, one row after the other, zlib
_FEW: Final = 64
"""Up to so many units a roll-up is a matrix: read back in some microseconds, which a year of days is made of."""


def _pack(arrays: Sequence[Ints]) -> bytes:
    if len(arrays[0]) <= _FEW:
        return bytes([_MATRIX]) + zlib.compress(np.stack(arrays).astype("<i8").tobytes(), 6)
    packed = [encode(whole(array)) for array in arrays]
    if any(len(one) > 0xFFFF for one in packed):  # half a year of minutes: no stretch is that long
        raise ValueError("a roll-up is too long for its file format")
    return bytes([_SHORT]) + b"".join(_LENGTHS.pack(len(one)) for one in packed) + b"".join(packed)


def _unpack(data: bytes, count: int) -> Sequence[Ints]:
    try:
        if data[0] == _MATRIX:
            matrix: Ints = np.frombuffer(zlib.decompress(data[1:]), "<i8").reshape(count, -1)
            return tuple(matrix)
        lengths = [_LENGTHS.unpack_from(data, 1 + _LENGTHS.size * i)[0] for i in range(count)]
        ends = list(accumulate(lengths, initial=1 + _LENGTHS.size * count))
        return [_ints(decode(data[start:end]).values) for start, end in pairwise(ends)]
    except (ValueError, IndexError, struct.error, zlib.error) as exc:
        raise StoreDamaged(f"a roll-up cannot be read: {exc}") from exc


def _ints(values: Numbers) -> Ints:
    return values.astype(np.int64, copy=False)
