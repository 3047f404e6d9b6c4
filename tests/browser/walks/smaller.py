"""Makes a picture of a page small: at most 256 colours, without what nobody sees.

Only for the PNG that a browser writes: 8 bits, RGB or RGBA, not interlaced.
"""

import struct
import zlib
from collections import Counter
from itertools import pairwise
from typing import Final

_SIGN: Final = b"\x89PNG\r\n\x1a\n"
_MOST: Final = 256


def smaller(png: bytes) -> bytes:
    """The same picture as a PNG with a palette. Colours beyond the 256 most frequent become the nearest of those.

    Raises `ValueError` for a PNG of another kind.
    """
    chunks = list(_chunks(png))
    width, height, depth, kind, _, _, interlaced = struct.unpack(">IIBBBBB", chunks[0][1])
    if (depth, interlaced) != (8, 0) or kind not in (2, 6):
        raise ValueError(f"depth {depth}, kind {kind}, interlace {interlaced}: not as a browser writes it")
    step = 3 if kind == 2 else 4
    rows = _rows(zlib.decompress(b"".join(data for name, data in chunks if name == b"IDAT")), width * step, step)
    pixels = [[bytes(row[i : i + 3]) for i in range(0, width * step, step)] for row in rows]
    counted = Counter(one for row in pixels for one in row)
    palette = [colour for colour, _ in counted.most_common(_MOST)]
    place = {colour: i for i, colour in enumerate(palette)}
    for colour in counted:
        if colour not in place:
            place[colour] = min(range(len(palette)), key=lambda i: _apart(palette[i], colour))
    body = b"".join(b"\0" + bytes(place[one] for one in row) for row in pixels)
    head = struct.pack(">IIBBBBB", width, height, 8, 3, 0, 0, 0)
    parts = ((b"IHDR", head), (b"PLTE", b"".join(palette)), (b"IDAT", zlib.compress(body, 9)), (b"IEND", b""))
    return _SIGN + b"".join(_chunk(name, data) for name, data in parts)


def _chunks(png: bytes) -> list[tuple[bytes, bytes]]:
    if not png.startswith(_SIGN):
        raise ValueError("no PNG")
    found, at = [], len(_SIGN)
    while at < len(png):
        (length,) = struct.unpack(">I", png[at : at + 4])
        found.append((png[at + 4 : at + 8], png[at + 8 : at + 8 + length]))
        at += 12 + length
    return found


def _chunk(name: bytes, data: bytes) -> bytes:
    return struct.pack(">I", len(data)) + name + data + struct.pack(">I", zlib.crc32(name + data))


def _rows(raw: bytes, length: int, step: int) -> list[bytearray]:
    """Undo the filters of the PNG specification (W3C, clause 9), row by row."""
    rows = [bytearray(length)]
    for start in range(0, len(raw), length + 1):
        way, row, above = raw[start], bytearray(raw[start + 1 : start + 1 + length]), rows[-1]
        for i in range(length if way else 0):
            left, corner = (row[i - step], above[i - step]) if i >= step else (0, 0)
            row[i] = (row[i] + _guess(way, left, above[i], corner)) & 255
        rows.append(row)
    return [row for _, row in pairwise(rows)]


def _guess(way: int, left: int, up: int, corner: int) -> int:
    if way < 3:
        return (0, left, up)[way]
    if way == 3:
        return (left + up) // 2
    guess = left + up - corner
    return min((left, up, corner), key=lambda one: abs(guess - one))


def _apart(one: bytes, other: bytes) -> int:
    return sum((a - b) ** 2 for a, b in zip(one, other, strict=True))
