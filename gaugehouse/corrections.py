"""Corrections of the record book: a new entry that points at the old one by its number and its hash.

Nothing in the book is ever changed. Whoever reads an entry is shown what corrects it. What a correction may point at is
looked up where the book can be read; the act itself carries number and hash, so that it stays true wherever it is kept.
"""

from collections.abc import Callable, Iterable, Mapping
from types import MappingProxyType
from typing import TYPE_CHECKING, Any, Final, NamedTuple

from gaugehouse.act import Act, Answer, Decision, Json, Outcome, Taken, text_of
from gaugehouse.days import iso_ms
from gaugehouse.errors import CallError
from history.book import BookReader
from history.chain import Recorded
from models.reading import Instant

if TYPE_CHECKING:
    from gaugehouse.core import Core

CORRECTION: Final = "correction"
OURS: Final = frozenset({"started", "clock_step", "clock_behind", "model_version", "book_set_aside"})
"""Entries that the daemon makes of itself: no person said them, so none can correct them."""


class Correct(NamedTuple):
    """A named person says what is right where an entry is wrong. of: the hash of that entry."""

    entry: int
    of: str
    kind: str
    by: str
    text: str

    def apply(self, core: "Core", at: Instant) -> Outcome:
        body: Json = {"entry": self.entry, "of": self.of, "kind": self.kind, "by": self.by, "text": self.text}
        answer = Answer(Taken.DONE, "", {"entry": self.entry, "by": self.by, "time": iso_ms(at.time_ms)})
        return Outcome(answer, [Decision(CORRECTION, body)])


def correct_of(fields: Json) -> Correct:
    entry = fields.get("entry")
    if isinstance(entry, bool) or not isinstance(entry, int) or entry < 1:
        raise CallError("entry is missing: say which entry of the record book is corrected, by its number")
    of, kind = text_of(fields, "of"), text_of(fields, "kind")
    return Correct(entry, of, kind, text_of(fields, "by"), text_of(fields, "text"))


CORRECTION_ACTS: Final[Mapping[str, Callable[[Json], Act]]] = MappingProxyType({"correct": correct_of})


def pointing_at(book: BookReader, n: int) -> Json:
    """The fields of a correction that say which entry it is about. Raises `CallError` where there can be none."""
    found = book.entry(n)
    if found is None:
        raise CallError(f"the record book has no entry {n}; its last one is {book.head().count}")
    if found.kind in OURS:
        raise CallError(
            f"entry {n} ({found.kind}) is the daemon's own; only what a person or the process said is corrected"
        )
    return {"entry": n, "of": found.hash, "kind": found.kind}


def record_rows(
    book: BookReader,
    kinds: Iterable[str] | None,
    start_ms: int | None,
    end_ms: int | None,
    limit: int | None = None,
    before: int | None = None,
) -> list[Json]:
    """Entries with start <= t < end (and a number below `before`), newest first.

    Each has the numbers of the entries that correct it.
    """
    corrected: dict[int, list[int]] = {}
    for entry in book.entries([CORRECTION]):
        corrected.setdefault(int(str(entry.body["entry"])), []).append(entry.n)
    entries = book.entries(kinds, start_ms, end_ms, newest_first=True, limit=limit, before=before)
    return [record_row(entry, corrected.get(entry.n, [])) for entry in entries]


def record_row(entry: Recorded, corrected_by: list[int]) -> Json:
    body: Mapping[str, Any] = entry.body
    return {
        "n": entry.n,
        "time": iso_ms(entry.time_ms),
        "kind": entry.kind,
        "body": dict(body),
        "hash": entry.hash,
        "corrected_by": corrected_by,
    }
