"""What the record book's entries say of alarms and faults: how they are written and how they are read back as rows.

One writer (the core's decisions) and one reader for the pages and the commands, side by side.
"""

from collections.abc import Collection
from typing import Any, Final

from alerts.alarm import Transition
from alerts.faults import FaultChange
from gaugehouse.days import iso_ms
from history.book import BookReader

ALARM: Final = "alarm"
FAULT: Final = "fault"

Row = dict[str, Any]


def alarm_body(transition: Transition) -> Row:
    """An alarm transition as an entry's body; its time and tick are the entry's own."""
    t = transition
    body: Row = {
        "source": t.source,
        "condition": t.condition,
        "priority": t.priority,
        "event": t.event.value,
        "state": t.state.value,
        "occurrence": t.occurrence,
    }
    extra = {"by": t.by, "comment": t.comment, "value": t.value}
    return body | {name: value for name, value in extra.items() if value not in ("", None)}


def fault_body(change: FaultChange) -> Row:
    """What became known of a loop fault as an entry's body. The newest entry of a fault tells all of it."""
    fault = change.fault
    return {
        "change": change.change,
        "instrument": fault.instrument,
        "number": fault.number,
        "class": fault.fault_class,
        "start_ms": fault.start_ms,
        "end_ms": fault.end_ms,
        "min_mA": fault.min_mA,
        "max_mA": fault.max_mA,
        "status": fault.ne107,
    }


def alarm_rows(
    book: BookReader,
    sources: Collection[str] | None = None,
    from_ms: int | None = None,
    to_ms: int | None = None,
    *,
    newest: int | None = None,
) -> list[Row]:
    """Alarm transitions with from <= t < to in the order they happened; `newest`: at most so many, the last ones."""
    rows: list[Row] = []
    for entry in book.entries([ALARM], from_ms, to_ms, newest_first=True):
        body = entry.body
        if sources is not None and body["source"] not in sources:
            continue
        rows.append({"time": iso_ms(entry.time_ms), "id": f"{body['source']}.{body['condition']}", **body})
        if newest is not None and len(rows) >= newest:
            break
    return rows[::-1]


def fault_rows(
    book: BookReader,
    instruments: Collection[str] | None = None,
    from_ms: int | None = None,
    to_ms: int | None = None,
) -> list[Row]:
    """Loop faults that touch from <= t < to, oldest first: each as its newest entry tells it, `end` None while open."""
    faults: dict[tuple[str, int], Row] = {}
    for entry in book.entries([FAULT], None, to_ms):
        body: Row = dict(entry.body)
        if instruments is None or body["instrument"] in instruments:
            faults[body["instrument"], body["number"]] = body
    touching = [f for f in faults.values() if from_ms is None or f["end_ms"] is None or f["end_ms"] >= from_ms]
    touching.sort(key=lambda f: (f["start_ms"], f["instrument"], f["number"]))
    return [
        {
            "instrument": fault["instrument"],
            "start": iso_ms(fault["start_ms"]),
            "end": None if fault["end_ms"] is None else iso_ms(fault["end_ms"]),
            "class": fault["class"],
            "min_mA": fault["min_mA"],
            "max_mA": fault["max_mA"],
            "status": fault["status"],
        }
        for fault in touching
    ]
