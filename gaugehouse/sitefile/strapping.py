"""A file of strapping measurements (TOML) to `models.strapping`: what was taped, plate by plate; all mistakes told.

Every key stands in docs/stock.md (a test compares the two).
"""

import tomllib
from pathlib import Path
from typing import Annotated, Final

from pydantic import Field

from gaugehouse.sitefile import fields as f
from gaugehouse.sitefile.fields import quantity
from gaugehouse.sitefile.problems import Report, SiteError
from gaugehouse.sitefile.reading import read_tables
from gaugehouse.sitefile.table import Table
from models.errors import OutOfRange
from models.strapping import STEEL_PA, STEEL_PER_DEGC, BottomRow, Course, Deadwood, LiquidHead, Strapping, Tape

Girth = Annotated[float, quantity("m", "31.45 m", 1, 600)]
Thin = Annotated[float, quantity("m", "8 mm", 0, 0.1)]
Level = Annotated[float, quantity("m", "1.2 m", 0, 100)]
Displaced = Annotated[float, quantity("m3", "0.2 m3", -1000, 1000)]
Held = Annotated[float, quantity("m3", "3.2 m3", 0, 1e6)]
Stiffness = Annotated[float, quantity("Pa", "200 GPa", 1e9, 1e12)]


class CourseTable(Table):
    """One ring of plates, from the bottom up."""

    circumferences: list[Girth] = Field(min_length=1, examples=['["31.45 m", "31.44 m"]'])
    plate: Thin = Field(examples=['"8 mm"'])
    height: f.Height = Field(examples=['"1.8 m"'])
    paint: Thin = 0.0


class DeadwoodTable(Table):
    low: Level = Field(examples=['"0.3 m"'])
    high: Level = Field(examples=['"0.9 m"'])
    volume: Displaced = Field(examples=['"0.2 m3"'])


class BottomTable(Table):
    level: Level = Field(examples=['"0.1 m"'])
    volume: Held = Field(examples=['"3.2 m3"'])


class HeadOfLiquidTable(Table):
    density: f.Density = Field(examples=['"800 kg/m3"'])
    level_at_strapping: Level = 0.0
    density_at_strapping: f.Density | None = None
    elasticity: Stiffness = STEEL_PA


class TapeTable(Table):
    shell_temperature: f.Temperature = Field(examples=['"18 degC"'])
    calibrated_at: f.Temperature = 20.0
    reference_temperature: f.Temperature = 15.0
    shell_expansion: f.Expansion = STEEL_PER_DEGC
    tape_expansion: f.Expansion = STEEL_PER_DEGC


class StrappingFile(Table):
    """The whole file."""

    note: str = ""
    course: list[CourseTable] = Field(min_length=1, examples=["[[course]]"])
    bottom: list[BottomTable] = Field(default_factory=list)
    deadwood: list[DeadwoodTable] = Field(default_factory=list)
    head: HeadOfLiquidTable | None = None
    tape: TapeTable | None = None
    tilt: Annotated[float, quantity("%", "0.2 %", -3, 3)] = 0.0


WHAT: Final = "the strapping file"


def read_strapping(path: Path) -> tuple[Strapping, str]:
    """The measurements and the note of a file. Raises `SiteError` with every mistake."""
    report = Report(str(path))
    raw = _raw(path, report)
    if raw is not None:
        file = read_tables(StrappingFile, raw, report)
        if not report.errors:
            try:
                return _strapping(file), file.note
            except OutOfRange as exc:
                report.error("", f"{exc}; mend the measurement")
    raise SiteError(report.errors)


def _raw(path: Path, report: Report) -> dict[str, object] | None:
    try:
        return tomllib.loads(path.read_text(encoding="utf-8-sig"))
    except OSError as exc:
        report.error("", f"{WHAT} cannot be read: {exc.strerror}; check the name and its rights")
    except UnicodeDecodeError as exc:
        report.error("", f"{WHAT} is no text in UTF-8 (byte {exc.start}); save it as UTF-8")
    except tomllib.TOMLDecodeError as exc:
        report.error("", f"this is no valid TOML: {exc}; mend that line (text goes in quotes, one key a line)")
    return None


def _strapping(file: StrappingFile) -> Strapping:
    head, tape = file.head, file.tape
    return Strapping(
        courses=tuple(Course(tuple(c.circumferences), c.plate, c.height, c.paint) for c in file.course),
        bottom=tuple(BottomRow(row.level, row.volume) for row in file.bottom),
        deadwood=tuple(Deadwood(wood.low, wood.high, wood.volume) for wood in file.deadwood),
        head=None
        if head is None
        else LiquidHead(
            head.density, head.level_at_strapping, head.density_at_strapping or head.density, head.elasticity
        ),
        tape=None
        if tape is None
        else Tape(
            tape.shell_temperature,
            tape.calibrated_at,
            tape.reference_temperature,
            tape.shell_expansion,
            tape.tape_expansion,
        ),
        tilt=file.tilt / 100,
    )
