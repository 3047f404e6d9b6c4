"""Proportional parts of a printed capacity table, from their CSV file: what 1 to 9 mm add, a row for each course.

``from [cm],to [cm],1 [L],2 [L],...,9 [L]``: the first two columns are levels, the others volumes; # begins a comment.
Tells every bad row with its line in the file.
"""

import csv
import math
from pathlib import Path
from typing import Final

from gaugehouse.sitefile.capacity import HEADER, read_lines
from gaugehouse.sitefile.problems import Report
from gaugehouse.sitefile.quantities import converts, linear
from models.capacity import CapacityTable
from models.errors import BadTable
from models.printed import Parts, with_parts

_NAMES: Final = ["from", "to", *(str(mm) for mm in range(1, 10))]
_LIKE: Final = "from [cm],to [cm],1 [L],2 [L],3 [L],4 [L],5 [L],6 [L],7 [L],8 [L],9 [L]"


def read_parts(path: Path, shown: str, key: str, table: CapacityTable, report: Report) -> CapacityTable | None:
    """A capacity table of centimetres with its millimetres put in, or None with every mistake told."""
    lines = read_lines(path, shown, key, report)
    if lines is None:
        return None
    factors = None if not lines else _factors(lines[0][1])
    if factors is None:
        where = f"row {lines[0][0]}" if lines else ""
        text = f'this is no table of proportional parts; its header is "{_LIKE}", and each row is for one course'
        report.error(where, text, allowed=_LIKE, file=shown)
        return None
    parts: list[Parts] = []
    wrong = False
    for number, line in lines[1:]:
        row = _row(line, factors)
        if isinstance(row, str):
            wrong = True
            report.error(f"row {number}", row, found=line, file=shown)
        else:
            parts.append(row)
    if wrong:
        return None
    try:
        return with_parts(table.levels_m, table.volumes_m3, parts)
    except BadTable as exc:
        report.error("", f"{exc}; mend the parts or the rows of the table", file=shown)
        return None


def _factors(header: str) -> list[float] | None:
    """What turns the columns into m and m3; None for another header."""
    found = [HEADER.fullmatch(cell) for cell in next(csv.reader([header]))]
    if [match[1].lower() if match else "" for match in found] != _NAMES:
        return None
    units = [match[2] for match in found if match]
    if not all(converts(unit, "m" if k < 2 else "m3") for k, unit in enumerate(units)):
        return None
    return [linear(unit, "m" if k < 2 else "m3")[0] for k, unit in enumerate(units)]


def _row(line: str, factors: list[float]) -> Parts | str:
    """One course's parts, or what is wrong with them."""
    cells = next(csv.reader([line]))
    if len(cells) != len(factors):
        return f"{len(cells)} cells where {len(factors)} belong; write from,to and the 9 volumes, with decimal points"
    try:
        values = [float(cell) for cell in cells]
    except ValueError:
        values = [math.nan]
    if not all(map(math.isfinite, values)):
        return f'"{line}" holds something that is no number; write plain numbers with a decimal point'
    low, high, *added = (float(f"{value * factor:.12g}") for value, factor in zip(values, factors, strict=True))
    return Parts(low, high, tuple(added))
