"""What people say of a fault: how it was found, its cause, the part, what was done, the dips, and that it is closed.

Knows that nothing is ever changed: a correction is a new entry that points at the old one, which then no longer counts.
Refuses to know faults (the caller says whether there is such a one and whether it goes on) and texts' meaning.
"""

from collections.abc import Iterable, Mapping, Sequence
from typing import Any, Final, NamedTuple

from models.reading import Instant

TEXTS: Final = ("found_by", "cause", "part", "action", "comment")
DIPS: Final = ("dip_before_m", "dip_after_m")
SAID: Final = (*TEXTS, *DIPS)
ITSELF: Final = "gaugehouse"
"""Who found a fault of which nobody says otherwise."""

FLAG_OPEN: Final = "goes on"
FLAG_WAITS: Final = "not closed"
FLAG_NO_CAUSE: Final = "closed without cause"


class Statement(NamedTuple):
    """One entry of a named person. corrects: the number of the entry of this fault that it replaces."""

    by: str
    found_by: str = ""
    cause: str = ""
    part: str = ""
    action: str = ""
    comment: str = ""
    dip_before_m: float | None = None
    dip_after_m: float | None = None
    close: bool = False
    corrects: int | None = None

    @property
    def says_something(self) -> bool:
        return self.close or self.corrects is not None or any(getattr(self, name) not in ("", None) for name in SAID)


class Written(NamedTuple):
    """status: done, already, unknown, refused, with a text for all but done. entry: the number it got."""

    status: str
    text: str = ""
    entry: int = 0
    by: str = ""
    time_ms: int | None = None


class Said(NamedTuple):
    """What the entries of a fault together say: the newest word on each matter, corrected entries left out."""

    found_by: str = ITSELF
    cause: str = ""
    part: str = ""
    action: str = ""
    comment: str = ""
    dip_before_m: float | None = None
    dip_after_m: float | None = None
    closed_by: str = ""
    closed_ms: int | None = None


def said(entries: Iterable[tuple[int, int, Mapping[str, Any]]]) -> Said:
    """entries: number, time and body (the fields of `Statement`) of each entry of one fault, oldest first."""
    kept = {number: (time_ms, body) for number, time_ms, body in entries}
    for _, body in list(kept.values()):
        kept.pop(body.get("corrects") or 0, None)
    out = Said()
    for time_ms, body in kept.values():
        news = {name: body[name] for name in SAID if body.get(name) not in ("", None)}
        out = out._replace(**news)
        if body.get("close") and out.closed_ms is None:
            out = out._replace(closed_by=body["by"], closed_ms=time_ms)
    return out


def flag(summary: Said, *, going_on: bool) -> str:
    """What is still to be done about a fault, empty for nothing."""
    if going_on:
        return FLAG_OPEN
    if summary.closed_ms is None:
        return FLAG_WAITS
    return "" if summary.cause else FLAG_NO_CAUSE


class Casebook:
    """Which entries each fault has, as far as the next entry needs it. A room of the core."""

    def __init__(self) -> None:
        self._entries: dict[str, list[dict[str, Any]]] = {}
        self._dirty: set[str] = set()

    def write(self, at: Instant, key: str, statement: Statement, *, going_on: bool) -> Written:
        """Take an entry on the fault of a key. going_on: it has not ended, and so cannot be closed."""
        entries = self._entries.get(key, [])
        live = _live(entries)
        if statement.corrects is not None and statement.corrects not in live:
            there = ", ".join(map(str, live)) or "none"
            return Written("unknown", f"there is no entry {statement.corrects} to be corrected; entries: {there}")
        closed = next((e for n, e in live.items() if e["close"] and n != statement.corrects), None)
        if statement.close and closed is not None:
            return Written("already", f"was closed by {closed['by']}", closed["n"], closed["by"], closed["time_ms"])
        if statement.close and going_on:
            return Written("refused", "it still goes on; close it when it has ended, and write what is known without")
        number = len(entries) + 1
        entry = {"n": number, "by": statement.by, "time_ms": at.time_ms}
        entry |= {"close": statement.close, "corrects": statement.corrects}
        self._entries[key] = [*entries, entry]
        self._dirty.add(key)
        return Written("done", "", number, statement.by, at.time_ms)

    def save(self, changed_only: bool) -> dict[str, Any]:
        keys: Sequence[str] = sorted(self._dirty) if changed_only else sorted(self._entries)
        self._dirty.clear()
        return {key: self._entries[key] for key in keys}

    def restore(self, saved: Mapping[str, Any]) -> None:
        self._entries = {key: list(entries) for key, entries in saved.items()}


def _live(entries: Sequence[Mapping[str, Any]]) -> dict[int, Mapping[str, Any]]:
    """Entries by number, without those that were corrected."""
    corrected = {entry["corrects"] for entry in entries}
    return {entry["n"]: entry for entry in entries if entry["n"] not in corrected}
