"""`gaugehouse capacity`: tables from shapes and from strapping measurements, as the site file reads them."""

import math
import re
import tomllib
from itertools import pairwise
from pathlib import Path

import pytest

from gaugehouse.cli import main
from gaugehouse.sitefile import strapping as strapping_file
from gaugehouse.sitefile.capacity import read_capacity
from gaugehouse.sitefile.problems import Report
from gaugehouse.sitefile.table import Table
from models.capacity import CapacityTable
from models.geometry import Head, HeadKind, LyingCylinder
from models.strapping import Course, Strapping, table_of_strapping

DOC = (Path(__file__).parents[2] / "docs" / "stock.md").read_text(encoding="utf-8")

# Invented: five courses of a 10 m tank.
STRAPPING = """
note = "simulated tank"
tilt = "0.1 %"

[[course]]
circumferences = ["31.470 m", "31.468 m"]
plate = "10 mm"
height = "1.8 m"

[[course]]
circumferences = ["31.462 m"]
plate = "8 mm"
height = "1.8 m"
paint = "0.2 mm"

[[bottom]]
level = "0 m"
volume = "0.5 m3"

[[bottom]]
level = "0.1 m"
volume = "8.2 m3"

[[deadwood]]
low = "0.3 m"
high = "0.9 m"
volume = "0.2 m3"

[head]
density = "800 kg/m3"

[tape]
shell_temperature = "24 degC"
"""


def made(path: Path) -> CapacityTable:
    report = Report("site.toml")
    table = read_capacity(path, path.name, "tank[t1].capacity", report)
    assert report.problems == []
    assert table is not None
    return table


def test_a_shape_becomes_a_table_that_the_site_file_reads(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    out = tmp_path / "t.csv"
    argv = ["capacity", "shape", "lying", "--diameter", "2.5 m", "--length", "8 m", "--ends", "ellipsoidal 0.6 m"]
    assert main([*argv, "--out", str(out)]) == 0
    assert "no calibration certificate" in capsys.readouterr().out
    exact = LyingCylinder(2.5, 8, *[Head(HeadKind.ELLIPSOIDAL, 0.6)] * 2)
    table = made(out)
    for k in range(2501):
        level = min(2.5, k / 1000 + 0.00037)
        assert abs(table.volume_m3(level) - exact.volume_m3(level)) <= 1.1e-6 * table.capacity_m3
    head = [line for line in out.read_text().splitlines() if line.startswith("#")]
    assert "drawing dimensions: lying, diameter 2.5 m, length 8 m, ends ellipsoidal 0.6 m" in head[0]
    assert "no calibration certificate: at least 1 %" in head[1]


def test_a_step_says_how_far_off_its_straight_lines_are(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["capacity", "shape", "sphere", "--diameter", "4 m", "--step", "10 cm"]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert lines[3] == "level [mm],volume [L]"
    assert lines[4:6] == ["0,0.0000", "100,61.7847"]  # computed: pi h^2 (6 - h) / 3
    assert len(lines) == 4 + 41
    # computed: h^2/8 of the largest second derivative, 2 pi (2 - h) at the bottom: 15.7 L less the cubic's part
    off = float(re.findall(r"off by up to ([\d.]+) L", lines[2])[0])
    assert off == pytest.approx(1000 * 0.01 / 8 * 4 * math.pi, rel=0.03)


@pytest.mark.parametrize(
    "argv",
    [
        ["lying", "--diameter", "2.5 m", "--length", "8 m", "--ends", "guppy 0.5 m"],
        [
            "lying",
            "--diameter",
            "2.5 m",
            "--length",
            "8 m",
            "--ends",
            "spherical 0.5 m",
            "--tilt",
            "1 %",
            "--gauge",
            "2 m",
        ],
        ["upright", "--diameter", "6 m", "--height", "5 m", "--bottom", "conical 0.3 m", "--tilt", "2 %"],
    ],
    ids=["guppy", "tilted", "leaning"],
)
def test_every_tilt_and_end_becomes_a_table(tmp_path: Path, argv: list[str]) -> None:
    out = tmp_path / "t.csv"
    assert main(["capacity", "shape", *argv, "--out", str(out)]) == 0
    table = made(out)
    assert max(b - a for a, b in pairwise(table.levels_m)) <= 0.001 + 1e-9


def test_strapping_becomes_a_table_that_says_how_it_was_made(tmp_path: Path) -> None:
    (tmp_path / "s.toml").write_text(STRAPPING, encoding="utf-8")
    out = tmp_path / "t.csv"
    assert main(["capacity", "strapping", str(tmp_path / "s.toml"), "--out", str(out), "--step", "1 cm"]) == 0
    text = out.read_text(encoding="utf-8")
    for words in (
        "from strapping measurements in s.toml: simulated tank",
        "ISO 7507-1",
        "Liquid head of 800 kg/m3 included",
        "Reference temperature of the table 15 degC, shell at 24 degC",
        "Inside radii of the 2 courses",
        "Tilt 0.1 %",
        "no calibration certificate",
    ):
        assert words in text
    strapped, _ = strapping_file.read_strapping(tmp_path / "s.toml")
    exact = table_of_strapping(strapped)
    table = made(out)
    assert (table.top_m, table.bottom_m) == (3.6, 0.0)
    for level in (0.05, 0.5, 1.0, 2.0, 3.6):
        assert table.volume_m3(level) == pytest.approx(exact.volume_m3(level), abs=1e-6)


def test_the_least_strapping_is_elementary_geometry(tmp_path: Path) -> None:
    """Computed: inside radius C / 2 pi - plate."""
    text = '[[course]]\ncircumferences = ["31.416 m"]\nplate = "8 mm"\nheight = "2 m"\n'
    (tmp_path / "s.toml").write_text(text, encoding="utf-8")
    strapped, note = strapping_file.read_strapping(tmp_path / "s.toml")
    assert (strapped, note) == (Strapping((Course((31.416,), 0.008, 2.0),)), "")
    radius = 31.416 / (2 * math.pi) - 0.008
    assert table_of_strapping(strapped).capacity_m3 == pytest.approx(2 * math.pi * radius**2)


@pytest.mark.parametrize(
    ("argv", "status", "words"),
    [
        (["shape", "cone"], 2, 'kind: "cone" is not known here'),
        (["shape", "upright", "--diameter", "10 m"], 2, "height: missing"),
        (["shape", "upright", "--diameter", "10", "--height", "13 m"], 2, "has no unit"),
        (["shape", "upright", "--diameter", "10 m", "--height", "13 m", "--length", "3 m"], 2, "remove it"),
        (["shape", "lying", "--diameter", "2 m", "--length", "6 m", "--ends", "dished 0.3 m"], 2, "an end is one of"),
        (["shape", "lying", "--diameter", "2 m", "--length", "6 m", "--ends", "torispherical 1 m"], 2, "crown"),
        (["shape", "lying", "--diameter", "2 m", "--length", "6 m", "--ends", "conical"], 2, "add depth"),
        (["shape", "lying", "--diameter", "2 m", "--length", "6 m", "--ends", ""], 2, "an end is one of"),
        (["shape", "lying", "--diameter", "2 m", "--length", "6 m", "--ends", "ellipsoidal"], 2, "an ellipsoidal end"),
        (
            ["shape", "lying", "--diameter", "2 m", "--length", "6 m", "--tilt", "1 %", "--ends", "guppy 0.3 m"],
            2,
            'add gauge = "1 m"',
        ),
        (["shape", "upright", "--diameter", "2 m", "--height", "6 m", "--bottom", "guppy 0.3 m"], 2, "lying tank"),
        (["shape", "lying", "--diameter", "2 m", "--length", "6 m", "--ends", "spherical 3 m"], 2, "does not fit"),
        (["shape", "sphere", "--diameter", "4 m", "--step", "1 m"], 2, "allowed is 0.1 mm to 10 cm"),
        (["shape", "sphere", "--diameter", "4 m", "--step", "1"], 2, "--step"),
        (["shape", "sphere", "--diameter", "4 m", "--out", "EXISTING"], 2, "choose another name"),
        (["shape", "sphere", "--diameter", "4 m", "--out", "NOWHERE"], 3, "cannot be written"),
        (["strapping", "none.toml"], 2, "cannot be read"),
        (["strapping", "EXISTING"], 2, "no valid TOML"),
        ([], 2, "SOURCE"),
    ],
)
def test_a_wrong_call_says_what_and_the_mend(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], argv: list[str], status: int, words: str
) -> None:
    (tmp_path / "there.csv").write_text("mine, and no TOML")
    places = {"EXISTING": str(tmp_path / "there.csv"), "NOWHERE": str(tmp_path / "none" / "t.csv")}
    assert main(["capacity", *(places.get(word, word) for word in argv)]) == status
    said = capsys.readouterr()
    assert words in said.err
    assert "Traceback" not in said.err
    assert (tmp_path / "there.csv").read_text() == "mine, and no TOML"


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ('plate = "10 mm"', 'plate = "10"', "course[#1].plate: "),
        ('plate = "10 mm"', 'plates = "10 mm"', "unknown key"),
        ('height = "1.8 m"\n\n[[course]]', 'height = "9 m"\n\n[[course]]', "course 1: height 9 m"),
        ('"31.470 m", "31.468 m"', '"31.470 m", "33 m"', "differ by over 0.5 %; tape again"),
        ('volume = "8.2 m3"', 'volume = "0.2 m3"', "bottom row 2"),
        ('high = "0.9 m"', 'high = "9 m"', "is not inside the shell"),
        ('volume = "0.2 m3"', 'volume = "900 m3"', "below the row before it"),
    ],
)
def test_a_wrong_measurement_is_told(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], old: str, new: str, words: str
) -> None:
    assert old in STRAPPING
    (tmp_path / "s.toml").write_text(STRAPPING.replace(old, new, 1), encoding="utf-8")
    assert main(["capacity", "strapping", str(tmp_path / "s.toml")]) == 2
    assert words in capsys.readouterr().err


def test_the_page_has_every_key_of_a_strapping_file() -> None:
    section = DOC.split("\n## Strapping", 1)[1].split("\n## ", 1)[0]
    told = set(re.findall(r"^\| `([a-z_.]+)` ", section, re.M))
    tables = {
        "": strapping_file.StrappingFile, "course": strapping_file.CourseTable, "bottom": strapping_file.BottomTable,
        "deadwood": strapping_file.DeadwoodTable, "head": strapping_file.HeadOfLiquidTable,
        "tape": strapping_file.TapeTable,
    }  # fmt: skip
    known = {f"{name}.{key}".lstrip(".") for name, table in tables.items() for key in table.model_fields}
    assert told == known - set(tables)
    defined = {v for v in vars(strapping_file).values() if isinstance(v, type) and issubclass(v, Table)} - {Table}
    assert defined == set(tables.values())


def test_the_example_on_the_page_is_a_sound_strapping(tmp_path: Path) -> None:
    section = DOC.split("\n## Strapping", 1)[1].split("\n## ", 1)[0]
    text = "\n".join(line[4:] for line in section.splitlines() if line.startswith("    "))
    assert "course" in tomllib.loads(text)
    (tmp_path / "s.toml").write_text(text, encoding="utf-8")
    assert main(["capacity", "strapping", str(tmp_path / "s.toml"), "--step", "10 cm"]) == 0
