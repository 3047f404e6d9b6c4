"""`gaugehouse report` and `gaugehouse handover`: reports from what is kept, and the change of shift."""

from argparse import Namespace
from collections.abc import Iterator
from pathlib import Path
from typing import Final

from console import report_views as views
from gaugehouse.acting import perform, printed
from gaugehouse.acts import Json
from gaugehouse.days import iso_ms
from gaugehouse.errors import CallError, CouldNot
from gaugehouse.handoverrecords import handover_rows
from gaugehouse.looking import SIMULATED, moment_ms
from gaugehouse.printing import as_json, table
from gaugehouse.reports.catalogue import REPORTS, kind_of, make
from gaugehouse.reports.model import Report, report_json
from gaugehouse.reports.periods import Asked
from gaugehouse.reports.sources import Sources, state_of
from gaugehouse.reports.writers import FORMATS, written
from gaugehouse.simulatedbook import now_of_readings
from gaugehouse.site import Site, load_site
from gaugehouse.stores import look_into_book, look_into_readings
from gaugehouse.waterlook import past_core

HANDED: Final = ("number", "by", "time", "from", "to", "notes", "taken_by", "taken", "taken_notes")


def report(args: Namespace) -> int:
    """0 when it is made; what was not done stands in it."""
    site = load_site(Path(args.site))
    if args.kind is None:
        _list(args)
        return 0
    kind_of(args.kind)
    files = {name: getattr(args, name) for name in FORMATS if getattr(args, name) is not None}
    if files and not args.by.strip():
        raise CallError("--by is missing: a report bears who made it; add --by NAME")
    if args.table is not None and "csv" not in files:
        raise CallError("--table goes with --csv: a paper and a spreadsheet hold all tables; add --csv FILE.csv")
    made = _made(site, args)
    for form, name in files.items():
        _write(name, written(made, form, args.paper or site.paper_size, args.table))
    if args.json:
        print(as_json(report_json(made)))
    elif not files:
        print("\n".join(text_of(made)))
    return 0


def _list(args: Namespace) -> None:
    rows = [{"report": one.name, "of": one.takes.value, "title": one.title, "what": one.words}
            for one in REPORTS.values()]  # fmt: skip
    print(as_json(rows) if args.json else table(("report", "of", "title", "what"), rows))


def _made(site: Site, args: Namespace) -> Report:
    with look_into_readings(site) as store, look_into_book(site) as book:
        now_ms = now_of_readings(site, store, book)
        state = state_of(past_core(site, book), now_ms)
        sources = Sources(site, store, book, state, now_ms, args.by.strip())
        return make(args.kind, sources, Asked(args.day, args.month, args.start, args.end))


def _write(name: str, content: bytes) -> None:
    if name == "-":
        print(content.decode(), end="")
        return
    try:
        Path(name).write_bytes(content)
    except OSError as error:
        raise CouldNot(f"{name}: cannot be written: {error.strerror}") from error


def text_of(made: Report) -> Iterator[str]:
    """A report for people."""
    told = views.view(report_json(made))
    if told["simulated"]:
        yield SIMULATED
    yield told["title"]
    for label, value in told["bears"]:
        yield f"{label}: {value}"
    for field in told["fields"]:
        yield f"{field['label']}: {field['value']}"
    for text in told["not_done"]:
        yield f"NOT DONE: {text}"
    for one in told["tables"]:
        yield ""
        yield one["title"]
        yield _table(one)
    for note in told["notes"]:
        yield f"note: {note}"


def _table(one: Json) -> str:
    if not one["rows"]:
        return str(one["empty"])
    heads: list[str] = []
    for column in one["columns"]:
        head = str(column["head"]).replace("-\n", "").replace("\n", " ")
        heads.append(head if head not in heads else f"{head} {len(heads) + 1}")
    rows = [row["cells"] for row in one["rows"]] + ([one["sums"]] if one["sums"] else [])
    return table(heads, [dict(zip(heads, row, strict=True)) for row in rows])


def handover(args: Namespace) -> int:
    """0 when it is written down, also when it was before (who by, is told)."""
    site = load_site(Path(args.site))
    if args.by is None:
        if args.notes or args.take:
            raise CallError("--by is missing: say who hands over or takes over")
        return _handed(site, args)
    if args.take:
        if args.start or args.end:
            raise CallError("--from and --to are of handing over; leave them out with --take")
        fields: Json = {"by": args.by, "notes": args.notes, "number": args.number}
        answer = perform(site, "take_over", fields)
    else:
        if args.number is not None:
            raise CallError("--number goes with --take: a new handover gets its number by itself")
        start, end = moment_ms(args.start, site), moment_ms(args.end, site)
        fields = {"by": args.by, "notes": args.notes, "from": None if start is None else iso_ms(start),
                  "to": None if end is None else iso_ms(end)}  # fmt: skip
        answer = perform(site, "hand_over", fields)
    body = answer.body
    if not printed(args, answer):
        print(f"handover {body['number']}: {'taken over' if args.take else 'given'} by {args.by} at {body['time']}")
    return 0


def _handed(site: Site, args: Namespace) -> int:
    with look_into_book(site) as book:
        rows = handover_rows(book)
    print(as_json(rows) if args.json else table(HANDED, rows) if rows else "no shift has been handed over yet")
    return 0
