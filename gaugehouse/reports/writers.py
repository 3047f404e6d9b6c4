"""The forms in which a report leaves the house, by their names. A writer knows no report by name."""

from typing import Final

from gaugehouse.errors import CallError
from gaugehouse.paper import Size
from gaugehouse.reports.csvs import csv_of, table_csv
from gaugehouse.reports.model import Report
from gaugehouse.reports.papers import report_pdf
from gaugehouse.reports.sheets import xlsx_of

FORMATS: Final = ("pdf", "csv", "xlsx")


def written(report: Report, form: str, size: Size, table: str | None = None) -> bytes:
    """A report in a form; table: of a CSV this one alone. Raises `CallError` for a table that it has not."""
    if form == "pdf":
        return report_pdf(report, size)
    if form == "xlsx":
        return xlsx_of(report, size)
    if table is None:
        return csv_of(report).encode()
    found = next((one for one in report.tables if one.name == table), None)
    if found is None:
        names = ", ".join(one.name for one in report.tables)
        raise CallError(f"the report {report.kind} has no table {table!r}; there are {names}")
    return table_csv(found).encode()
