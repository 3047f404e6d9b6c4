"""The due list: what somebody has to do, what is late, and what was never done."""

from typing import Any, Final

from gaugehouse.duework import due_list, dues_of_book
from gaugehouse.reports.model import Column, Field, Kind, Period, Report, Table, identity, table
from gaugehouse.reports.sources import Sources, bearing_of

Json = dict[str, Any]

TITLE: Final = "What is due"

COLUMNS: Final = (
    Column("state", "State", share=0.8),
    Column("what", "What", share=2.6),
    Column("name", "About", share=1.2),
    identity("about"),
    Column("from", "From", Kind.TIME, share=1.3),
    Column("until", "Until", Kind.TIME, share=1.3),
    Column("who", "Who", share=1),
    Column("last", "Last done", share=1.7),
    Column("rule", "Rule", share=2.2),
    Column("note", "Note", share=2),
)


def report(sources: Sources, period: Period) -> Report:
    told = found(sources)
    counts = ", ".join(f"{count} {state}" for state, count in told["counts"].items())
    return Report(
        "due", TITLE, bearing_of(sources), period, [listed(told["dues"])], [Field("Together", counts)], late(told)
    )


def found(sources: Sources) -> Json:
    """Of the core and of the record book, as it is now."""
    dues = [*sources.state.dues, *dues_of_book(sources.site, sources.book, sources.now_ms)]
    told = due_list(dues, sources.now_ms)
    return told | {"dues": [row | {"name": sources.name_of(row["about"])} for row in told["dues"]]}


def late(told: Json) -> list[str]:
    """What was to be done and is not, in sentences."""
    return [
        f"{row['name']}: {row['what']} ({row['kind']}), {_since(row)}, last: {row['last']}"
        for row in told["dues"]
        if row["state"] == "overdue"
    ]


def _since(row: Json) -> str:
    return "overdue" if row["until"] is None else f"overdue since {row['until'][:10]}"


def listed(rows: list[Json], title: str = "What is due") -> Table:
    return table("due", title, COLUMNS, rows, empty="nothing is due")
