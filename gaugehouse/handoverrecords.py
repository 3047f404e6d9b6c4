"""Shifts that were handed over, as the record book keeps them: each with who took it over, if anybody did."""

from typing import Any

from gaugehouse.handoveracts import GIVEN, HANDOVER
from history.book import BookReader

Json = dict[str, Any]


def handover_rows(book: BookReader) -> list[Json]:
    """All of them, newest first: `taken_by`, `taken` and `taken_notes` are empty while nobody took one over."""
    rows: dict[int, Json] = {}
    for entry in book.entries([HANDOVER]):
        body: Json = dict(entry.body)
        number = body["number"]
        if body.pop("event") == GIVEN:
            rows[number] = body | {"taken_by": "", "taken": None, "taken_notes": ""}
        elif number in rows:
            rows[number] |= {"taken_by": body["by"], "taken": body["time"], "taken_notes": body["notes"]}
    return list(rows.values())[::-1]
