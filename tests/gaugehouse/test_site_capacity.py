"""Capacity tables read from CSV: any unit in the brackets, every bad row told with its line."""

from pathlib import Path

import pytest

from gaugehouse.sitefile.capacity import read_capacity
from gaugehouse.sitefile.problems import Report
from models.capacity import CapacityTable


def read(folder: Path, text: str | bytes) -> tuple[CapacityTable | None, Report]:
    path, report = folder / "t.csv", Report("site.toml")
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return read_capacity(path, "t.csv", "tank[t1].capacity", report), report


@pytest.mark.parametrize(
    ("text", "top_m", "capacity_m3"),
    [
        ("level [mm],volume [L]\n0,0\n12500,981748\n", 12.5, 981.748),
        ("level [cm],volume [m3]\n0,0\n1250,981.748\n", 12.5, 981.748),
        ("Level [m], Volume [m3]\n0, 0\n12.5, 981.748\n", 12.5, 981.748),
        ("# a certificate\n\nlevel [ft],volume [bbl]\n0,0\n# half\n41,6175\n", 12.4968, 981.74654618),
        ("level [in],volume [gal]\n0,0\n33,337\n34,345\n", 0.8636, 1.30596706548),
        ("\ufefflevel [mm],volume [L]\r\n0,0\r\n12500,981748\r\n", 12.5, 981.748),
        ("level [mm],volume [L]\n0,0\n10,0\n12500,981748\n", 12.5, 981.748),
    ],
    ids=["mm and L", "cm and m3", "spaces", "ft and bbl", "in and gal", "byte order mark", "flat stretch"],
)
def test_tables_in_any_unit(tmp_path, text, top_m, capacity_m3):
    """Factors: ft 0.3048 m, in 25.4 mm, gal 3.785411784 L, bbl 158.987294928 L, exact; NIST SP 811 / HB 44 App. C."""
    table, report = read(tmp_path, text)
    assert report.problems == []
    assert table is not None
    assert table.top_m == pytest.approx(top_m, rel=1e-12)
    assert table.capacity_m3 == pytest.approx(capacity_m3, rel=1e-11)


def test_a_reading_between_two_rows_is_the_published_one(tmp_path):
    """Source: a state's tank training page: 33 in = 337 gal, 34 in = 345 gal, so 33 1/4 in = 339 gal."""
    table, _ = read(tmp_path, "level [in],volume [gal]\n33,337\n34,345\n")
    assert table is not None
    assert table.volume_m3(33.25 * 0.0254) / 0.003785411784 == pytest.approx(339, abs=1e-6)


def test_every_bad_row_is_told_with_its_line_in_the_file(tmp_path):
    table, report = read(
        tmp_path,
        "# certificate\nlevel [mm],volume [L]\n0,0\n100,x\n\n200,20\n150,30\n300,10\n400,-5\n500,1,000\n600,60\n",
    )
    assert table is None
    assert [p.key for p in report.problems] == ["row 4", "row 7", "row 8", "row 9", "row 10"]
    assert {p.file for p in report.problems} == {"t.csv"}


def test_a_table_full_of_bad_rows_is_not_told_row_by_row(tmp_path):
    _, report = read(tmp_path, "level [mm],volume [L]\n" + "x,y\n" * 500)
    assert len(report.problems) == 11
    assert "490 more bad rows" in report.problems[-1].text


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("level [mm];volume [L]\n0;0\n1;1\n", "is no header of a capacity table"),
        ("0,0\n100,7854\n", "is no header of a capacity table"),
        ("level [mm],volume [L],note\n0,0,\n", "is no header of a capacity table"),
        ("volume [L],level [mm]\n0,0\n1,1\n", "is no header of a capacity table"),
        ("level [zz],volume [L]\n0,0\n1,1\n", "no length and volume known here"),
        ("level [mm],volume [L]\n0,0\nnan,1\n", "no pair of numbers"),
        ("level [mm],volume [L]\n0,5\n100,5\n", "the whole table is flat"),
        (b"level [mm],volume [L]\n0,0\n# caf\xe9\n", "no text file in UTF-8"),
    ],
)
def test_what_is_no_capacity_table_is_refused(tmp_path, text, words):
    table, report = read(tmp_path, text)
    assert table is None
    assert words in report.problems[0].text
