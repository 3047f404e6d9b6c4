"""What the record book's entries say of loop faults: how they are written and how they are read back as rows.

The newest entry of kind "fault" tells all that the program knows of a fault; entries of kind "fault_entry" are what
people said of it, each for ever as it was written. A row puts both together.
"""

from collections.abc import Collection, Iterable, Mapping
from typing import Any, Final

from alerts.casebook import SAID, Statement, flag, said
from alerts.faultfigures import repeats
from alerts.faultlog import Case
from alerts.faults import Fault, FaultChange
from gaugehouse.days import iso_ms
from gaugehouse.rows import fixed
from history.book import BookReader

FAULT: Final = "fault"
FAULT_ENTRY: Final = "fault_entry"

REPEAT_DAYS: Final = (30, 90)

Row = dict[str, Any]
Entries = list[tuple[int, int, Mapping[str, Any]]]


def fault_body(change: FaultChange, case: Case) -> Row:
    """What became known of a loop fault as an entry's body."""
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
        "entry_mA": fault.entry_mA,
        **case._asdict(),
        "blinded": list(case.blinded),
    }


def statement_body(instrument: str, number: int, entry: int, statement: Statement) -> Row:
    """What a person said of a fault as an entry's body."""
    told = {name: value for name, value in statement._asdict().items() if value not in ("", None, False)}
    return {"instrument": instrument, "number": number, "entry": entry, **told}


def fault_cells(fault: Fault, case: Case) -> list[str]:
    """One row of faults.csv; an open fault has an empty end and no time of blindness yet."""
    end = "" if fault.end_ms is None else iso_ms(fault.end_ms)
    return [
        fault.instrument, iso_ms(fault.start_ms), end, fault.fault_class,
        fixed(fault.min_mA, 4), fixed(fault.max_mA, 4),
        fault.ne107, str(fault.number), fixed(fault.entry_mA, 4), fixed(case.before_mA, 4), fixed(case.level_m, 5),
        fixed(case.noise_before_m, 5), case.movement, " ".join(case.blinded),
        fixed(blinded_s(case.blinded, fault.start_ms, fault.end_ms), 3),
    ]  # fmt: skip


def blinded_s(blinded: Collection[str], start_ms: int, end_ms: int | None) -> float | None:
    """How long alarms could not come; None while it goes on, and 0 where none was taken away."""
    if not blinded:
        return 0.0
    return None if end_ms is None else (end_ms - start_ms) / 1000


def fault_rows(
    book: BookReader,
    instruments: Collection[str] | None = None,
    from_ms: int | None = None,
    to_ms: int | None = None,
) -> list[Row]:
    """Loop faults that touch from <= t < to, oldest first, `end` None while one goes on."""
    faults: dict[tuple[str, int], Row] = {}
    for entry in book.entries([FAULT], None, to_ms):
        body: Row = dict(entry.body)
        if instruments is None or body["instrument"] in instruments:
            faults[body["instrument"], body["number"]] = body
    told = _told(book, instruments)
    starts: dict[tuple[str, str], list[int]] = {}
    for fault in sorted(faults.values(), key=lambda f: f["start_ms"]):
        starts.setdefault((fault["instrument"], fault["class"]), []).append(fault["start_ms"])
    touching = [f for f in faults.values() if from_ms is None or f["end_ms"] is None or f["end_ms"] >= from_ms]
    touching.sort(key=lambda f: (f["start_ms"], f["instrument"], f["number"]))
    return [
        _row(f, told.get((f["instrument"], f["number"]), []), starts[f["instrument"], f["class"]]) for f in touching
    ]


def _told(book: BookReader, instruments: Collection[str] | None) -> dict[tuple[str, int], Entries]:
    """What people said, by fault, in the order in which it was written, whenever that was."""
    told: dict[tuple[str, int], Entries] = {}
    for entry in book.entries([FAULT_ENTRY]):
        body: Row = dict(entry.body)
        if instruments is None or body["instrument"] in instruments:
            key = (body["instrument"], body["number"])
            told.setdefault(key, []).append((body["entry"], entry.time_ms, body))
    return told


def _row(fault: Row, entries: Entries, starts_ms: list[int]) -> Row:
    summary = said(entries)
    row = {
        "instrument": fault["instrument"],
        "start": iso_ms(fault["start_ms"]),
        "end": _iso(fault["end_ms"]),
        "class": fault["class"],
        "min_mA": fault["min_mA"],
        "max_mA": fault["max_mA"],
        "status": fault["status"],
        "number": fault["number"],
    }
    for name in ("entry_mA", "before_mA", "level_m", "noise_before_m"):
        row[name] = fault.get(name)  # a book from before these were kept lacks them
    row["movement"] = fault.get("movement", "")
    row["blinded"] = list(fault.get("blinded", ()))
    row["blinded_s"] = blinded_s(row["blinded"], fault["start_ms"], fault["end_ms"])
    row["around"] = dict(fault.get("around", {}))
    row |= {name: getattr(summary, name) for name in SAID}
    row |= {"closed_by": summary.closed_by, "closed": _iso(summary.closed_ms)}
    row["flag"] = flag(summary, going_on=fault["end_ms"] is None)
    row |= {f"repeats_{days}d": repeats(starts_ms, fault["start_ms"], days) for days in REPEAT_DAYS}
    row["entries"] = [_entry(number, time_ms, body) for number, time_ms, body in entries]
    return row


def _entry(number: int, time_ms: int, body: Mapping[str, Any]) -> Row:
    told: Iterable[tuple[str, Any]] = ((name, body.get(name)) for name in SAID)
    return {
        "entry": number,
        "time": iso_ms(time_ms),
        "by": body["by"],
        **{name: value for name, value in told if value is not None},
        "close": bool(body.get("close")),
        "corrects": body.get("corrects"),
    }


def _iso(time_ms: int | None) -> str | None:
    return None if time_ms is None else iso_ms(time_ms)
