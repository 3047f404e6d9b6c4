"""A report as a printed paper: its model laid out for `gaugehouse.paper`. Knows no report by name."""

from datetime import UTC, datetime
from typing import Final
from zoneinfo import ZoneInfo

from console import report_views as views
from console.figures import NBSP, THIN
from gaugehouse import paper
from gaugehouse.paper import Block, Fields, Note, Paper, Signatures, Size, pdf_of
from gaugehouse.reports.model import Kind, Report, Table, report_json

SMALL_PT: Final = 7.0
MANY: Final = 9
"""From so many columns on a table is set smaller."""


def report_pdf(report: Report, size: Size = "A4") -> bytes:
    """The report as PDF: the same bytes for the same report."""
    return pdf_of(paper_of(report, size))


def paper_of(report: Report, size: Size = "A4") -> Paper:
    told, bearing = report_json(report), report.bearing
    zone = ZoneInfo(bearing.zone)
    made_at = datetime.fromtimestamp(bearing.made_ms / 1000, UTC).astimezone(zone).replace(microsecond=0)
    blocks: list[Block] = []
    if report.fields:
        blocks.append(Fields([paper.Field(one.label, one.value) for one in report.fields]))
    if report.not_done:
        blocks.append(Note("\n".join(report.not_done), "Not done", strong=True))
    for one, as_json in zip(report.tables, map(views.narrow, told["tables"]), strict=True):
        rows = [views.texts(as_json, row, zone) for row in as_json["rows"]]
        strong = set(one.strong)
        if one.sums:
            strong.add(len(rows))
            rows.append(views.sums(as_json))
        blocks.append(_table(one, rows, frozenset(strong)))
        if one.note:
            blocks.append(Note(_plain(one.note)))
    if report.notes:
        blocks.append(Note(_plain("\n".join(report.notes)), "To be known"))
    if report.signatures:
        blocks.append(Signatures([one.label for one in report.signatures], [one.name for one in report.signatures]))
    return Paper(
        report.title, f"{bearing.site} ({bearing.site_id})", views.period_words(told),
        bearing.made_by or views.NOT_NAMED, made_at, blocks, head=bearing.head,
        tables_edition=f"{bearing.edition}, reference temperature {bearing.reference_degC:g} °C",
        simulated=bearing.simulated, size=size, landscape=report.landscape,
    )  # fmt: skip


def _table(one: Table, rows: list[list[str]], strong: frozenset[int]) -> paper.Table:
    columns = [
        paper.Column(_head(column.head, column.unit), column.share, "right" if column.kind is Kind.NUMBER else "left")
        for column in one.columns
        if not column.wide
    ]
    cells = [[_plain(cell) for cell in row] for row in rows]
    size = SMALL_PT if len(columns) >= MANY else 8.0
    return paper.Table(columns, cells, one.title, one.empty, strong, size)


def _head(head: str, unit: str) -> str:
    return f"{head}\n[{unit}]" if unit else head


def _plain(text: str) -> str:
    """Narrow spaces as such that hold a figure together; the paper's columns break at plain ones."""
    return text.replace(THIN, NBSP)
