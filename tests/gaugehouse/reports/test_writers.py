"""What every report bears in every form; sums of a month read back from CSV and XLSX; nothing that could be run."""

import csv
import io
import zipfile
from typing import Any

import openpyxl
import pypdf
import pytest

from gaugehouse.reports import csvs
from gaugehouse.reports.catalogue import REPORTS
from gaugehouse.reports.model import (
    Bearing,
    Column,
    Kind,
    Period,
    Report,
    adds_up,
    number,
    report_json,
    table,
    volume,
)
from gaugehouse.reports.writers import written
from tests.gaugehouse.reports.conftest import Made
from tests.gaugehouse.reportsites import FORMULA

JANUARY = {
    "stock": {"day": "2024-01-31"},
    "movements": {"month": "2024-01"},
    "account": {"month": "2024-01"},
    "dips": {"month": "2024-01"},
    "handover": {"start": "2024-01-30T12:00Z", "end": "2024-01-31T00:10Z"},
    "due": {},
}
SUMS = ("receipts", "issues", "transfers", "draws", "adjustments")
SIDES = ("standard", "gross")


def tables_of(text: str) -> dict[str, list[dict[str, str]]]:
    """The tables of such a CSV, as docs/reports.md tells to read it."""
    blocks: list[list[list[str]]] = [[]]
    for row in csv.reader(io.StringIO(text)):
        if row:
            blocks[-1].append(row)
        else:
            blocks.append([])
    return {block[0][0]: [dict(zip(block[1], row, strict=True)) for row in block[2:]] for block in blocks[1:]}


def text_of(pdf: bytes) -> str:
    return " ".join(page.extract_text() for page in pypdf.PdfReader(io.BytesIO(pdf)).pages)


def sheet_of(report: Report, *, values: bool) -> Any:
    return openpyxl.load_workbook(io.BytesIO(written(report, "xlsx", "A4")), data_only=values)


def test_every_report_of_the_catalogue_is_looked_at_here() -> None:
    assert list(JANUARY) == list(REPORTS)


@pytest.mark.parametrize("kind", JANUARY)
def test_each_bears_site_period_tables_temperature_maker_head_and_that_it_is_simulated(kind: str, made: Made) -> None:
    report = made(kind, **JANUARY[kind])
    told = report_json(report)
    assert told["simulated"]
    squeezed = "".join(text_of(written(report, "pdf", "A4")).split())
    csv_text = written(report, "csv", "A4").decode()
    book = sheet_of(report, values=True)
    first = "\n".join(str(cell.value) for row in book.worksheets[0].iter_rows() for cell in row if cell.value)
    for piece in ("Test farm", told["edition"], "Ada", told["head"]):
        assert "".join(piece.split()) in squeezed
        assert piece in csv_text
        assert piece in first
    assert "referencetemperature15°C" in squeezed
    assert "SIMULATED" in squeezed
    assert "simulated,yes" in csv_text
    assert "SIMULATED" in first
    assert all("SIMULATED" in str(sheet.cell(1, 1).value) for sheet in book.worksheets[1:])


@pytest.mark.parametrize("kind", JANUARY)
@pytest.mark.parametrize("form", ["pdf", "csv", "xlsx"])
def test_the_same_report_gives_the_same_bytes(kind: str, form: str, made: Made) -> None:
    once, again = (written(made(kind, **JANUARY[kind]), form, "A4") for _ in range(2))
    assert once == again


@pytest.mark.parametrize("kind", JANUARY)
def test_a_spreadsheet_holds_nothing_that_runs_and_no_lock(kind: str, made: Made) -> None:
    with zipfile.ZipFile(io.BytesIO(written(made(kind, **JANUARY[kind]), "xlsx", "A4"))) as packed:
        names = packed.namelist()
        content = b"".join(packed.read(name) for name in names)
    assert not [name for name in names if "vba" in name.lower() or "external" in name.lower()]
    assert b"sheetProtection" not in content
    assert b"workbookProtection" not in content
    assert b"<hyperlink" not in content


def test_the_csv_of_a_month_read_back_gives_the_sums_of_the_book(made: Made) -> None:
    told = tables_of(written(made("account", month="2024-01"), "csv", "A4").decode())
    wholes = {row["name"]: row for row in told["month"]}
    assert len(told["days"]) == 62
    for tank in ("Palm", "Ridge"):
        days = [row for row in told["days"] if row["name"] == tank]
        for name in SUMS:
            for side in SIDES:
                column = f"{name}_{side}_m3"
                assert round(sum(float(row[column]) for row in days), 4) == float(wholes[tank][column])
    # by hand: 31 tickets of 5 m3 and 0.0137 m3 more each day: 155 + 0.0137 * 465
    assert float(wholes["Palm"]["issues_standard_m3"]) == -161.3705
    assert float(wholes["Ridge"]["receipts_gross_m3"]) == 36.4


def test_the_spreadsheet_of_a_month_read_back_gives_the_same_and_its_formulas_do(made: Made) -> None:
    report = made("account", month="2024-01")
    values, formulas = sheet_of(report, values=True)["days"], sheet_of(report, values=False)["days"]
    days = next(one for one in report.tables if one.name == "days")
    heads = [column.name for column in days.columns]
    last = 3 + len(days.rows) + 1
    for name in SUMS:
        for side in SIDES:
            at = heads.index(f"{name}_{side}_m3") + 1
            cells = [values.cell(row, at).value for row in range(4, last)]
            assert all(isinstance(cell, int | float) for cell in cells)
            assert round(sum(cells), 4) == days.sums[f"{name}_{side}_m3"] == values.cell(last, at).value
            letter = openpyxl.utils.get_column_letter(at)
            assert formulas.cell(last, at).value == f"=SUM({letter}4:{letter}{last - 1})"
    day = values.cell(4, heads.index("period") + 1)
    assert (day.is_date, day.value.date().isoformat(), day.number_format) == (True, "2024-01-01", "yyyy-mm-dd")
    assert values.freeze_panes == "A4"
    assert values.cell(4, heads.index("issues_standard_m3") + 1).number_format == "+#,##0.000;-#,##0.000;#,##0.000"


def test_json_csv_and_spreadsheet_hold_the_same_figures(made: Made) -> None:
    report = made("stock", day="2024-01-31")
    told, parsed, book = report_json(report), tables_of(csvs.csv_of(report)), sheet_of(report, values=True)
    for one in told["tables"]:
        sheet = book[one["name"]]
        for place, row in enumerate(one["rows"]):
            for at, column in enumerate(one["columns"]):
                value = row[column["name"]]
                if column["kind"] == "number" and value is not None:
                    assert float(parsed[one["name"]][place][column["name"]]) == value
                    assert sheet.cell(4 + place, at + 1).value == value


BEARING = Bearing("test", "Test farm", "Asia/Tokyo", 1_706_745_600_000, "Ada", "1:ab", "an edition", 15.0, False)
COLUMNS = (Column("text", "Text"), volume("v", "Volume"), Column("at", "At", Kind.TIME), number("n", "N", "", 0))


def small(rows: list[dict[str, Any]], sums: dict[str, float | None] | None = None) -> Report:
    return Report("small", "Small", BEARING, Period(0, 1), [table("one", "One", COLUMNS, rows, sums=sums)])


@pytest.mark.parametrize(
    "text",
    ["=1+1", "+1", "-1", "@SUM(A1)", "  =1", "\t=1", "a;=1", "a\n=1", "＝1+1", "=cmd|' /C calc'!A0"],
)
def test_a_text_of_people_is_never_a_formula(text: str) -> None:
    """The signs are those of OWASP, "CSV Injection" (from memory); full-width ones and other separators are ours."""
    report = small([{"text": text}])
    cell = tables_of(csvs.csv_of(report))["one"][0]["text"]
    assert cell != text
    assert cell.replace("'", "") == text.replace("'", "")
    for part in cell.replace("\n", ";").replace("\t", ";").split(";"):
        assert part.strip()[:1] not in tuple("=+-@＝")
    sheet = sheet_of(report, values=False)["one"]
    assert (sheet.cell(4, 1).value, sheet.cell(4, 1).data_type) == (text, "s")


def test_texts_that_are_harmless_and_negative_figures_stay_as_they_are() -> None:
    report = small([{"text": "pump 3 - stiff; see note", "v": -0.5}])
    assert csvs.csv_of(report).splitlines()[-1] == "pump 3 - stiff; see note,-0.5000,,"


def test_people_s_texts_in_a_real_report_are_guarded_and_the_paper_shows_them_as_they_are(made: Made) -> None:
    report = made("handover", **JANUARY["handover"])
    assert tables_of(csvs.csv_of(report))["notes"][0]["notes"] == f"'{FORMULA}"
    assert FORMULA in text_of(written(report, "pdf", "A4"))


def test_a_sum_that_the_cells_do_not_give_is_a_figure_and_no_formula() -> None:
    """Ours is 0.3 of exact volumes; 0.1 + 0.1 stands in the cells, as where a row was not shown."""
    report = small([{"v": 0.1}, {"v": 0.1}], {"v": 0.3})
    assert not adds_up(report.tables[0], report.tables[0].columns[1])
    assert sheet_of(report, values=False)["one"].cell(6, 2).value == 0.3
    same = small([{"v": 0.1}, {"v": 0.2}], {"v": 0.3})
    assert sheet_of(same, values=False)["one"].cell(6, 2).value == "=SUM(B4:B5)"
    assert sheet_of(same, values=True)["one"].cell(6, 2).value == 0.3
    hole = small([{"v": 0.3}, {"v": None}], {"v": 0.3})
    assert sheet_of(hole, values=False)["one"].cell(6, 2).value == 0.3


def test_times_are_of_the_site_s_clock_in_a_spreadsheet_and_utc_in_a_csv() -> None:
    report = small([{"at": "2024-01-31T20:30:00.000Z"}])
    assert "2024-01-31T20:30:00.000Z" in csvs.csv_of(report)
    cell = sheet_of(report, values=True)["one"].cell(4, 3)
    assert cell.is_date
    assert cell.value.isoformat() == "2024-02-01T05:30:00"


def test_one_table_alone_is_a_plain_csv_and_one_that_is_not_there_is_refused(made: Made) -> None:
    from gaugehouse.errors import CallError

    report = made("account", month="2024-01")
    rows = list(csv.DictReader(io.StringIO(written(report, "csv", "A4", "days").decode())))
    assert len(rows) == 62
    with pytest.raises(CallError, match="no table 'hours'; there are month, judged, days"):
        written(report, "csv", "A4", "hours")


def test_letter_and_a4_are_the_sizes_of_the_paper(made: Made) -> None:
    report = made("stock", day="2024-01-31")
    for size, wide_pt in (("A4", 842), ("Letter", 792)):
        page = pypdf.PdfReader(io.BytesIO(written(report, "pdf", size))).pages[0]  # type: ignore[arg-type]
        assert round(float(page.mediabox.width)) == wide_pt
