"""`gaugehouse document`: write papers down, list them, undo and put right, take files in and write them out.

0: done; 1: nothing was taken because something is asked about (`--sure` answers); 2: mistakes, all of them told.
"""

import contextlib
import sys
from argparse import Namespace
from collections.abc import Callable, Mapping, Sequence
from datetime import date
from pathlib import Path
from typing import Any, Final

from gaugehouse.act import Answer, Json, Taken
from gaugehouse.acting import told
from gaugehouse.documentcall import FLAGS, OPTIONS
from gaugehouse.documentcsv import csv_of
from gaugehouse.documentrecords import Kept, document_with, documents_between, kept_json
from gaugehouse.errors import CallError, CouldNot
from gaugehouse.printing import as_json, table
from gaugehouse.rows import fixed
from gaugehouse.site import Site, load_site
from gaugehouse.sitefile.problems import listed
from gaugehouse.stores import look_into_book
from inventory.documents import DocumentKind, document_json

DONE: Final = 0
ASKED: Final = 1
WRONG: Final = 2

FIRST_DAY: Final = "0001-01-01"
LAST_DAY: Final = "9999-12-31"
LARGEST_FILE: Final = 900_000
"""Bytes of a file: what the door of a running daemon lets through in one piece, as JSON."""

SHOWN: Final = (
    "number", "day", "kind", "tank", "owner", "paper", "observed_m3", "standard_m3", "temperature_degC",
    "density_kg_m3", "by", "corrects", "comment",
)  # fmt: skip


def _add(args: Namespace) -> int:
    return _answered(args, "add_document", {"kind": args.kind, **_fields(args)})


def _correct(args: Namespace) -> int:
    fields = {"number": args.number, **_fields(args), "nothing": args.nothing}
    site = load_site(Path(args.site))
    old = _kept(site, args.number)
    if old is not None and old.undone is None:
        fields["old"] = document_json(old.document)
    return _answered(args, "correct_document", fields)


def _kept(site: Site, number: int) -> Kept | None:
    with contextlib.suppress(CouldNot), look_into_book(site) as book:
        return document_with(book, number)
    return None


def _undo(args: Namespace) -> int:
    return _answered(args, "undo_document", {"number": args.number, "by": args.by, "comment": args.comment})


def _import(args: Namespace) -> int:
    try:
        text = sys.stdin.read() if args.file == "-" else Path(args.file).read_text(encoding="utf-8-sig")
    except OSError as error:
        raise CallError(f"{args.file}: cannot be read: {error.strerror}; check the name and its rights") from error
    except UnicodeDecodeError as error:
        raise CallError(f"{args.file}: no text in UTF-8 (byte {error.start}); save it as UTF-8") from error
    if len(text.encode()) > LARGEST_FILE:
        raise CallError(f"{args.file}: more than {LARGEST_FILE} bytes; divide it")
    return _answered(args, "import_documents", {"csv": text, "by": args.by, "sure": args.sure})


def _fields(args: Namespace) -> Json:
    names = ["day", *(name.replace("-", "_") for name in (*OPTIONS, *FLAGS))]
    fields = {name: getattr(args, name) for name in names}
    said = {name: value for name, value in fields.items() if value is not None}
    return {**said, "by": args.by, "sure": args.sure}


def _answered(args: Namespace, act: str, fields: Json) -> int:
    answer = told(load_site(Path(args.site)), act, fields)
    body = dict(answer.body)
    if args.json:
        print(as_json({"status": answer.status.value, "text": answer.text, **body}))
    elif answer.status is Taken.DONE:
        print(_done(answer, args.by))
    else:
        _say_why(answer)
    if answer.status is Taken.DONE:
        return DONE
    return ASKED if body.get("questions") and not body.get("mistakes") else WRONG


def _done(answer: Answer, by: str) -> str:
    body = answer.body
    if "count" in body:
        numbers = body["numbers"]
        return f"{body['count']} documents taken, {numbers[0]} to {numbers[-1]}, by {by}"
    if "document" in body:
        return f"document {body['number']} is undone, by {by}"
    lines = [_line(one) for one in body["documents"]]
    return "\n".join([*lines, answer.text] if answer.text else lines)


def _line(one: Mapping[str, Any]) -> str:
    volumes = [f"{fixed(one[name], 4)} m3 {word}" for name, word in _VOLUMES if one[name] is not None]
    where = one["tank"] or one["details"].get("place", "")
    paper = f" {one['paper']}" if one["paper"] else ""
    corrects = f", puts right {one['corrects']}" if one["corrects"] is not None else ""
    return f"document {one['number']}: {one['kind']}{paper}, {where}, {one['day']}: {', '.join(volumes)}{corrects}"


_VOLUMES: Final = (("observed_m3", "observed"), ("standard_m3", "standard"))


def _say_why(answer: Answer) -> None:
    """Each mistake or question on a line of its own: row, column, what is there, what is allowed, the mend."""
    found: Sequence[Mapping[str, Any]] = answer.body.get("mistakes") or answer.body.get("questions") or ()
    rows = [{name: one.get(name, "") for name in ("row", "column", "found", "allowed", "mend")} for one in found]
    columns = ("row", "column", "found", "allowed", "mend") if rows and rows[0]["row"] else _MISTAKE
    if rows:
        print(table(columns, rows))
    if not rows or rows[0]["row"]:
        print(f"gaugehouse: {answer.text}", file=sys.stderr)
    elif not answer.body.get("mistakes"):
        print("gaugehouse: nothing was taken; if it is so, say it again with --sure", file=sys.stderr)


_MISTAKE: Final = ("column", "found", "allowed", "mend")


def _list(args: Namespace) -> int:
    site = load_site(Path(args.site))
    start, end = _day(args.start, "--from", FIRST_DAY), _day(args.end, "--to", "")
    kinds = [kind.value for kind in DocumentKind]
    if args.kind is not None and args.kind not in kinds:
        raise CallError(f"--kind {args.kind!r}: there are {listed(kinds)}")
    if args.tank is not None and args.tank not in [tank.id for tank in site.tanks]:
        raise CallError(f"{site.path}: no tank {args.tank!r}; there are {', '.join(tank.id for tank in site.tanks)}")
    with look_into_book(site) as book:
        kept = documents_between(book, start, end or LAST_DAY)
    kept = [one for one in kept if not end or one.document.day < end]
    kept = [one for one in kept if args.kind in (None, one.document.kind.value)]
    kept = [one for one in kept if args.tank is None or args.tank in touches(one)]
    if not args.all:
        kept = [one for one in kept if one.undone is None]
    if args.csv:
        print(csv_of(one.document for one in kept), end="")
    elif args.json:
        print(as_json([kept_json(one) for one in kept]))
    elif kept:
        print(table((*SHOWN, "undone") if args.all else SHOWN, [_row(one) for one in kept]))
    else:
        print("no document of those days")
    return DONE


def touches(kept: Kept) -> tuple[str, str]:
    """The tanks that a document is about."""
    return kept.document.tank, str(kept.document.details.get("to_tank", ""))


def _row(kept: Kept) -> Json:
    row = {name: value for name, value in document_json(kept.document).items() if name in SHOWN}
    row["tank"] = row["tank"] or kept.document.details.get("place", "")
    row |= {name: fixed(row[name], 4) if row[name] is not None else "" for name in ("observed_m3", "standard_m3")}
    return row | {"undone": "" if kept.undone is None else f"by {kept.undone.by}"}


def _day(text: str | None, option: str, default: str) -> str:
    if text is None:
        return default
    try:
        return date.fromisoformat(text).isoformat()
    except ValueError:
        raise CallError(f"{option} {text!r} is no day; write it as 2026-01-31") from None


COMMANDS: Final[Mapping[str, Callable[[Namespace], int]]] = {
    "add": _add,
    "correct": _correct,
    "undo": _undo,
    "import": _import,
    "list": _list,
}
