"""Drain checks as the record book keeps them: those that stand, and what became of the others."""

from collections.abc import Iterator
from typing import Any

from gaugehouse.days import iso_ms
from gaugehouse.drainacts import DRAIN_CHECK, WITHDRAWN
from history.book import BookReader
from inventory.draincheck import DrainCheck, check_from, check_json

Json = dict[str, Any]


def checks_of(book: BookReader, tank: str | None = None) -> list[DrainCheck]:
    """Every check that stands, by day and number."""
    found = [check for check, withdrawn in _all(book, tank) if withdrawn is None]
    return sorted(found, key=lambda check: (check.day, check.number))


def check_rows(book: BookReader, tank: str | None = None) -> list[Json]:
    """Every check that was ever written, oldest first, withdrawn ones with who took them back and why."""
    rows = []
    for check, withdrawn in _all(book, tank):
        row = check_json(check)
        row["time"] = iso_ms(row.pop("time_ms"))
        taken_back = None if withdrawn is None else {name: withdrawn[name] for name in ("by", "time", "comment")}
        rows.append(row | {"withdrawn": taken_back})
    return rows


def _all(book: BookReader, tank: str | None) -> Iterator[tuple[DrainCheck, Json | None]]:
    checks: dict[int, DrainCheck] = {}
    withdrawn: dict[int, Json] = {}
    for entry in book.entries([DRAIN_CHECK, WITHDRAWN]):
        body: Json = dict(entry.body)
        if entry.kind == WITHDRAWN:
            withdrawn[body["number"]] = body
        elif tank in (None, body["tank"]):
            checks[body["number"]] = check_from(body)
    for number, check in checks.items():
        yield check, withdrawn.get(number)
