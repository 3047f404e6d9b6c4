"""A report in words: cells as people read them, for the page and for the paper alike. Works nothing out."""

from datetime import UTC, datetime
from typing import Final
from zoneinfo import ZoneInfo

from console.facts import Json
from console.figures import NBSP, NOTHING, number
from console.numbers import feet
from console.units import BY_UNIT, Shown, units_now
from console.words import MONTHS

SCRIPT: Final = {
    "name_first": "Please write your name first.",
    "given": "Handed over, number {number}.",
    "taken": "Shift {number} taken over.",
    "failed": "Not written down: {why}",
    "offline": "The console does not answer.",
}

UNREAD: Final = "the record book or the readings cannot be read now"
NOT_NAMED: Final = "not named"
INVENTED: Final = "SIMULATED FARM: invented figures, not a record of any real tank"


def view(report: Json) -> Json:
    """A report of `console.facts.reports.ReportFacts.report` for the page."""
    zone = ZoneInfo(report["zone"])
    return {
        "title": report["title"],
        "period": period_words(report),
        "bears": [[label, value] for label, value in bears(report)],
        "fields": report["fields"],
        "not_done": report["not_done"],
        "tables": [
            {
                "title": table["title"],
                "note": table["note"],
                "empty": table["empty"],
                "columns": [
                    {"head": head(column), "figure": column["kind"] == "number"} for column in table["columns"]
                ],
                "rows": [
                    {"cells": texts(table, row, zone), "strong": place in table["strong"]}
                    for place, row in enumerate(table["rows"])
                ],
                "sums": sums(table) if table["sums"] else [],
            }
            for table in map(narrow, report["tables"])
        ],
        "notes": report["notes"],
        "simulated": INVENTED if report["simulated"] else "",
        "signatures": report["signatures"],
    }


def handed(row: Json, zone: ZoneInfo) -> Json:
    """A shift that was handed over."""
    return row | {
        "at": moment(row["time"], zone),
        "span": f"{moment(row['from'], zone)} to {moment(row['to'], zone)}",
        "taken_at": "" if row["taken"] is None else moment(row["taken"], zone),
    }


def narrow(table: Json) -> Json:
    """A table without the columns that are for files alone."""
    return table | {"columns": [column for column in table["columns"] if not column["wide"]]}


def bears(report: Json) -> list[tuple[str, str]]:
    """What every report bears, label and value."""
    zone = ZoneInfo(report["zone"])
    return [
        ("Site", f"{report['site_name']} ({report['site']})"),
        ("Period", period_words(report)),
        ("Volume correction", report["edition"]),
        ("Reference temperature", f"{report['reference_degC']:g}{NBSP}°C"),
        ("Made", f"{moment(report['made'], zone)} {report['zone']}, by {report['made_by'] or NOT_NAMED}"),
        ("Record book", report["head"]),
    ]


def period_words(report: Json) -> str:
    """The period with what it is on the site's clock."""
    zone, period = ZoneInfo(report["zone"]), report["period"]
    start, end = moment(period["from"], zone), moment(period["to"], zone)
    name = f"{period['name']}: " if period["name"] else ""
    going = ", goes on: figures as of now" if period["going"] else ""
    if period["from"] == period["to"]:
        return f"{name}as of {end}{going}"
    return f"{name}{start} to {end}{going}"


def head(column: Json) -> str:
    by = _shown(column)
    unit = column["unit"] if by is None else by.unit
    return f"{column['head']} [{unit}]" if unit else column["head"]


def _shown(column: Json) -> Shown | None:
    """How a figure is shown to a person of US units; None where as it is. Files and papers are made under no choice."""
    return BY_UNIT.get(column["unit"]) if units_now() == "us" else None


def texts(table: Json, row: Json, zone: ZoneInfo) -> list[str]:
    """A row's cells as texts."""
    return [text_of(column, row[column["name"]], zone) for column in table["columns"]]


def text_of(column: Json, value: float | str | None, zone: ZoneInfo) -> str:
    kind = column["kind"]
    if value is None:
        return NOTHING if kind == "number" else ""
    if kind == "number":
        by = _shown(column)
        if by is not None:
            told = float(value) * by.factor + by.offset
            return feet(told) if by.form == "feet" else number(told, by.decimals, signed=column["signed"])
        decimals = column["decimals"] if column["shown"] is None else column["shown"]
        return number(float(value), decimals, signed=column["signed"])
    if kind == "time":
        return moment(str(value), zone)
    return day(str(value)) if kind == "day" else str(value)


def sums(table: Json) -> list[str]:
    """The line of sums below a table; empty where a column has none."""
    told: list[str] = []
    for column in table["columns"]:
        value = table["sums"].get(column["name"])
        told.append("" if value is None else text_of(column, value, ZoneInfo("Etc/UTC")))
    if told and not told[0]:
        told[0] = "Sum"
    return told


def moment(text: str, zone: ZoneInfo) -> str:
    """A time whole, to the minute, on the site's clock: papers are read years later."""
    local = datetime.fromisoformat(text).astimezone(zone)
    return f"{local.day} {MONTHS[local.month - 1]} {local.year} {local:%H:%M}"


def day(text: str) -> str:
    when = datetime.fromisoformat(text).replace(tzinfo=UTC)
    return f"{when.day} {MONTHS[when.month - 1]} {when.year}"
