"""Columns of numbers as bytes: the smallest form that comes back to the bit, behind one byte that names it.

Knows arrays of int64 and float64 and which of their places are known; refuses to know what the numbers mean. The tags
are a format: add at the end, never reuse. Where the compressor `pcodec` is not installed the standard library's zlib
stands in; whoever reads needs the one that wrote, and is told so.
"""

import struct
import zlib
from typing import Any, Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from history.errors import StoreDamaged
from history.store import Flags

try:
    from pcodec import ChunkConfig, standalone
except ImportError:  # a machine for which there is no wheel
    standalone = None
Numbers = NDArray[Any]
"""Of int64 or float64."""

CONSTANT: Final = 1  # one int64 and how often
PCO_INT: Final = 2
PCO_FLOAT: Final = 3
ZLIB_INT: Final = 4  # differences, little-endian
ZLIB_FLOAT: Final = 5
HOLES: Final = 6  # which places are known, then the known values in a form of their own
NONE_KNOWN: Final = 7

_COUNT = struct.Struct("<I")
_CONSTANT = struct.Struct("<qI")


class Column(NamedTuple):
    """Numbers and which of them are known; a place that is not known holds 0."""

    values: Numbers
    known: Flags


def whole(values: Numbers) -> Column:
    """A column without holes."""
    return Column(values, np.ones(len(values), dtype=np.bool_))


def encode(column: Column) -> bytes:
    """The bytes of a column of int64 or float64."""
    if column.known.all():
        return _values(column.values)
    count = len(column.known)
    if not column.known.any():
        return bytes([NONE_KNOWN]) + _COUNT.pack(count)
    mask = zlib.compress(np.packbits(column.known).tobytes(), 6)
    head = bytes([HOLES]) + _COUNT.pack(count) + _COUNT.pack(len(mask))
    return head + mask + _values(column.values[column.known])


def decode(data: bytes, *, floats: bool = False) -> Column:
    """The column of these bytes; `floats` tells its type where nothing in it is known.

    Raises `StoreDamaged` for bytes that no program of this format wrote.
    """
    try:
        return _column(data, floats)
    except (ValueError, IndexError, struct.error, zlib.error, RuntimeError) as exc:
        raise StoreDamaged(f"a compressed block cannot be read: {exc}") from exc


def _column(data: bytes, floats: bool) -> Column:
    tag = data[0]
    if tag == NONE_KNOWN:
        (count,) = _COUNT.unpack_from(data, 1)
        return Column(np.zeros(count, np.float64 if floats else np.int64), np.zeros(count, np.bool_))
    if tag == HOLES:
        (count,), (length,) = _COUNT.unpack_from(data, 1), _COUNT.unpack_from(data, 5)
        bits = np.frombuffer(zlib.decompress(data[9 : 9 + length]), np.uint8)
        known = np.unpackbits(bits, count=count).astype(np.bool_)
        found = _plain(data[9 + length :])
        values = np.zeros(count, found.dtype)
        values[known] = found
        return Column(values, known)
    return whole(_plain(data))


def _values(values: Numbers) -> bytes:
    if values.dtype == np.int64 and len(values) and (values == values[0]).all():
        return bytes([CONSTANT]) + _CONSTANT.pack(int(values[0]), len(values))
    floats = values.dtype == np.float64
    if standalone is not None and len(values):
        packed = standalone.simple_compress(np.ascontiguousarray(values), ChunkConfig(compression_level=8))
        return bytes([PCO_FLOAT if floats else PCO_INT]) + bytes(packed)
    if floats:
        return bytes([ZLIB_FLOAT]) + zlib.compress(values.astype("<f8").tobytes(), 6)
    steps = np.diff(values, prepend=np.int64(0))
    return bytes([ZLIB_INT]) + zlib.compress(steps.astype("<i8").tobytes(), 6)


def _plain(data: bytes) -> Numbers:
    tag, body = data[0], data[1:]
    if tag == CONSTANT:
        value, count = _CONSTANT.unpack(body)
        return np.full(count, value, np.int64)
    if tag in (PCO_INT, PCO_FLOAT):
        if standalone is None:
            raise ValueError("it was written with the package pcodec, which is not installed here; install it")
        found = standalone.simple_decompress(body)
        if found is None:
            return np.zeros(0, np.float64 if tag == PCO_FLOAT else np.int64)
        return np.asarray(found, np.float64 if tag == PCO_FLOAT else np.int64)
    if tag == ZLIB_FLOAT:
        return np.frombuffer(zlib.decompress(body), "<f8").astype(np.float64)
    if tag == ZLIB_INT:
        return np.cumsum(np.frombuffer(zlib.decompress(body), "<i8").astype(np.int64))
    raise ValueError(f"form {tag} is not known to this program; a newer one may have written it")
