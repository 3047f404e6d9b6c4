"""A report as CSV: what it bears, then a block for each table, blocks parted by an empty line.

The first block is `field,value`; a table's block is a line with its name, a line with its columns, and its rows. `.`
point, missing is empty, times UTC. Sums are left to who reads it: the figures have all the decimals that the house has.

A text that a spreadsheet could take for a formula gets an apostrophe before the sign (OWASP, "CSV Injection"): people's
texts stand in these files.
"""

import csv
import io
import re
from typing import Final

from gaugehouse.reports.model import Cell, Column, Kind, Report, Table, report_json

DANGEROUS: Final = re.compile(r"(^\s*|[;\t\r\n])(?=[=+\-@＝＋－＠])")
"""The start of a cell, and what other spreadsheets may take for the start of one."""


def csv_of(report: Report) -> str:
    """Raises nothing; \\n ends a line."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(["field", "value"])
    writer.writerows([name, safe(value)] for name, value in _head(report))
    for table in report.tables:
        writer.writerow([])
        writer.writerow([table.name])
        _write(writer, table)
    return out.getvalue()


def table_csv(table: Table) -> str:
    """One table alone: its columns and its rows."""
    out = io.StringIO()
    _write(csv.writer(out, lineterminator="\n"), table)
    return out.getvalue()


def safe(text: str) -> str:
    """A text that no spreadsheet takes for a formula."""
    return DANGEROUS.sub(r"\1'", text)


def _write(writer: object, table: Table) -> None:
    write = writer.writerow  # type: ignore[attr-defined]
    write([column.name for column in table.columns])
    for row in table.rows:
        write([_cell(column, cell) for column, cell in zip(table.columns, row, strict=True)])


def _cell(column: Column, cell: Cell) -> str:
    if cell is None:
        return ""
    if isinstance(cell, float):
        return f"{cell:.{column.decimals}f}"
    return cell if column.kind in (Kind.TIME, Kind.DAY) else safe(cell)


def _head(report: Report) -> list[tuple[str, str]]:
    told = report_json(report)
    lines = [(name, str(told[name])) for name in ("kind", "title", "site", "site_name", "zone")]
    period = told["period"]
    lines += [("period", period["name"]), ("from", period["from"]), ("to", period["to"])]
    lines += [("going", "yes" if period["going"] else "no")]
    lines += [(name, str(told[name])) for name in ("made", "made_by", "head", "edition")]
    lines.append(("reference_degC", f"{told['reference_degC']:g}"))
    lines.append(("simulated", "yes" if told["simulated"] else "no"))
    lines += [(field.label, field.value) for field in report.fields]
    lines += [("not done", text) for text in report.not_done]
    return lines + [("note", text) for text in report.notes]
