"""A report before it is written: title, what it bears, tables of typed columns, notes, lines to sign on.

Knows what every report bears and what a column is; refuses to know where a figure comes from and how it is written.
A cell is a value (float, text, an ISO time or day, None where there is none), never a text made of a figure: every
writer gives the same figures.
"""

from collections.abc import Mapping, Sequence
from enum import StrEnum
from math import fsum
from typing import Any, NamedTuple

from gaugehouse.days import iso_ms

Json = dict[str, Any]
Cell = float | str | None
Row = Sequence[Cell]


class Kind(StrEnum):
    """What the cells of a column are."""

    TEXT = "text"
    NUMBER = "number"
    TIME = "time"  # ISO 8601, UTC
    DAY = "day"  # ISO date of the site's calendar


class Column(NamedTuple):
    """name: for programs. head: for people, without the unit. decimals: of the file; `shown`: on page and paper, None
    for the same. share: of the paper's width. wide: left out of the paper, which has no room for it."""

    name: str
    head: str
    kind: Kind = Kind.TEXT
    unit: str = ""
    decimals: int = 0
    shown: int | None = None
    signed: bool = False
    share: float = 1.0
    wide: bool = False


class Table(NamedTuple):
    """sums: by name of a column what all its rows are together, as the house reckons it and not this table. strong:
    rows that are sums or verdicts themselves. empty: what is said where there is no row."""

    name: str
    title: str
    columns: Sequence[Column]
    rows: Sequence[Row]
    sums: Mapping[str, float] = {}
    strong: frozenset[int] = frozenset()
    empty: str = "none"
    note: str = ""


class Field(NamedTuple):
    label: str
    value: str


class Signature(NamedTuple):
    """A line to sign on. name: who is known to sign it."""

    label: str
    name: str = ""


class Bearing(NamedTuple):
    """What every report bears. made_ms is the site's clock; head: of the record book, ``COUNT:HASH``."""

    site_id: str
    site: str
    zone: str
    made_ms: int
    made_by: str
    head: str
    edition: str
    reference_degC: float
    simulated: bool


class Period(NamedTuple):
    """from <= t < to of a report; name: a day or a month, "" for other spans. going: it has not ended yet."""

    from_ms: int
    to_ms: int
    name: str = ""
    going: bool = False


class Report(NamedTuple):
    """not_done: checks that were not done, each in a sentence."""

    kind: str
    title: str
    bearing: Bearing
    period: Period
    tables: Sequence[Table]
    fields: Sequence[Field] = ()
    not_done: Sequence[str] = ()
    notes: Sequence[str] = ()
    signatures: Sequence[Signature] = ()
    landscape: bool = True


def number(name: str, head: str, unit: str, decimals: int, **more: Any) -> Column:
    return Column(name, head, Kind.NUMBER, unit, decimals, **more)


def volume(name: str, head: str, **more: Any) -> Column:
    """A volume: four decimals of m3 in files, as everywhere in the house; to the litre on paper."""
    return Column(name, head, Kind.NUMBER, "m³", 4, **({"shown": 3} | more))


def identity(name: str) -> Column:
    """An id that scripts rely on; people read the name beside it."""
    return Column(name, "Id", wide=True)


def table(
    name: str, title: str, columns: Sequence[Column], rows: Sequence[Mapping[str, Any]], *,
    sums: Mapping[str, float | None] | None = None, **more: Any,
) -> Table:  # fmt: skip
    """Rows by their columns' names; figures get the decimals of their column, lists become a text."""
    kept = {name: _cell(_of(columns, name), value) for name, value in (sums or {}).items() if value is not None}
    return Table(
        name, title, columns, [[_cell(column, row.get(column.name)) for column in columns] for row in rows],
        {name: float(value) for name, value in kept.items() if value is not None}, **more,
    )  # fmt: skip


def _of(columns: Sequence[Column], name: str) -> Column:
    return next(column for column in columns if column.name == name)


def _cell(column: Column, value: Any) -> Cell:
    if value is None or value == "":
        return None
    if column.kind is Kind.NUMBER:
        return round(float(value), column.decimals) + 0.0
    if isinstance(value, bool):
        return "yes" if value else "no"
    return _joined(list(map(str, value))) if isinstance(value, list | tuple) else str(value)


def _joined(texts: list[str]) -> str:
    """Sentences after each other, other texts parted by semicolons."""
    out = ""
    for text in texts:
        out += f"{'' if not out else ' ' if out.endswith('.') else '; '}{text}"
    return out


def adds_up(found: Table, column: Column) -> bool:
    """Whether a sum of the cells as they stand gives the house's own sum: only then may a sheet reckon it."""
    place = list(found.columns).index(column)
    cells = [row[place] for row in found.rows]
    figures = [cell for cell in cells if isinstance(cell, float)]
    if len(figures) != len(cells):
        return False
    return round(fsum(figures), column.decimals) + 0.0 == found.sums[column.name]


def report_json(report: Report) -> Json:
    """A report for programs and pages: everything that stands in it."""
    bearing, period = report.bearing, report.period
    return {
        "kind": report.kind,
        "title": report.title,
        "site": bearing.site_id,
        "site_name": bearing.site,
        "zone": bearing.zone,
        "period": {"name": period.name, "from": iso_ms(period.from_ms), "to": iso_ms(period.to_ms),
                   "going": period.going},
        "made": iso_ms(bearing.made_ms),
        "made_by": bearing.made_by,
        "head": bearing.head,
        "edition": bearing.edition,
        "reference_degC": bearing.reference_degC,
        "simulated": bearing.simulated,
        "fields": [field._asdict() for field in report.fields],
        "not_done": list(report.not_done),
        "tables": [_table_json(one) for one in report.tables],
        "notes": list(report.notes),
        "signatures": [one._asdict() for one in report.signatures],
    }  # fmt: skip


def _table_json(one: Table) -> Json:
    return {
        "name": one.name,
        "title": one.title,
        "columns": [column._asdict() | {"kind": column.kind.value} for column in one.columns],
        "rows": [
            {column.name: cell for column, cell in zip(one.columns, row, strict=True)} for row in one.rows
        ],
        "sums": dict(one.sums),
        "strong": sorted(one.strong),
        "empty": one.empty,
        "note": one.note,
    }  # fmt: skip
