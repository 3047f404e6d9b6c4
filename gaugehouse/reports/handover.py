"""The shift handover: what stands, what moves and has moved, what was decided, what the tanks hold, what is due.

Of a shift that goes on everything is told as the core has it now; of one that is over as the record book tells it of
its end. What is due is always told as of the time at which the report is made.
"""

from typing import Any, Final

from alerts.alarm import AlarmView
from alerts.errors import BadSetup
from console.words import CONDITIONS, STATES
from gaugehouse.days import iso_ms, parse_ms
from gaugehouse.drainrecords import checks_of
from gaugehouse.faultrecords import fault_rows
from gaugehouse.handoverrecords import handover_rows
from gaugehouse.receiptrecords import receipts_of
from gaugehouse.records import alarm_rows
from gaugehouse.reports import due, movements
from gaugehouse.reports.model import (
    Column,
    Field,
    Kind,
    Period,
    Report,
    Signature,
    Table,
    identity,
    number,
    table,
    volume,
)
from gaugehouse.reports.sources import Sources, bearing_of
from gaugehouse.statusrecords import status_rows
from inventory.draincheck import DrainResult

Json = dict[str, Any]

TITLE: Final = "Shift handover"

LATE_MS: Final = 3_600_000
"""Notes written so long after a shift's end are still its own."""

RAISED: Final = ("raised", "raised_again")

STANDS: Final = (
    number("priority", "Prio-\nrity", "", 0, share=0.5),
    Column("name", "Alarm", share=2),
    Column("source", "Source", share=1.1),
    Column("state", "State", share=1.6),
    Column("since", "Since", Kind.TIME, share=1.3),
    Column("by", "By", share=1.1),
    Column("until", "Until", Kind.TIME, share=1.3),
    Column("comment", "Comment", share=2.4),
)
TANKS: Final = (
    Column("name", "Tank", share=1.4),
    identity("tank"),
    Column("product", "Product", share=1.1),
    Column("status", "Status", share=1.3),
    Column("since", "Since", Kind.TIME, share=1.3),
    Column("settled", "Settled at", Kind.TIME, share=1.3),
    number("level_m", "Level", "m", 5, shown=3),
    number("temperature_degC", "Liquid", "°C", 3, shown=1),
    volume("gov_m3", "GOV"),
    volume("gsv_m3", "GSV"),
    volume("gsv_u95_m3", "±"),
    Column("why", "Why", share=1.6),
)
RECEIPTS: Final = (
    number("number", "No.", "", 0, share=0.5),
    Column("tank_name", "Tank", share=1.2),
    identity("tank"),
    Column("note", "Delivery note", share=1.3),
    Column("stage", "Stage or decision", share=1.6),
    Column("by", "By", share=1.1),
    Column("time", "At", Kind.TIME, share=1.3),
    volume("paper_m3", "Papers"),
    volume("tank_m3", "Measured"),
    volume("difference_m3", "Measured\nless papers", signed=True),
    volume("u95_m3", "±", share=0.8),
    Column("basis", "Volumes", share=0.9),
    Column("told", "Not done, comment", share=2.4),
)
FAULTS: Final = (
    Column("instrument", "Loop", share=1.3),
    number("number", "No.", "", 0, share=0.5),
    Column("class", "Class", share=1.1),
    Column("start", "From", Kind.TIME, share=1.3),
    Column("end", "To", Kind.TIME, share=1.3),
    Column("flag", "State", share=1.1),
    Column("cause", "Cause told", share=1.8),
    Column("action", "Done about it", share=1.8),
    Column("closed_by", "Closed by", share=1.1),
)
ORDERED: Final = (
    Column("tank_name", "Tank", share=1.4),
    identity("tank"),
    Column("kind", "Kind"),
    volume("quantity_m3", "Ordered"),
    volume("moved_m3", "Moved so far", signed=True),
    Column("by", "By"),
    Column("made", "Ordered at", Kind.TIME, share=1.3),
)
CHECKS: Final = (
    Column("instrument", "Loop", share=1.5),
    Column("by", "By"),
    Column("until", "Returns by itself at", Kind.TIME, share=1.5),
)
NOTES: Final = (
    number("number", "No.", "", 0, share=0.4),
    Column("by", "Handed over by", share=1.2),
    Column("time", "At", Kind.TIME, share=1.2),
    Column("notes", "Notes", share=4),
    Column("taken_by", "Taken over by", share=1.2),
    Column("taken", "Taken over at", Kind.TIME, share=1.2),
    Column("taken_notes", "Their notes", share=3),
)


def report(sources: Sources, period: Period) -> Report:
    bearing = bearing_of(sources)
    notes = _notes(sources, period)
    told = due.found(sources)
    wanted = [row for row in told["dues"] if row["state"] in ("overdue", "due")]
    receipts = _receipts(sources, period)
    raised = [
        row for row in alarm_rows(sources.book, None, period.from_ms, period.to_ms) if row["event"] in RAISED
    ]  # fmt: skip
    names = (notes[0]["by"], notes[0]["taken_by"]) if notes else (bearing.made_by, "")
    return Report(
        "handover", TITLE, bearing, period,
        [
            table("notes", "Notes", NOTES, notes, empty="nobody has written notes for this shift"),
            table("alarms", f"Alarms that stand {_when(sources, period)}", STANDS, _stands(sources, period),
                  empty="none stands"),
            *_checks(sources, period),
            table("tanks", f"Tanks {_when(sources, period)}", TANKS, _tanks(sources, period)),
            *_ordered(sources, period),
            movements.listed(movements.rows_of(sources, period)),
            table("receipts", "Receipts", RECEIPTS, receipts, empty="no receipt in that time"),
            _faults(sources, period),
            due.listed(wanted, "What is due now, when this report is made"),
        ],
        [Field("Alarms raised in the shift", str(len(raised))), Field("±", "expanded uncertainty, 95 %")],
        [*_not_taken(notes), *_drains(sources, period), *due.late(told)],
        signatures=[Signature("Handing over", names[0]), Signature("Taking over", names[1])],
    )  # fmt: skip


def _going(sources: Sources, period: Period) -> bool:
    return period.to_ms >= sources.now_ms


def _when(sources: Sources, period: Period) -> str:
    return "now" if _going(sources, period) else "at the end of the shift"


def _notes(sources: Sources, period: Period) -> list[Json]:
    """Newest first."""
    return [
        row for row in handover_rows(sources.book)
        if period.from_ms <= parse_ms(row["time"]) < period.to_ms + LATE_MS
    ]  # fmt: skip


def _not_taken(notes: list[Json]) -> list[str]:
    if not notes:
        return ["Nobody has handed this shift over."]
    return [f"Handover {row['number']} by {row['by']}: not taken over." for row in notes if not row["taken_by"]]


def _stands(sources: Sources, period: Period) -> list[Json]:
    if _going(sources, period):
        rows = [_of_view(view) for view in sources.state.standing]
    else:
        newest = {row["id"]: row for row in alarm_rows(sources.book, None, None, period.to_ms)}
        rows = [_of_entry(sources, row) for row in newest.values() if row["state"] != "normal"]
    return sorted(rows, key=lambda row: (row["priority"], row["since"] or "", row["source"]))


def _of_view(view: AlarmView) -> Json:
    hide = view.hides[0] if view.hides else None
    since = view.raised_ms if hide is None else hide.since_ms
    due_ms = None if hide is None or hide.due is None else hide.due.time_ms
    return {
        "priority": view.priority, "name": view.name, "source": view.source, "state": STATES[view.state.value],
        "since": None if since is None else iso_ms(since),
        "by": view.acknowledged_by if hide is None else hide.by,
        "until": None if due_ms is None else iso_ms(due_ms),
        "comment": view.comment if hide is None else hide.reason,
    }  # fmt: skip


def _of_entry(sources: Sources, row: Json) -> Json:
    until = row.get("until_ms")
    return {
        "priority": row["priority"], "name": _name(sources, row["source"], row["condition"]),
        "source": row["source"], "state": STATES[row["state"]], "since": row["time"], "by": row.get("by", ""),
        "until": None if until is None else iso_ms(until), "comment": row.get("comment", ""),
    }  # fmt: skip


def _name(sources: Sources, source: str, condition: str) -> str:
    """By the alarm sheet in force; of a condition that it no longer has, the words of the pages."""
    try:
        return sources.site.sheet.entry(source, condition).name
    except BadSetup:
        return CONDITIONS.get(condition, condition)


def _checks(sources: Sources, period: Period) -> list[Table]:
    rows = sources.state.checks
    if not rows or not _going(sources, period):
        return []
    return [table("checks", "Loop checks under way: their alarms cannot come", CHECKS, rows)]


def _tanks(sources: Sources, period: Period) -> list[Json]:
    if _going(sources, period):
        status = {row["tank"]: row for row in sources.state.status}
    else:
        status = {
            row["tank"]: {"status": row["to"], "since": row["time"], "settling": None}
            for row in status_rows(sources.book, None, None, period.to_ms)
        }
    rows = []
    for line in sources.stock_at(min(period.to_ms - 1, sources.now_ms)).tanks:
        kept = status.get(line.tank, {})
        settling = kept.get("settling") or {}
        rows.append(
            line._asdict()
            | {"status": kept.get("status", "not kept"), "since": kept.get("since"), "settled": settling.get("until")}
        )
    return rows


def _ordered(sources: Sources, period: Period) -> list[Table]:
    rows = [row | {"tank_name": sources.name_of(row["tank"])} for row in sources.state.plans]
    if not rows or not _going(sources, period):
        return []
    return [table("ordered", "Movements that are ordered", ORDERED, rows)]


def _receipts(sources: Sources, period: Period) -> list[Json]:
    """Those that are open, then those that were decided in the shift."""
    rows: list[Json] = []
    if _going(sources, period):
        for one in sources.state.receipts:
            standard = one["standard_m3"] is not None
            rows.append(one | {
                "tank_name": sources.name_of(one["tank"]), "time": one["made"],
                "paper_m3": one["standard_m3"] if standard else one["observed_m3"],
                "basis": "standard" if standard else "as measured", "told": _lacks(one["not_done"], ""),
            })  # fmt: skip
    for one in receipts_of(sources.book):
        if period.from_ms <= one["time_ms"] < period.to_ms:
            rows.append(_decided(one))
    return rows


def _decided(one: Json) -> Json:
    found = one["reconciliation"] or {}
    basis = "standard" if found.get("standard") is not None else "observed"
    quantity = found.get(basis) or {}
    lacks = [check["what"] for check in one["checks"] if not check["done"]]
    return {
        "number": one["number"],
        "tank": one["tank"],
        "tank_name": one["tank_name"],
        "note": one["paper"]["note"],
        "stage": one["stage"],
        "by": one["decided_by"],
        "time": one["time"],
        "basis": "standard" if basis == "standard" else "as measured",
        **{name: quantity.get(name) for name in ("paper_m3", "tank_m3", "difference_m3", "u95_m3")},
        "told": _lacks(lacks, one["comment"]),
    }


def _lacks(checks: list[str], comment: str) -> list[str]:
    return [*([f"not done: {', '.join(checks)}"] if checks else []), *([comment] if comment else [])]


def _faults(sources: Sources, period: Period) -> Table:
    """Those that touch the shift, and those that go on."""
    rows = [
        row | {"class": row["class"].replace("_", " "), "flag": row["flag"] or "closed"}
        for row in fault_rows(sources.book, None, period.from_ms, period.to_ms)
    ]
    return table("faults", "Faults of the loops", FAULTS, rows, empty="none")


def _drains(sources: Sources, period: Period) -> list[str]:
    """Drain checks of which somebody wrote that they were not done."""
    return [
        f"{sources.name_of(check.tank)}: drain check of {check.day} not done ({check.by}): {check.why}"
        for check in checks_of(sources.book)
        if check.result is DrainResult.NOT_DONE and period.from_ms <= check.time_ms < period.to_ms
    ]
