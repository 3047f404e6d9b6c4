"""`gaugehouse check --map`: the register map of a site as text, CSV, JSON or a paper for the control room."""

import argparse
import csv
import math
import sys
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Final

from gaugehouse.errors import CallError, CouldNot
from gaugehouse.paper import Block, Column, Note, Paper, Table, pdf_of
from gaugehouse.printing import as_json
from gaugehouse.registermap import (
    BITS_A_TANK,
    NOT_FOR,
    SITE_BITS,
    SITE_FIELDS,
    SITE_FIRST,
    TANK_BITS,
    TANK_FIELDS,
    TANK_FIRST,
    TANK_SIZE,
    RegisterMap,
)
from gaugehouse.site import load_site
from gaugehouse.sitefile.facts import Site
from gaugehouse.sitefile.registersfacts import RegisterServerSpec

Row = dict[str, Any]

COLUMNS: Final = ("tank", "address", "words", "type", "name", "unit", "meaning")
WORDS: Final = {"uint16": 1, "int16": 1, "uint32": 2, "int32": 2, "float32": 2}


def map_rows(registers: RegisterMap) -> list[Row]:
    """One row a register figure. address: counted from 0, as it stands in the request; tank: "" for the site's own."""
    rows = [_row("", SITE_FIRST, field) for field in SITE_FIELDS]
    for place, tank in enumerate(registers.spec.tanks):
        rows += [_row(tank, TANK_FIRST + place * TANK_SIZE, field) for field in TANK_FIELDS]
    return rows


def bit_rows(registers: RegisterMap) -> list[Row]:
    """One row a bit: its place in the alarm word, and its own address for functions 1 and 2."""
    rows = [_bit("", 0, bit, words) for bit, words in enumerate(SITE_BITS)]
    for place, tank in enumerate(registers.spec.tanks):
        first = TANK_FIRST + place * BITS_A_TANK
        rows += [_bit(tank, first, bit, words) for bit, words in enumerate(TANK_BITS) if words]
    return rows


def _row(tank: str, first: int, field: Any) -> Row:
    cells = (tank, first + field.at, WORDS[field.form], field.form, field.name, field.unit, field.words)
    return dict(zip(COLUMNS, cells, strict=True))


def _bit(tank: str, first: int, bit: int, words: str) -> Row:
    return dict(zip(COLUMNS, (tank, first + bit, 0, "bit", f"alarms.{bit}", "", words), strict=True))


def heading(site: Site, spec: RegisterServerSpec) -> list[str]:
    """What has to be known before the first register."""
    registers = RegisterMap(spec)
    bad = "NaN" if math.isnan(spec.bad_value) else f"{spec.bad_value:g}"
    return [
        f"Site {site.id} ({site.name}), map {registers.fingerprint}: {NOT_FOR}.",
        f"Modbus TCP, {spec.host} port {spec.port}, unit {spec.unit}. Only these may ask: "
        f"{', '.join(str(network) for network in spec.allow)}.",
        "Read-only: functions 1 to 4. Functions 3 and 4 give the same registers, 1 and 2 the same bits; every other "
        "function is refused with exception 01. Addresses count from 0, as they stand in a request.",
        f"Numbers of two registers come {'high' if spec.high_first else 'low'} word first. A figure that is not known "
        f"reads as {bad} (float32) or as its form's own mark; a tank is Bad where the lowest two bits of its "
        "quality word are 0, and so is whatever is older than the control room can stand: look at age and heartbeat "
        "first.",
        f"A tank's block is {TANK_SIZE} registers from its quality word on: read it in one request, so that value, age "
        "and quality belong together.",
    ]


def text_of(site: Site, spec: RegisterServerSpec) -> str:
    """The map for a terminal."""
    registers = RegisterMap(spec)
    lines = [*heading(site, spec), ""]
    for title, rows in (("Registers", map_rows(registers)), ("Bits", bit_rows(registers))):
        lines.append(title)
        tank = None
        for row in rows:
            if row["tank"] != tank:
                tank = row["tank"]
                lines.append(f"  tank {tank}" if tank else "  the site")
            unit = f" [{row['unit']}]" if row["unit"] else ""
            lines.append(f"    {row['address']:>5}  {row['type']:<8}{row['name']}{unit}: {row['meaning']}")
        lines.append("")
    return "\n".join(lines)


def paper_of(site: Site, spec: RegisterServerSpec, made_at: datetime, *, simulated: bool = False) -> Paper:
    """The map as a paper: the site's registers, those of a tank with each tank's first one, and the bits."""
    registers = RegisterMap(spec)
    wide = [
        Column("Address", align="right"),
        Column("Type"),
        Column("Name", 1.7),
        Column("Unit"),
        Column("Meaning", 5.0),
    ]
    bits = [Column("Bit", align="right"), Column("Meaning", 5.0)]
    tanks = [
        [tank, site.tank(tank).name, str(registers.first_of(tank)), str(TANK_FIRST + place * BITS_A_TANK)]
        for place, tank in enumerate(spec.tanks)
    ]
    blocks: list[Block] = [
        Note(NOT_FOR.capitalize() + ".", strong=True),
        *(Note(line) for line in heading(site, spec)[1:]),
        Table(wide, [_cells(f.at, f) for f in SITE_FIELDS], "The site's registers"),
        Table(
            [Column(head) for head in ("Tank", "Name", "First register", "First bit")], tanks, "Where each tank begins"
        ),
        Table(wide, [_cells(f.at, f) for f in TANK_FIELDS], "A tank's registers, counted from its first"),
        Table(bits, [[str(n), words] for n, words in enumerate(SITE_BITS)], "The site's alarm bits, from address 0"),
        Table(bits, [[str(n), words] for n, words in enumerate(TANK_BITS) if words],
              "A tank's alarm bits, counted from its first"),
    ]  # fmt: skip
    return Paper(
        title="Register map",
        site=f"{site.id} · {site.name}",
        period=f"map {registers.fingerprint}",
        made_by="gaugehouse check --map",
        made_at=made_at,
        blocks=blocks,
        simulated=simulated,
    )


def _cells(at: int, field: Any) -> list[str]:
    return [str(at), field.form, field.name, field.unit, field.words]


def print_map(args: argparse.Namespace) -> int:
    """Raises `CallError` for a site without a register server, `CouldNot` for a paper that cannot be written."""
    site = load_site(Path(args.site))
    spec = site.register_server
    if spec is None:
        raise CallError(
            f"{args.site}: there is no [register_server], so there is no map; add the table with `allow = [...]` to "
            "serve the figures as registers"
        )
    rows = map_rows(RegisterMap(spec)) + bit_rows(RegisterMap(spec))
    if args.pdf:
        try:
            Path(args.pdf).write_bytes(pdf_of(paper_of(site, spec, datetime.now(UTC).replace(microsecond=0))))
        except OSError as error:
            raise CouldNot(f"{args.pdf}: cannot be written: {error.strerror}") from error
    elif args.csv:
        out = csv.DictWriter(sys.stdout, COLUMNS, lineterminator="\n")
        out.writeheader()
        out.writerows(rows)
    elif args.json:
        print(as_json(rows))
    else:
        print(text_of(site, spec), end="")
    return 0
