"""The chain of the record book: what is hashed, what a head is, and where a chain breaks first.

Pure: knows entries and hashes, refuses to know files. The hash of an entry is SHA-256 over the UTF-8 text

    [n,time_ms,seq,"kind",body,"previous"]

a JSON array without spaces: the entry's number from 1 without gaps, its time and tick, its kind, its body as canonical
JSON (names sorted, no spaces, characters as they are, numbers in their shortest form), and the hash of the entry before
it in 64 hexadecimal digits. For entry 1 that is the genesis: SHA-256 over ["gaugehouse record book",1,"site"], where 1
is the format. So a book names its site, and each head vouches for all before it. Source: FIPS 180-4 for SHA-256, RFC
8259 for JSON; the arrangement is ours.

Whoever can rewrite the file can forge a whole new chain: what tells is a head that was printed or sent out before.
"""

import json
import math
import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from enum import StrEnum
from hashlib import sha256
from typing import Any, Final, NamedTuple, Self, TypeAlias

from history.errors import BadQuestion, EntryRejected

FORMAT: Final = 1
SHORTEST_HASH: Final = 16
"""Digits of a hash that a person must type at least from a printed head: 64 bits."""

JSON: TypeAlias = "bool | int | float | str | Sequence[JSON] | Mapping[str, JSON] | None"


class Entry(NamedTuple):
    """A record as its author makes it: what kind, when on the site's clock, in which tick, and what it says."""

    kind: str
    time_ms: int
    seq: int
    body: Mapping[str, JSON]


class Recorded(NamedTuple):
    """An entry as it stands in the book."""

    n: int
    kind: str
    time_ms: int
    seq: int
    body: Mapping[str, JSON]
    hash: str


class Row(NamedTuple):
    """An entry as it lies in the file: every value may be anything there, text is given as bytes."""

    n: int
    time_ms: Any
    seq: Any
    kind: Any
    body: Any
    previous: Any
    hash: Any


@dataclass(frozen=True, slots=True)
class Head:
    """How many entries there are and the hash of the last: it vouches for each of them. Text form COUNT:HASH."""

    count: int
    hash: str

    def __str__(self) -> str:
        return f"{self.count}:{self.hash}"

    @classmethod
    def parse(cls, text: str) -> Self:
        """Read a head off a sheet. The hash may be cut after 16 digits. Raises `BadQuestion`."""
        found = re.fullmatch(rf"\s*([0-9]{{1,18}}):([0-9a-fA-F]{{{SHORTEST_HASH},64}})\s*", text)
        if found is None:
            raise BadQuestion(
                f"{text!r} is no head of a record book; it is written COUNT:HASH, with at least {SHORTEST_HASH} "
                f"of the 64 digits of the hash"
            )
        return cls(int(found[1]), found[2].lower())

    def fits(self, count: int, digest: bytes) -> bool:
        return count == self.count and digest.hex().startswith(self.hash)


class Break(StrEnum):
    """What is wrong with the first broken entry."""

    CONTENTS = "contents"  # number, time, tick, kind or body are not those that were hashed
    HASH = "hash"  # its hash was altered
    LINK = "link"  # it does not name the entry before it
    REPLACED = "replaced"  # it holds in itself, but what follows was written after another one
    GAP = "gap"  # it is missing, and later ones are there
    TAIL = "tail"  # it and all after it are missing
    EXTRA = "extra"  # it was added by something else than the book's writer
    HEAD = "head"  # it is not the entry that a head, kept beside the entries or given from outside, stands for


_WORDS: Final = {
    Break.CONTENTS: "its contents are not what was written: they no longer give its hash",
    Break.HASH: "its hash was altered: contents and neighbours agree on another one",
    Break.LINK: "it does not follow from the entry before it",
    Break.REPLACED: "it was replaced: the next one was written after another entry",
    Break.GAP: "it is missing, although later entries are there",
    Break.TAIL: "it is missing, and so is everything after it",
    Break.EXTRA: "it was not added by the book's writer",
    Break.HEAD: "its hash is not that of the head kept or given for it: the book was written anew at or before it",
}


class Broken(NamedTuple):
    n: int
    what: Break

    def __str__(self) -> str:
        return f"entry {self.n}: {_WORDS[self.what]}"


@dataclass(frozen=True, slots=True)
class Verdict:
    """The outcome of a check. sound: how many entries from the first hold. head: of those. since_ms: time of the first.

    against: the head that was given to check against, if any.
    """

    sound: int
    head: Head
    since_ms: int | None
    broken: Broken | None
    against: Head | None = None

    @property
    def unbroken(self) -> bool:
        return self.broken is None

    def __str__(self) -> str:
        held = f"{self.sound} entries"
        if self.since_ms is not None:
            held += f" since {_utc(self.since_ms)}"
        if self.broken is not None:
            return f"broken at {self.broken}; {held} before it hold"
        agreed = "" if self.against is None else f", in agreement with head {self.against}"
        return f"unbroken: {held}, head {self.head}{agreed}"


def genesis(site: str) -> bytes:
    """What entry 1 names as the one before it."""
    return sha256(_text(["gaugehouse record book", FORMAT, site]).encode()).digest()


def canonical(entry: Entry) -> str:
    """The body of an entry as its one JSON text. Raises `EntryRejected` for what is no JSON, naming the place."""
    if not entry.kind:
        raise EntryRejected("a record needs a kind, and it is empty")
    for name, number in (("time_ms", entry.time_ms), ("seq", entry.seq)):
        if type(number) is not int or not -(2**63) <= number < 2**63:
            raise EntryRejected(f"{entry.kind} record: {name} {number!r} is no whole number of 64 bits")
    try:
        text = _text(_plain(entry.body, "body"))
        (text + entry.kind).encode()
    except (EntryRejected, UnicodeEncodeError, RecursionError) as exc:
        raise EntryRejected(f"{entry.kind} record of tick {entry.seq}: {exc}") from None
    return text


def digest(n: int, time_ms: int, seq: int, kind: bytes, body: bytes, previous: bytes) -> bytes:
    """The hash of an entry; see the top of this file."""
    quoted = json.dumps(kind.decode("utf-8", "surrogateescape"), ensure_ascii=False).encode("utf-8", "surrogateescape")
    return sha256(b'[%d,%d,%d,%s,%s,"%s"]' % (n, time_ms, seq, quoted, body, previous.hex().encode())).digest()


def inspect(rows: Iterable[Row], site: str, kept: Head, against: Head | None = None) -> Verdict:
    """Walk the rows in the order of n and name the first broken entry.

    kept: the head that the book's writer left beside the rows. against: one from outside, for any earlier or the
    present count.
    """
    start = genesis(site)
    if against is not None and against.count == 0 and not against.fits(0, start):
        return Verdict(0, Head(0, start.hex()), None, Broken(0, Break.HEAD), against)
    walk = _Walk(start, kept, against)
    broken = walk.through(rows)
    return Verdict(walk.sound, Head(walk.sound, walk.previous.hex()), walk.since_ms, broken, against)


class _Walk:
    """How far the chain holds, and the hash that it holds with."""

    def __init__(self, start: bytes, kept: Head, against: Head | None) -> None:
        self.sound = 0
        self.previous = start
        self.since_ms: int | None = None
        self._kept = kept
        self._against = against
        self._before = start

    def through(self, rows: Iterable[Row]) -> Broken | None:
        walk: Iterator[Row] = iter(rows)
        for row in walk:
            what = self._judge(row)
            if what is Break.REPLACED:
                return self._withdraw(what)
            if what is Break.CONTENTS and self._hash_alone(row, next(walk, None)):
                what = Break.HASH
            if what is not None:
                return Broken(row.n if what is Break.EXTRA else self.sound + 1, what)
            self._before, self.previous = self.previous, row.hash
            self.sound = row.n
            if row.n == 1:
                self.since_ms = row.time_ms
            if self._against is not None and row.n == self._against.count and not self._against.fits(row.n, row.hash):
                return self._withdraw(Break.HEAD)
        return self._end()

    def _judge(self, row: Row) -> Break | None:
        expected = self.sound + 1
        if row.n != expected:
            return Break.GAP if row.n > expected else Break.EXTRA
        if row.n > self._kept.count:
            return Break.EXTRA
        holds = _computed(row) == row.hash
        if row.previous != self.previous:
            return Break.REPLACED if holds and self.sound else Break.LINK
        return None if holds else Break.CONTENTS

    def _hash_alone(self, row: Row, following: Row | None) -> bool:
        """Whether the neighbours (or the kept head) know the hash that the contents give."""
        computed = _computed(row)
        if computed is None:
            return False
        return self._kept.fits(row.n, computed) or (following is not None and following.previous == computed)

    def _withdraw(self, what: Break) -> Broken:
        """The last entry that seemed sound is not."""
        broken = Broken(self.sound, what)
        self.sound = max(self.sound - 1, 0)
        self.previous = self._before
        if not self.sound:
            self.since_ms = None
        return broken

    def _end(self) -> Broken | None:
        expected = max(self._kept.count, self._against.count if self._against else 0)
        if self.sound < expected:
            return Broken(self.sound + 1, Break.TAIL)
        return None if self._kept.fits(self.sound, self.previous) else self._withdraw(Break.HEAD)


def _computed(row: Row) -> bytes | None:
    """The hash that a row's contents give, None where they are not even of the right types."""
    numbers, texts = (row.n, row.time_ms, row.seq), (row.kind, row.body, row.previous)
    if not all(type(number) is int for number in numbers) or not all(type(text) is bytes for text in texts):
        return None
    return digest(*numbers, *texts)


def _plain(value: object, where: str) -> object:
    """The value made of dicts, lists and plain values only; refuses whatever JSON would bend or lose."""
    if value is None or isinstance(value, bool | str):
        return value
    if isinstance(value, int):
        return int(value)
    if isinstance(value, float):
        if not math.isfinite(value):
            raise EntryRejected(f"{where} is {value}; JSON has no such number, leave it out or give null")
        return float(value)
    if isinstance(value, Mapping):
        for name in value:
            if not isinstance(name, str):
                raise EntryRejected(f"{where} has the name {name!r}; names in JSON are text")
        return {str(name): _plain(part, f"{where}.{name}") for name, part in value.items()}
    if isinstance(value, Sequence) and not isinstance(value, bytes | bytearray):
        return [_plain(part, f"{where}[{index}]") for index, part in enumerate(value)]
    raise EntryRejected(f"{where} is a {type(value).__name__}; a record holds text, numbers, lists and names only")


def _text(value: object) -> str:
    return json.dumps(value, ensure_ascii=False, allow_nan=False, sort_keys=True, separators=(",", ":"))


def _utc(time_ms: int) -> str:
    try:
        return datetime.fromtimestamp(time_ms / 1000, UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")
    except (OverflowError, ValueError, OSError):
        return f"{time_ms} ms"
