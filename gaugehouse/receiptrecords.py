"""Receipts as the record book keeps them: what was decided, each with the entry that vouches for it."""

from collections.abc import Iterator
from itertools import islice
from typing import Any, Final

from gaugehouse.receiptjson import DECIDED, DOCUMENTED, KIND, OFF
from gaugehouse.simulatedbook import was_simulated
from history.book import BookReader
from history.chain import Recorded

Json = dict[str, Any]

ENDS: Final = (DECIDED, OFF)


def receipts_over(book: BookReader) -> Iterator[Json]:
    """Every receipt that is over, newest first. `head`: of the book as its entry makes it, for `verify --against`;
    `document`: the number of its delivery note, None where a person has made none."""
    documents: dict[int, Any] = {}
    for entry in book.entries([KIND], newest_first=True):
        number = int(str(entry.body["number"]))
        if entry.body["event"] == DOCUMENTED:
            documents[number] = entry.body["document"]
        elif entry.body["event"] in ENDS:
            yield _record(book, entry) | {"document": documents.get(number)}


def receipts_of(book: BookReader, limit: int | None = None) -> list[Json]:
    """The newest receipts that are over, at most `limit`."""
    return list(islice(receipts_over(book), limit))


def receipt_record(book: BookReader, number: int) -> Json | None:
    """The receipt with a number, None where none of that number is over."""
    return next((one for one in receipts_over(book) if one["number"] == number), None)


def _record(book: BookReader, entry: Recorded) -> Json:
    simulated = was_simulated(book, entry.time_ms)
    return dict(entry.body) | {"head": f"{entry.n}:{entry.hash}", "simulated": simulated, "time_ms": entry.time_ms}
