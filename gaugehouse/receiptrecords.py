"""Receipts as the record book keeps them: what was decided, each with the entry that vouches for it."""

from typing import Any, Final

from gaugehouse.receiptjson import DECIDED, KIND, OFF
from history.book import BookReader
from history.chain import Recorded

Json = dict[str, Any]

ENDS: Final = (DECIDED, OFF)


def receipts_of(book: BookReader, tank: str | None = None) -> list[Json]:
    """Every receipt that is over, newest first. `head`: of the book as its entry makes it, for `verify --against`."""
    found = book.entries([KIND], newest_first=True)
    return [
        _record(book, entry) for entry in found if entry.body["event"] in ENDS and tank in (None, entry.body["tank"])
    ]


def receipt_record(book: BookReader, number: int) -> Json | None:
    """The receipt with a number, None where none of that number is over."""
    for entry in book.entries([KIND], newest_first=True):
        if entry.body["number"] == number and entry.body["event"] in ENDS:
            return _record(book, entry)
    return None


def _record(book: BookReader, entry: Recorded) -> Json:
    started = next(iter(book.entries(["started"], None, entry.time_ms + 1, newest_first=True, limit=1)), None)
    simulated = bool(started is not None and started.body.get("simulated"))
    return dict(entry.body) | {"head": f"{entry.n}:{entry.hash}", "simulated": simulated, "time_ms": entry.time_ms}
