"""A capacity table from its CSV file: ``level [mm],volume [L]``, any unit in the brackets, # begins a comment line.

Tells every bad row with its line in the file. Refuses ullage tables and thousands separators rather than guess.
"""

import csv
import math
import re
from pathlib import Path
from typing import Final

from gaugehouse.sitefile.problems import Report
from gaugehouse.sitefile.quantities import converts, linear
from models.capacity import CapacityTable
from models.errors import BadTable

HEADER: Final = re.compile(r"\s*(\w+)\s*\[\s*([^\]]+?)\s*\]\s*")
_MOST_TOLD: Final = 10
_LIKE: Final = 'write "level [mm],volume [L]" (any unit of length and of volume)'


Line = tuple[int, str]


def read_capacity(path: Path, shown: str, key: str, report: Report) -> CapacityTable | None:
    """The table in a CSV file, or None with every mistake told. `shown`: the file's name as the site file gives it."""
    lines = read_lines(path, shown, key, report)
    if lines is None:
        return None
    if not lines:
        report.error("", f"the capacity table is empty; {_LIKE} and one row for each level", file=shown)
        return None
    factors = _factors(*lines[0], shown, report)
    return None if factors is None else _table(lines[1:], factors, shown, report)


def read_lines(path: Path, shown: str, key: str, report: Report) -> list[Line] | None:
    """The lines of a CSV file that hold something, with their numbers; None where the file cannot be read."""
    try:
        text = path.read_text(encoding="utf-8-sig")
    except OSError as exc:
        why = f"capacity table {shown} cannot be read: {exc.strerror}; the path counts from the site file's folder"
        report.error(key, why, found=shown)
        return None
    except UnicodeDecodeError:
        report.error(key, "this is no text file in UTF-8; save the table as CSV in UTF-8", found=shown, file=shown)
        return None
    return [
        (n, line) for n, line in enumerate(text.splitlines(), 1) if line.strip() and not line.lstrip().startswith("#")
    ]


def _factors(number: int, header: str, shown: str, report: Report) -> tuple[float, float] | None:
    """What turns the two columns into m and m3."""
    cells = next(csv.reader([header]))
    found = [HEADER.fullmatch(cell) for cell in cells]
    names = [match[1].lower() if match else "" for match in found]
    key = f"row {number}"
    if names[:1] == ["ullage"]:
        report.error(key, "this is an ullage table; turn it into innages first: level = reference height - ullage",
                     found=header, allowed="level [mm],volume [L]", file=shown)  # fmt: skip
        return None
    if names != ["level", "volume"] or not found[0] or not found[1]:
        report.error(key, f'"{header}" is no header of a capacity table; {_LIKE}',
                     found=header, allowed="level [mm],volume [L]", file=shown)  # fmt: skip
        return None
    if not converts(found[0][2], "m") or not converts(found[1][2], "m3"):
        report.error(key, f'"{header}": the brackets hold no length and volume known here; {_LIKE}',
                     found=header, allowed="level [mm],volume [L]", file=shown)  # fmt: skip
        return None
    return linear(found[0][2], "m")[0], linear(found[1][2], "m3")[0]


def _table(
    lines: list[tuple[int, str]], factors: tuple[float, float], shown: str, report: Report
) -> CapacityTable | None:
    levels: list[float] = []
    volumes: list[float] = []
    mistakes = 0
    for number, line in lines:
        why = _row(line, levels, volumes, factors)
        if why is None:
            continue
        mistakes += 1
        if mistakes <= _MOST_TOLD:
            report.error(f"row {number}", why, found=line, file=shown)
    if mistakes > _MOST_TOLD:
        report.error("", f"{mistakes - _MOST_TOLD} more bad rows; mend the first ones and check again", file=shown)
    if mistakes:
        return None
    try:
        return CapacityTable(levels, volumes)
    except BadTable as exc:
        report.error("", f"{exc}; mend the rows of this table", file=shown)
        return None


def _row(line: str, levels: list[float], volumes: list[float], factors: tuple[float, float]) -> str | None:
    """Take one row in, or say what is wrong with it."""
    cells = next(csv.reader([line]))
    if len(cells) != 2:
        return (
            f"{len(cells)} cells where two belong; write level,volume with a decimal point and no thousands separator"
        )
    try:
        level, volume = float(cells[0]), float(cells[1])
    except ValueError:
        return f'"{line}" is no pair of numbers; write level,volume with a decimal point'
    if not (math.isfinite(level) and math.isfinite(volume)):
        return f'"{line}" is no pair of numbers; write level,volume with a decimal point'
    level_m, volume_m3 = (
        float(f"{value * factor:.12g}") for value, factor in zip((level, volume), factors, strict=True)
    )
    if levels and not level_m > levels[-1]:
        return f"level {cells[0].strip()} is not above the row before it; levels must rise from row to row"
    if volumes and not volume_m3 >= volumes[-1]:
        return f"volume {cells[1].strip()} is below the row before it; volumes never fall as the level rises"
    if volume_m3 < 0:
        return f"volume {cells[1].strip()} is negative; a tank holds nothing or more"
    levels.append(level_m)
    volumes.append(volume_m3)
    return None
