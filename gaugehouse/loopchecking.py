"""`gaugehouse loop check`: a loop check's acts by command, the list of the records, one of them as PDF or JSON."""

import sys
import time
from argparse import Namespace
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from console.check_words import FIELDS
from gaugehouse import checkrecords
from gaugehouse.acting import answer_json, perform
from gaugehouse.acts import Answer, Taken
from gaugehouse.checkpaper import VERDICTS, paper_of, when
from gaugehouse.errors import CallError, CouldNot
from gaugehouse.optionvalues import quantity_or_none
from gaugehouse.paper import pdf_of
from gaugehouse.printing import as_json, table
from gaugehouse.site import Site, load_site
from gaugehouse.stores import look_into_book

Json = dict[str, Any]


def run(args: Namespace) -> int:
    """One of its ways; 0 when it is done. What is refused is said with its reason, exit 3."""
    site = load_site(Path(args.site))
    if args.way in ("records", "print"):
        return _records(site, args) if args.way == "records" else _print(site, args)
    name, fields = {"start": _start, "step": _step, "finish": _finish, "abort": _abort}[args.way](args)
    answer = _performed(site, name, {"instrument": args.instrument, "by": args.by, **fields}, _patience_s(args))
    body: Json = dict(answer.body)
    if args.json:
        print(answer_json(answer))
    elif answer.status is Taken.ALREADY:
        print(answer.text)
    else:
        print(_said(args, body))
    return 0


def _patience_s(args: Namespace) -> float:
    return quantity_or_none("--wait", getattr(args, "wait", None), "s", "30 s") or 0.0


def _performed(site: Site, name: str, fields: Json, patience_s: float) -> Answer:
    """Let the act happen; what is refused is tried again each second until the patience is over."""
    until_s, said = time.monotonic() + patience_s, ""
    while True:
        try:
            return perform(site, name, fields)
        except CouldNot as error:
            if time.monotonic() >= until_s:
                raise
            if str(error) != said:
                said = str(error)
                print(f"waiting: {said}", file=sys.stderr)
            time.sleep(1.0)


def _start(args: Namespace) -> tuple[str, Json]:
    seconds = quantity_or_none("--for", args.span, "s", "30 min")
    fields = {"covered_by": args.covered_by, "at_rest": args.at_rest, "permit": args.permit}
    return "start_loop_check", fields | {"minutes": None if seconds is None else seconds / 60}


def _step(args: Namespace) -> tuple[str, Json]:
    currents = {
        name: quantity_or_none(f"--{name}", getattr(args, name), "mA", "8 mA") for name in ("point", "applied", "shown")
    }
    fields: Json = {f"{name}_mA": value for name, value in currents.items()}
    return "take_loop_step", fields | {"run": args.which or "", "direction": args.direction or ""}


def _finish(args: Namespace) -> tuple[str, Json]:
    return "finish_loop_check", {name: getattr(args, name) for name in FIELDS}


def _abort(args: Namespace) -> tuple[str, Json]:
    return "abort_loop_check", {"why": args.why}


def _said(args: Namespace, body: Json) -> str:
    """What was done and what comes next, for a person at the instrument."""
    if "record" in body:
        record = body["record"]
        verdict = "" if record["how"] != "finished" else f", {VERDICTS[record['passes']]}"
        return (
            f"loop check {record['number']} of {record['instrument']}: {record['how']}{verdict}; the loop measures "
            f"again\n`gaugehouse loop check print {args.site} {record['number']}` prints the record"
        )
    lines = []
    if "step" in body:
        step = body["step"]
        error = 100 * (step["shown_mA"] - step["applied_mA"]) / 16
        spread = "" if step["spread_mA"] is None else f" (mean of {step['samples']}, spread {step['spread_mA']:.4f} mA)"
        lines.append(
            f"{step['run'].replace('_', ' ')}, {step['point_mA']:g} mA {step['direction']}: applied "
            f"{step['applied_mA']:.3f} mA, shown {step['shown_mA']:.4f} mA{spread}, error {error:+.3f} % of span"
        )
    else:
        lines += [
            f"loop check {body['number']} of {body['instrument']}: under way until {body['until']}",
            f"function check: no level and no stock from it; blind: {', '.join(body['blinds']) or 'no alarm'}",
        ]
    following = body["next"]
    if following is None:
        lines.append("every step is taken: take the simulated current away, then `finish`")
    else:
        run_words = following["run"].replace("_", " ")
        lines.append(f"next: {run_words}, {following['point_mA']:g} mA {following['direction']}")
        if following["run"] == "as_left" and following["point_mA"] == 4 and following["direction"] == "up":
            lines.append("as found is whole: take the simulated current away and `finish` if nothing was adjusted")
    return "\n".join(lines)


def _records(site: Site, args: Namespace) -> int:
    with look_into_book(site) as book:
        found = [checkrecords.row(one) for one in checkrecords.records(book, args.instrument)]
    if args.json:
        print(as_json(found))
        return 0
    zone = ZoneInfo(site.zone)
    rows = [
        {
            "number": one["number"],
            "instrument": one["instrument"],
            "started": when(one["started_ms"], zone),
            "by": one["by"],
            "ended": one["how"],
            "as found": VERDICTS[one["as_found"]],
            "as left": VERDICTS[one["as_left"]] if one["as_left"] is not None else None,
        }
        for one in found
    ]
    print(table(tuple(rows[0]), rows) if rows else "no loop check record yet")
    return 0


def _print(site: Site, args: Namespace) -> int:
    with look_into_book(site) as book:
        record = checkrecords.record(book, args.number)
    if record is None:
        raise CallError(
            f"{site.path}: there is no loop check record {args.number}; `gaugehouse loop check records` lists them"
        )
    if args.json:
        print(as_json(record))
        return 0
    path = Path(args.out or f"loop-check-{args.number}.pdf")
    content = pdf_of(paper_of(record, site.zone, size="Letter" if args.letter else "A4"))
    try:
        path.write_bytes(content)
    except OSError as error:
        raise CouldNot(f"{path}: cannot be written: {error.strerror}") from error
    print(path)
    return 0
