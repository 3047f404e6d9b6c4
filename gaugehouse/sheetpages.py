"""`gaugehouse alarms --sheet`: the alarm sheet in force for people, as text, as CSV, and as a paper."""

import contextlib
import sys
from argparse import Namespace
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path
from zoneinfo import ZoneInfo

from alerts.sheet import mark_of
from gaugehouse.alarmtestacts import proof_rows
from gaugehouse.errors import CallError, CouldNot
from gaugehouse.paper import Column, Note, Paper, Table, pdf_of
from gaugehouse.printing import as_json
from gaugehouse.simulatedbook import is_simulated
from gaugehouse.site import Site
from gaugehouse.sitefile.sheetlines import Line, cells, csv_of, lines, with_tests
from gaugehouse.stores import look_into_book

NOTE = (
    "An alarm without an operator action is not an alarm. Priority 1 act now, 2 act soon, 3 act this shift; that of a "
    "lost signal follows what it blinds: 1 while the tank receives, else 2. Set points are innages where they are "
    "lengths. Alarms marked independent come from a sensor of their own; all others fail with the gauge."
)


def sheet(site: Site, args: Namespace, sources: set[str] | None) -> int:
    """Print the sheet in force, or write it as a paper. sources: those asked for, None for all."""
    all_lines = with_tests(lines(site), tested_days(site))
    shown = [line for line in all_lines if sources is None or line.source in sources]
    if args.csv and sources is not None:
        raise CallError("--csv is the whole sheet, so that it can be used as one; leave --tank out")
    if args.pdf is not None:
        _write(Path(args.pdf), pdf_of(paper_of(site, shown, datetime.now(UTC))))
    elif args.csv:
        print(csv_of(site), end="")
    elif args.json:
        print(as_json([cells(line) for line in shown]))
    else:
        print("\n".join(text_of(shown)))
    return 0


def text_of(shown: list[Line]) -> Iterator[str]:
    """One alarm after the other, everything that is known of it."""
    for line in shown:
        cell = cells(line)
        mark = mark_of(line.condition)
        priority = f"priority {cell['priority']}" if cell["priority"] else "priority by what it blinds"
        yield f"{line.id}: {cell['name']}, {priority}" + (f", {mark}" if mark else "")
        settings = _settings(cell)
        if settings:
            yield f"  {settings}"
        for label, column in _TEXTS:
            if cell[column]:
                yield f"  {label:<12} {cell[column]}"
        lives = _lives(cell)
        if lives:
            yield f"  {'behaves':<12} {lives}"
        proved = _proved(cell)
        if proved:
            yield f"  {'test':<12} {proved}"
        yield ""
    yield f"{len(shown)} alarms; the same as CSV with --csv, as a paper with --pdf FILE.pdf"


_TEXTS = (
    ("cause", "cause"), ("consequence", "consequence"), ("action", "action"), ("respond", "respond"),
    ("rationale", "rationale"), ("owner", "owner"),
)  # fmt: skip


def _settings(cell: dict[str, str]) -> str:
    parts = [f"at {cell['set_point']}, deadband {cell['deadband']}"] if cell["set_point"] else []
    if cell["on_delay"]:
        parts.append(f"on after {cell['on_delay']}, off after {cell['off_delay']}")
    return ", ".join(parts)


def _lives(cell: dict[str, str]) -> str:
    parts = ["latching"] if cell["latching"] == "yes" else []
    parts += [f"class {cell['class']}"] if cell["class"] else []
    parts += [f"asks again after {cell['ask_again']}"] if cell["ask_again"] else []
    parts += [f"suppressed while {cell['suppressed_while']} is on"] if cell["suppressed_while"] else []
    return ", ".join(parts)


def _proved(cell: dict[str, str]) -> str:
    parts = [cell["test_method"]] if cell["test_method"] else []
    parts += [f"every {cell['test_every']}"] if cell["test_every"] else []
    parts += [f"last on {cell['last_test']}"] if cell["last_test"] else []
    return ", ".join(parts)


def paper_of(site: Site, shown: list[Line], made_at: datetime) -> Paper:
    """The sheet as a paper, a row an alarm."""
    columns = (
        Column("Alarm", 1.5), Column("P", 0.25, "center"), Column("Settings", 1.2), Column("Cause", 1.7),
        Column("Consequence", 1.7), Column("Operator action", 2.0), Column("Respond", 1.0), Column("Owner, test", 1.1),
    )  # fmt: skip
    rows = [_row(line) for line in shown]
    head, simulated = _of_book(site)
    local = made_at.astimezone(ZoneInfo(site.zone))
    return Paper(
        title="Alarm sheet",
        site=site.name,
        period=f"in force on {local:%Y-%m-%d}, settings {site.fingerprint()[:12]}",
        made_by="gaugehouse alarms --sheet",
        made_at=local,
        blocks=(Table(columns, rows, size_pt=6.8), Note(NOTE)),
        head=head,
        simulated=simulated,
        landscape=True,
    )


def _row(line: Line) -> tuple[str, ...]:
    cell, mark = cells(line), mark_of(line.condition)
    name = "\n".join(part for part in (line.id, cell["name"], mark, _lives(cell)) if part)
    owner = "\n".join(part for part in (cell["owner"], _proved(cell), cell["rationale"]) if part)
    texts = (cell["cause"], cell["consequence"], cell["action"], cell["respond"])
    return (name, cell["priority"] or "–", _settings(cell).replace(", ", "\n"), *texts, owner)


def tested_days(site: Site) -> dict[str, str]:
    """By alarm, the day of its newest passed test in the record book; empty where there is no book yet."""
    with contextlib.suppress(CouldNot), look_into_book(site) as book:
        zone = ZoneInfo(site.zone)
        return {
            str(row["alarm"]): f"{datetime.fromisoformat(str(row['ended'])).astimezone(zone):%Y-%m-%d}"
            for row in proof_rows(book)
            if row["passed"]
        }
    return {}


def _of_book(site: Site) -> tuple[str, bool]:
    """The record book's head, and whether it is one of a simulated farm; nothing where there is no book yet."""
    with contextlib.suppress(CouldNot), look_into_book(site) as book:
        return str(book.head()), is_simulated(book)
    return "", False


def _write(path: Path, content: bytes) -> None:
    try:
        path.write_bytes(content)
    except OSError as error:
        raise CouldNot(f"{path}: cannot be written: {error.strerror}") from error
    print(path, file=sys.stderr)
