"""Documents as the record book keeps them: those that stand, and the history of each.

Nothing in the book is ever changed: a document that was undone is there still, with who undid it and when.
"""

from collections.abc import Iterable
from typing import Any, NamedTuple

from gaugehouse.days import iso_ms, parse_ms
from gaugehouse.documentacts import DOCUMENT, UNDONE
from history.book import BookReader
from inventory.documents import Document, document_from, document_json

Json = dict[str, Any]

SLACK_MS = 3 * 86_400_000
"""A document is never entered before its day begins; clocks that were set and days that begin at any hour fit in."""


class Undone(NamedTuple):
    """Who took a document out, when, why, and the number of the one in its place (None for none)."""

    by: str
    time_ms: int
    comment: str
    instead: int | None


class Kept(NamedTuple):
    """A document as the book has it. entry: the number of its entry; undone: None while it stands."""

    entry: int
    document: Document
    undone: Undone | None = None


def history_of(book: BookReader, from_ms: int | None = None) -> list[Kept]:
    """Every document that was ever entered (from a time on), with what became of it, by number."""
    kept: dict[int, Kept] = {}
    for entry in book.entries([DOCUMENT, UNDONE], from_ms):
        body: Json = dict(entry.body)
        if entry.kind == DOCUMENT:
            document = document_from(body)
            kept[document.number] = Kept(entry.n, document)
        elif body["number"] in kept:
            undone = Undone(body["by"], entry.time_ms, body["comment"], body["instead"])
            kept[body["number"]] = kept[body["number"]]._replace(undone=undone)
    return [kept[number] for number in sorted(kept)]


def documents_of(book: BookReader) -> list[Document]:
    """All documents that stand, by number. Each counts with its own volumes on its own day; none replaces another."""
    return [one.document for one in history_of(book) if one.undone is None]


def documents_between(book: BookReader, first: str, last: str) -> list[Kept]:
    """Documents of the days first <= day <= last, undone ones too, by day and number."""
    found = history_of(book, parse_ms(f"{first}T00:00:00Z") - SLACK_MS)
    return sorted(
        (one for one in found if first <= one.document.day <= last),
        key=lambda one: (one.document.day, one.document.number),
    )


def document_with(book: BookReader, number: int) -> Kept | None:
    """The document with a number, None where there is none."""
    return next((one for one in history_of(book) if one.document.number == number), None)


def put_right(kept: Iterable[Kept]) -> dict[int, list[int]]:
    """Documents that stand and put another right, by the number of that one."""
    found: dict[int, list[int]] = {}
    for one in kept:
        if one.undone is None and one.document.corrects is not None:
            found.setdefault(one.document.corrects, []).append(one.document.number)
    return found


def kept_json(kept: Kept) -> Json:
    """A document with what became of it, for programs."""
    document = document_json(kept.document)
    document["time"] = iso_ms(document.pop("time_ms"))
    return document | {"entry": kept.entry, "undone": undone_json(kept.undone)}


def undone_json(undone: Undone | None) -> Json | None:
    if undone is None:
        return None
    return {
        "by": undone.by, "time": iso_ms(undone.time_ms), "comment": undone.comment, "instead": undone.instead
    }  # fmt: skip
