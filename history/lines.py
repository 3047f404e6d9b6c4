"""Readings as InfluxDB line protocol, and back from the figures that a server gives.

Pure. Every field is a float, because a server that once took an integer refuses a float for ever: words are the codes
of `history.scale`, and `seq` is a number like the others. A figure that is not known is left out, never written as NaN.
The time is in nanoseconds: the reading's millisecond, and seq in the places below it. So two readings of one
millisecond (a clock that stepped back) stay two, and the same reading sent twice is the same point.

Source: InfluxData, "Line protocol" (measurement, tags, fields, timestamp; what is escaped in names).
"""

from collections.abc import Iterable, Mapping, Sequence
from itertools import chain
from operator import itemgetter
from typing import Any, Final, NamedTuple

from history.block import FACTOR, FIGURES, Columns, status_parts
from history.scale import BOUNDS, QUALITIES, REASONS
from models.reading import QUANTITIES, Reading

MEASUREMENT: Final = "reading"
SITE: Final = "site"
TANK: Final = "tank"
CODES: Final = ("quality", "reason", "stock_quality", "bound")
NS_PER_MS: Final = 1_000_000
FIELDS: Final = ("seq", *CODES, *FIGURES)


class Line(NamedTuple):
    """One reading as a server takes it."""

    seq: int
    text: str


def time_ns(time_ms: int, seq: int) -> int:
    """The time of a point. Fits 64 bits until 2262."""
    return time_ms * NS_PER_MS + seq % NS_PER_MS


def lines_of(site: str, tank: str, columns: Columns) -> list[Line]:
    """A tank's readings, in the order of seq."""
    head = f"{MEASUREMENT},{SITE}={_escaped(site)},{TANK}={_escaped(tank)} seq="
    codes = {status: _codes(status) for status in set(columns.status.tolist())}
    fields = [_field(name, columns) for name in FIGURES]
    seqs = columns.seq.tolist()
    heads = [f"{head}{float(seq)!r}{codes[status]}" for seq, status in zip(seqs, columns.status.tolist(), strict=True)]
    ends = [f" {time_ns(ms, seq)}" for ms, seq in zip(columns.time_ms.tolist(), seqs, strict=True)]
    return list(map(Line, seqs, map("".join, zip(heads, *fields, ends, strict=True))))


def in_order(site: str, parts: Iterable[tuple[str, Columns]]) -> list[Line]:
    """The readings of several tanks by seq."""
    return sorted(chain.from_iterable(lines_of(site, *part) for part in parts), key=itemgetter(0))


def _codes(status: int) -> str:
    return "".join(f",{name}={code}.0" for name, code in zip(CODES, status_parts(status), strict=True))


def _field(name: str, columns: Columns) -> list[str]:
    """The text of one figure for each reading, empty where it is not known."""
    column = columns.figures[name]
    values = (column.values / FACTOR[name]).tolist()
    if column.known.all():
        return [f",{name}={value!r}" for value in values]
    return [f",{name}={value!r}" if known else "" for value, known in zip(values, column.known.tolist(), strict=True)]


def _escaped(text: str) -> str:
    for sign in ("\\", ",", "=", " "):
        text = text.replace(sign, f"\\{sign}")
    return text


def reading_from(tank: str, ns: int, fields: Mapping[str, float | None]) -> Reading | None:
    """The reading of a point; None for one that no program of this format wrote (no seq, a code that is not known)."""
    try:
        seq, quality, reason, stock_quality, bound = (int(fields[name] or 0) for name in ("seq", *CODES))
        words = QUALITIES[quality], REASONS[reason], QUALITIES[stock_quality], BOUNDS[bound]
    except (KeyError, IndexError):
        return None
    if seq < 1:
        return None
    figures: dict[str, Any] = {
        q.column: None if (v := fields.get(q.column)) is None else round(v, q.decimals) for q in QUANTITIES
    }
    whole = Reading(seq, ns // NS_PER_MS, tank, words[0], words[1], stock_quality=words[2], bound=words[3])
    return whole._replace(**figures)


def chunks(lines: Sequence[Line], most: int) -> Iterable[Sequence[Line]]:
    """Some lines at a time, never part of a seq unless one seq has more than that."""
    start = 0
    while start < len(lines):
        end = min(start + most, len(lines))
        while start < end < len(lines) and lines[end].seq == lines[end - 1].seq:
            end -= 1
        if end == start:
            end = start + most
            while end < len(lines) and lines[end].seq == lines[end - 1].seq:
                end += 1
        yield lines[start:end]
        start = end
