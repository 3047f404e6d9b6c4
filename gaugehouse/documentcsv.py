"""Documents as CSV: the file that is written can be read in again.

One row a paper, under the names of its fields; a column of quantities may bear its unit in brackets (`observed [L]`).
Volumes stand as the paper has them, without the sign that the kind gives. Knows rows and columns; refuses to know what
may stand in them.
"""

import csv
import io
from collections.abc import Iterable, Mapping
from typing import Any, Final, NamedTuple

from gaugehouse.days import iso_ms
from gaugehouse.documentfields import COLUMNS, QUANTITIES, Mistake
from gaugehouse.errors import CallError
from gaugehouse.sitefile.problems import listed, nearest
from gaugehouse.sitefile.quantities import converts
from inventory.documentdraft import draft_of
from inventory.documents import Document

TOLD: Final = ("number", "time", "by", "corrects")
"""Columns that are written and, on reading, passed over: the book gives these itself."""


VOLUMES: Final = frozenset(field for field, unit, _ in QUANTITIES.values() if unit == "m3")


class Row(NamedTuple):
    """A row of the file. line: where it begins, the head is line 1; columns: field to the name in the head."""

    line: int
    fields: Mapping[str, Any]
    columns: Mapping[str, str]
    mistakes: tuple[Mistake, ...] = ()


class Column(NamedTuple):
    """A column of the head: what it is in the file, which field it gives, the unit in its brackets."""

    title: str
    field: str
    unit: str


def rows_of(text: str) -> list[Row]:
    """The rows of a file. Raises `CallError` with every mistake of its head."""
    text = text.removeprefix("\ufeff")
    first = text.split("\n", 1)[0]
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=";" if first.count(";") > first.count(",") else ",")
    try:
        head = next(reader, [])
        columns = _head([title.strip() for title in head])
        names = {column.field: column.title for column in columns if column.field}
        rows = []
        before = reader.line_num
        for cells in reader:
            line, before = before + 1, reader.line_num
            if not any(cell.strip() for cell in cells):
                continue
            mistakes: tuple[Mistake, ...] = ()
            if len(cells) != len(columns):
                found = f"{len(cells)} cells"
                mend = "a cell with a comma goes in quotes" if len(cells) > len(columns) else "write every cell"
                mistakes = (Mistake("row", found, f"{len(columns)} cells, as in the head", mend),)
            rows.append(Row(line, _fields(columns, cells), names, mistakes))
    except csv.Error as error:
        raise CallError(f"line {reader.line_num}: no CSV: {error}; mend the quotes of that line") from error
    if not rows:
        raise CallError("the file has no rows below its head; write one for each paper")
    return rows


def _head(titles: list[str]) -> list[Column]:
    columns = [_column(title) for title in titles]
    known = [*COLUMNS, *(f"{name} [unit]" for name in QUANTITIES)]
    wrong = []
    seen: set[str] = set()
    for column in columns:
        bare = column.title.partition("[")[0].strip()
        if column.title in TOLD:
            continue
        if not column.field:
            near = nearest(bare, [*COLUMNS, *QUANTITIES])
            wrong.append(f'column "{column.title}" is not known{near or "; known are " + listed(known)}')
        elif column.unit and not converts(column.unit, QUANTITIES[bare][1]):
            wrong.append(f'column "{column.title}": {column.unit} is no unit of {bare}; such as {QUANTITIES[bare][2]}')
        elif column.field in seen or (bare in QUANTITIES and QUANTITIES[bare][0] in seen):
            wrong.append(f'column "{column.title}" is there twice; keep one')
        seen |= {column.field} | ({QUANTITIES[bare][0]} if bare in QUANTITIES else set())
    missing = [name for name in ("kind", "day") if name not in seen]
    wrong += [f'column "{name}" is missing; add it to the head' for name in missing]
    if wrong:
        raise CallError("the head of the file: " + ". ".join(wrong))
    return columns


def _column(title: str) -> Column:
    bare, bracket, rest = title.partition("[")
    bare = bare.strip()
    if bracket and rest.endswith("]") and bare in QUANTITIES:
        return Column(title, bare, rest[:-1].strip())
    return Column(title, title if title in COLUMNS else "", "")


def _fields(columns: Iterable[Column], cells: Iterable[str]) -> dict[str, Any]:
    fields = {}
    for column, cell in zip(columns, cells, strict=False):
        value = cell.strip()
        if column.field and value:
            fields[column.field] = f"{value} {column.unit}" if column.unit else value
    return fields


def csv_of(documents: Iterable[Document]) -> str:
    """Documents as a file, in the order given."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow((*COLUMNS, *TOLD))
    for document in documents:
        writer.writerow([*row_of(document).values(), document.number, iso_ms(document.time_ms), document.by,
                         "" if document.corrects is None else document.corrects])  # fmt: skip
    return out.getvalue()


def row_of(document: Document) -> dict[str, str]:
    """A document as the cells of a row, by column."""
    draft = draft_of(document)
    return {name: _cell(name, getattr(draft, name)) for name in COLUMNS}


def _cell(name: str, value: Any) -> str:
    if value is None or value is False:
        return ""
    if value is True:
        return "yes"
    if isinstance(value, float):
        return f"{value:.4f}" if name in VOLUMES else repr(value)
    return str(value)
