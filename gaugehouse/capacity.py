"""`gaugehouse capacity`: a capacity table as CSV, from a shape or from strapping measurements.

The file says in its first lines from what it was made and by which rule, and that it is no certificate. It is what the
site file's `capacity` reads.
"""

import math
import re
import sys
from argparse import Namespace
from collections.abc import Iterator
from pathlib import Path
from typing import Any, Final

from gaugehouse import __version__
from gaugehouse.capacitycall import ENDS, SIZES
from gaugehouse.errors import CallError, CouldNot
from gaugehouse.optionvalues import quantity
from gaugehouse.sitefile.drawing import drawn
from gaugehouse.sitefile.problems import Report, SiteError
from gaugehouse.sitefile.reading import read_tables
from gaugehouse.sitefile.stockschema import HEADS, STANDS, ShapeTable
from gaugehouse.sitefile.strapping import read_strapping
from models.capacity import CapacityTable
from models.errors import BadTable, OutOfRange
from models.geometry_tables import AGREEMENT_FRAC, table_of
from models.strapping import Strapping, rings_of, table_of_strapping

NO_CERTIFICATE: Final = "no calibration certificate: at least 1 % of volume (k = 2) is to be assumed"
FINEST_M: Final = 0.0001
COARSEST_M: Final = 0.1


def capacity(args: Namespace) -> int:
    """`gaugehouse capacity shape ...` and `gaugehouse capacity strapping FILE`."""
    step_m = None if args.step is None else _step_m(args.step)
    try:
        table, head = _from_shape(args) if args.source == "shape" else _from_strapping(args.file)
    except BadTable as error:
        raise CallError(f"{args.file}: {error}; mend the measurements") from error
    rows, off_m3 = spaced(table, step_m)
    head.append(_between(table, step_m, off_m3))
    text = "".join(f"{line}\n" for line in (*(f"# {words}" for words in head), *csv_lines(rows)))
    if args.out is None:
        sys.stdout.write(text)
        return 0
    try:
        with args.out.open("x", encoding="utf-8", newline="\n") as file:
            file.write(text)
    except FileExistsError:
        raise CallError(
            f"--out {args.out}: there is such a file already, and a table in use is not replaced; choose another name"
        ) from None
    except OSError as error:
        raise CouldNot(f"{args.out}: cannot be written: {error.strerror}") from error
    reach = f"{table.bottom_m:g} to {table.top_m:g} m"
    print(f"{args.out}: {len(rows)} rows, {reach}, {table.capacity_m3:.3f} m3; {NO_CERTIFICATE}")
    return 0


def _step_m(text: str) -> float:
    step_m = quantity("--step", text, "m", "1 cm")
    if not FINEST_M <= step_m <= COARSEST_M:
        raise CallError(f"--step {text}: allowed is {1000 * FINEST_M:g} mm to {100 * COARSEST_M:g} cm")
    return step_m


def _from_shape(args: Namespace) -> tuple[CapacityTable, list[str]]:
    """The options are the keys of the site file's `shape`, and are judged as such."""
    raw: dict[str, Any] = {name: given for name in SIZES if (given := getattr(args, name)) is not None}
    raw |= {name: _end(name, given) for name in ENDS if (given := getattr(args, name)) is not None}
    raw["kind"] = args.kind
    report = Report("capacity shape")
    table = read_tables(ShapeTable, raw, report)
    shape = None if report.errors else drawn(report, "shape", table)
    if shape is None:
        raise SiteError(report.errors)
    try:
        made = table_of(shape)
    except OutOfRange as error:
        raise CallError(f"capacity shape: {error}") from error
    asked = ", ".join(f"{name} {value}" for name, value in vars(args).items() if name in (*SIZES, *ENDS) and value)
    return made, [
        f"Capacity table made by gaugehouse {__version__} from drawing dimensions: {args.kind}, {asked}.",
        f"Innage from the lowest point inside, exact volume of the shape; {NO_CERTIFICATE}.",
    ]


def _end(name: str, text: str) -> dict[str, Any]:
    """`ellipsoidal 0.6 m in` as the table that the site file has for an end."""
    option = f"--{name.replace('_', '-')}"
    kind, *rest = text.split() or [""]
    if kind not in HEADS:
        raise CallError(f"{option} {text!r}: an end is one of {', '.join(HEADS)}")
    end: dict[str, Any] = {"kind": kind}
    if rest and rest[-1] in STANDS:
        end["stands"] = rest.pop()
    if kind == "torispherical" and rest:
        if len(rest) != 2 or not all(re.fullmatch(r"\d*\.?\d+", word) for word in rest):
            raise CallError(f"{option} {text!r}: write crown and knuckle by diameter, such as torispherical 1.0 0.06")
        end["crown"], end["knuckle"] = map(float, rest)
    elif rest:
        end["depth"] = " ".join(rest)
    return end


def _from_strapping(path: Path) -> tuple[CapacityTable, list[str]]:
    strapping, note = read_strapping(path)
    table = table_of_strapping(strapping)
    first = f"Capacity table made by gaugehouse {__version__} from strapping measurements in {path.name}"
    return table, [
        f"{first}{f': {note}' if note else ''}.",
        "Form of ISO 7507-1 / API MPMS 2.2A (from memory): girth less plates and paint, thin-wall growth under the "
        "liquid, deadwood taken off.",
        *_strapping_words(strapping),
        f"Strapped by hand, {NO_CERTIFICATE}.",
    ]


def _strapping_words(strapping: Strapping) -> Iterator[str]:
    rings, head, tape = rings_of(strapping), strapping.head, strapping.tape
    radii = ", ".join(f"{ring.radius_m:.5f}" for ring in rings)
    yield f"Inside radii of the {len(rings)} courses [m]: {radii}."
    yield "Liquid head not included." if head is None else f"Liquid head of {head.density_kgpm3:g} kg/m3 included."
    yield (
        "Temperatures not given: girths taken as they were read."
        if tape is None
        else f"Reference temperature of the table {tape.reference_degC:g} degC, shell at {tape.shell_degC:g} degC."
    )
    if strapping.tilt:
        yield f"Tilt {100 * strapping.tilt:g} % of the axis, level at the axis."


def spaced(table: CapacityTable, step_m: float | None) -> tuple[list[tuple[float, float]], float]:
    """Rows of a table at a step, both ends kept, and by how much straight lines between them are off at the most.

    Without a step the table's own rows: no coarser than a millimetre.
    """
    own = list(zip(table.levels_m, table.volumes_m3, strict=True))
    if step_m is None:
        return own, 0.0
    bottom, top = table.bottom_m, table.top_m
    first, last = math.floor(bottom / step_m + 1e-9) + 1, math.ceil(top / step_m - 1e-9)
    levels = [bottom, *(k * step_m for k in range(first, last) if bottom + 1e-9 < k * step_m < top - 1e-9), top]
    rows = [(level, table.volume_m3(level)) for level in levels]
    coarse = CapacityTable(levels, [volume for _, volume in rows])
    return rows, max(abs(coarse.volume_m3(level) - volume) for level, volume in own)


def _between(table: CapacityTable, step_m: float | None, off_m3: float) -> str:
    if step_m is None:
        return f"Straight lines between rows agree with the exact volume to {AGREEMENT_FRAC:g} of capacity."
    percent = 100 * off_m3 / table.capacity_m3
    return (
        f"Rows {1000 * step_m:g} mm apart; straight lines between them are off by up to {1000 * off_m3:.3f} L "
        f"({percent:.4f} % of capacity)."
    )


def csv_lines(rows: list[tuple[float, float]]) -> Iterator[str]:
    """The header and the rows: level to the nanometre, volume to a tenth of a millilitre, as rows may be close."""
    yield "level [mm],volume [L]"
    for level_m, volume_m3 in rows:
        level = f"{1000 * level_m:.6f}".rstrip("0").rstrip(".")
        yield f"{level},{1000 * volume_m3:.4f}"
