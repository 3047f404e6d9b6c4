"""A report as a spreadsheet file (XLSX): a first sheet with what it bears, then one for each table.

Cells are numbers, dates and texts with a format, never texts made of figures; a text stays a text, whatever it begins
with. A sum is a formula only where it gives the house's own sum, and bears that value too; else the value alone. No
macros, no links, nothing protected. The same report gives the same bytes: all times in it are those of the report.
"""

import io
from datetime import UTC, date, datetime
from typing import Any, Final
from zoneinfo import ZoneInfo

import xlsxwriter
from xlsxwriter.utility import xl_rowcol_to_cell

from console.report_views import INVENTED, bears
from gaugehouse.paper import SIMULATED, Size
from gaugehouse.reports.model import Cell, Column, Kind, Report, Table, adds_up, report_json

HEAD_ROW: Final = 2
"""Of a table's sheet: its title, an empty row, then heads and rows."""
NAME_MOST: Final = 31  # of a sheet's name, by the file format
CELL_MOST: Final = 32_767  # signs in a cell, by the file format

PAPERS: Final = {"Letter": 1, "A4": 9}
"""By the numbers of the file format."""

OPTIONS: Final = {
    "in_memory": True,
    "strings_to_formulas": False,
    "strings_to_urls": False,
    "strings_to_numbers": False,
    "remove_timezone": False,
}


def xlsx_of(report: Report, size: Size = "A4") -> bytes:
    """The file's bytes; `size` is that of the paper on which it would be printed."""
    out = io.BytesIO()
    book = xlsxwriter.Workbook(out, OPTIONS)
    made = datetime.fromtimestamp(report.bearing.made_ms / 1000, UTC).replace(microsecond=0, tzinfo=None)
    book.set_properties({
        "title": report.title, "author": report.bearing.made_by, "created": made, "company": report.bearing.site,
        "comments": SIMULATED if report.bearing.simulated else "",
    })  # fmt: skip
    _Sheets(book, report, size).write()
    book.close()
    return out.getvalue()


class _Sheets:
    """Writes one report into a workbook."""

    def __init__(self, book: Any, report: Report, size: Size) -> None:
        self._book, self._report, self._paper = book, report, PAPERS[size]
        self._zone = ZoneInfo(report.bearing.zone)
        self._formats: dict[tuple[str, bool], Any] = {}
        self._title = book.add_format({"bold": True, "font_size": 14})
        self._label = book.add_format({"bold": True, "valign": "top"})
        self._value = book.add_format({"text_wrap": True, "valign": "top", "align": "left"})
        self._heads = book.add_format({"bold": True, "text_wrap": True, "valign": "top", "bottom": 1,
                                       "bg_color": "#E4E4E4"})  # fmt: skip
        self._mark = book.add_format({"bold": True, "bg_color": "#000000", "font_color": "#FFFFFF"})

    def write(self) -> None:
        self._first()
        for table in self._report.tables:
            self._sheet(table)

    def _first(self) -> None:
        report = self._report
        sheet = self._book.add_worksheet("Report")
        self._print(sheet)
        sheet.set_column(0, 0, 26)
        sheet.set_column(1, 1, 90)
        sheet.write_string(0, 0, report.title, self._title)
        lines = bears(report_json(report))
        lines.append(("Times in this file", f"on the clock of {report.bearing.zone}"))
        lines += [(field.label, field.value) for field in report.fields]
        lines += [("Not done", text) for text in report.not_done] + [("Note", text) for text in report.notes]
        lines += [(one.label, one.name) for one in report.signatures]
        row = 1
        if report.bearing.simulated:
            sheet.write_string(row, 0, INVENTED, self._mark)
            row += 1
        for label, value in lines:
            row += 1
            sheet.write_string(row, 0, label, self._label)
            sheet.write_string(row, 1, _fitting(value), self._value)

    def _sheet(self, table: Table) -> None:
        sheet = self._book.add_worksheet(table.name[:NAME_MOST])
        self._print(sheet)
        simulated = f" · {INVENTED}" if self._report.bearing.simulated else ""
        sheet.write_string(0, 0, f"{table.title}{simulated}", self._title)
        sheet.freeze_panes(HEAD_ROW + 1, 0)
        sheet.repeat_rows(HEAD_ROW)
        for place, column in enumerate(table.columns):
            sheet.write_string(HEAD_ROW, place, f"{column.head} [{column.unit}]" if column.unit else column.head,
                               self._heads)  # fmt: skip
            sheet.set_column(place, place, _wide(column, [row[place] for row in table.rows]))
        for place, row in enumerate(table.rows):
            for at, (column, cell) in enumerate(zip(table.columns, row, strict=True)):
                self._cell(sheet, HEAD_ROW + 1 + place, at, column, cell, place in table.strong)
        below = HEAD_ROW + 1 + len(table.rows)
        if not table.rows:
            sheet.write_string(below, 0, table.empty)
        for at, column in enumerate(table.columns):
            if column.name in table.sums:
                self._sum(sheet, below, at, column, table)
        if table.sums and table.columns[0].name not in table.sums:
            sheet.write_string(below, 0, "Sum", self._label)
        if table.note:
            sheet.write_string(below + 2, 0, table.note)

    def _sum(self, sheet: Any, row: int, at: int, column: Column, table: Table) -> None:
        ours, style = table.sums[column.name], self._format(column, strong=True)
        if table.rows and adds_up(table, column):
            first, last = xl_rowcol_to_cell(HEAD_ROW + 1, at), xl_rowcol_to_cell(row - 1, at)
            sheet.write_formula(row, at, f"=SUM({first}:{last})", style, ours)
        else:
            sheet.write_number(row, at, ours, style)

    def _cell(self, sheet: Any, row: int, at: int, column: Column, cell: Cell, strong: bool) -> None:
        style = self._format(column, strong=strong)
        if cell is None:
            return
        if isinstance(cell, float):
            sheet.write_number(row, at, cell, style)
        elif column.kind is Kind.TIME:
            local = datetime.fromisoformat(cell).astimezone(self._zone).replace(tzinfo=None)
            sheet.write_datetime(row, at, local, style)
        elif column.kind is Kind.DAY:
            sheet.write_datetime(row, at, date.fromisoformat(cell), style)
        else:
            sheet.write_string(row, at, _fitting(cell), style)

    def _format(self, column: Column, *, strong: bool) -> Any:
        code = _code(column)
        if (code, strong) not in self._formats:
            wrap = {"text_wrap": True} if column.kind is Kind.TEXT else {}
            self._formats[code, strong] = self._book.add_format({
                "num_format": code, "bold": strong, "valign": "top", **wrap,
            })  # fmt: skip
        return self._formats[code, strong]

    def _print(self, sheet: Any) -> None:
        """Printed black on white, as wide as a page, with what every paper bears at its foot."""
        if self._report.landscape:
            sheet.set_landscape()
        sheet.set_paper(self._paper)
        sheet.fit_to_pages(1, 0)
        marked = "&L&8SIMULATED" if self._report.bearing.simulated else ""
        sheet.set_footer(f"{marked}&R&8&A, page &P of &N")


def _fitting(text: str) -> str:
    """A text as a cell can hold it: a longer one ends with a mark."""
    return text if len(text) <= CELL_MOST else f"{text[: CELL_MOST - 1]}…"


def _code(column: Column) -> str:
    if column.kind is Kind.TIME:
        return "yyyy-mm-dd hh:mm:ss"
    if column.kind is Kind.DAY:
        return "yyyy-mm-dd"
    if column.kind is Kind.TEXT:
        return "@"
    decimals = column.decimals if column.shown is None else column.shown
    plain = "#,##0" + ("." + "0" * decimals if decimals else "")
    return f"+{plain};-{plain};{plain}" if column.signed else plain


def _wide(column: Column, cells: list[Cell]) -> float:
    """A column's width in signs."""
    if column.kind is Kind.TIME:
        return 19
    if column.kind is Kind.DAY or column.kind is Kind.NUMBER:
        return 13
    longest = max((len(cell) for cell in cells if isinstance(cell, str)), default=0)
    return min(max(longest, len(column.head), 8) + 2, 46)
