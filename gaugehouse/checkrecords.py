"""Loop check records as the record book keeps them: found by number, each with the entry that vouches for it."""

from collections.abc import Iterator
from typing import Any

from gaugehouse.loopchecks import ABORTED, FINISHED, KIND, TIME_OVER
from gaugehouse.simulatedbook import was_simulated
from history.book import BookReader
from history.chain import Recorded

Json = dict[str, Any]

ENDS = (FINISHED, ABORTED, TIME_OVER)


def records(book: BookReader, instrument: str | None = None) -> Iterator[Json]:
    """Every record, newest first. `head`: the head of the book that its entry makes, for `verify --against`."""
    for entry in book.entries([KIND], newest_first=True):
        if entry.body["change"] in ENDS and instrument in (None, entry.body["instrument"]):
            yield _record(book, entry)


def record(book: BookReader, number: int) -> Json | None:
    """The record with a number, None where there is none (yet)."""
    return next((one for one in records(book) if one["number"] == number), None)


def row(one: Json) -> Json:
    """A record as a line of a list."""
    return {
        "number": one["number"],
        "instrument": one["instrument"],
        "started_ms": one["started_ms"],
        "ended_ms": one["ended_ms"],
        "by": one["by"],
        "how": one["how"],
        "as_found": one["runs"].get("as_found", {}).get("passes"),
        "as_left": one["runs"].get("as_left", {}).get("passes"),
        "passes": one["passes"],
    }


def _record(book: BookReader, entry: Recorded) -> Json:
    body: Json = dict(entry.body)
    del body["change"]
    return body | {"head": f"{entry.n}:{entry.hash}", "simulated": was_simulated(book, entry.time_ms)}
