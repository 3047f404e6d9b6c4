"""The commands about loop faults: the list, one fault's trace, the figures of each loop, and a person's entry."""

import json
import sys
from argparse import Namespace
from pathlib import Path
from typing import Any, Final

from gaugehouse.acting import perform
from gaugehouse.acts import Taken
from gaugehouse.errors import CallError
from gaugehouse.faultfacts import figures_of, trace_csv, watch_of
from gaugehouse.faultrecords import fault_rows
from gaugehouse.faultwhy import why
from gaugehouse.looking import sources_of, span_of
from gaugehouse.optionvalues import quantity_or_none
from gaugehouse.printing import as_json, table
from gaugehouse.simulatedbook import now_of
from gaugehouse.site import Site, load_site
from gaugehouse.stores import look_into_book, look_into_readings, look_into_traces

VERDICTS: Final = {
    "told": "one cause (*) stands before the others",
    "cannot tell apart": "the causes marked * cannot be told apart by what is known",
    "unknown": "unknown; what follows is too weak to be called a cause",
}

SHOWN: Final = (
    "instrument", "number", "start", "end", "class", "status", "entry_mA", "min_mA", "max_mA", "level_m", "movement",
    "alarms blinded", "blinded_s", "repeats_30d", "repeats_90d", "cause", "closed_by", "flag",
)  # fmt: skip


def faults(args: Namespace) -> int:
    """`gaugehouse faults`: loop faults that touch the time asked for, oldest first."""
    site = load_site(Path(args.site))
    if args.trace is not None:
        return _trace(site, args.trace)
    if args.why is not None:
        return _why(site, args.why, args.json)
    sources, (start, end) = sources_of(site, args.tank), span_of(args, site)
    with look_into_book(site) as book:
        rows = fault_rows(book, sources, start, end)
        if args.figures:
            watch = watch_of(site, {k: json.loads(v) for k, v in book.state().items() if k.startswith("watch/")})
            return _figures(figures_of(site, fault_rows(book), watch, now_of(book)), args.json)
    if args.json:
        print(as_json(rows))
    elif rows:
        print(table(SHOWN, [row | {"alarms blinded": len(row["blinded"])} for row in rows]))
    else:
        print("no loop fault in that time")
    return 0


def _figures(figures: list[dict[str, Any]], as_text_for_programs: bool) -> int:
    if as_text_for_programs:
        print(as_json(figures))
    else:
        print(table(tuple(figures[0]), figures) if figures else "no loop")
    return 0


def _trace(site: Site, fault: str) -> int:
    instrument, number = fault_of(site, fault)
    with look_into_traces(site) as traces:
        samples = traces.trace(instrument, number)
    if not samples:
        raise CallError(f"no trace of fault {fault} is kept; `gaugehouse faults` lists the faults with their numbers")
    sys.stdout.write(trace_csv(site.signal_names[instrument], samples))
    return 0


def _why(site: Site, fault: str, as_text_for_programs: bool) -> int:
    """The causes of one fault, ranked; 1 when nobody can tell."""
    instrument, number = fault_of(site, fault)
    with look_into_book(site) as book, look_into_traces(site) as traces, look_into_readings(site) as store:
        found = why(site, book, traces, store, instrument, number)
    if found is None:
        raise CallError(f"there is no fault {fault}; `gaugehouse faults` lists the faults with their numbers")
    print(as_json(found) if as_text_for_programs else why_text(fault, found))
    return 0 if found["verdict"] == "told" else 1


def why_text(fault: str, found: dict[str, Any]) -> str:
    """The answer for people: the best causes marked, what speaks for and against each, and its test."""
    lines = [f"fault {fault}: {VERDICTS[found['verdict']]}"]
    for cause in found["causes"]:
        lines.append(f"{'*' if cause['best'] else '-'} {cause['name']}")
        lines += [f"    for: {words}" for words in cause["evidence_for"]]
        lines += [f"    against: {words}" for words in cause["evidence_against"]]
        lines.append(f"    test: {cause['refuted_by']}")
    return "\n".join([*lines, found["caution"]])


def fault_of(site: Site, text: str) -> tuple[str, int]:
    """``INSTRUMENT:NUMBER``. Raises `CallError`."""
    instrument, _, number = text.partition(":")
    known = [loop.instrument for loop in site.loops]
    if instrument not in known and number:
        raise CallError(f"{site.path}: no instrument {instrument!r}; there are {', '.join(known)}")
    if not number.isascii() or not number.isdigit() or int(number) < 1:
        raise CallError(f"{text!r} names no fault; write INSTRUMENT:NUMBER, such as {known[0]}:1")
    return instrument, int(number)


def fault_entry(args: Namespace) -> int:
    """`gaugehouse fault-entry`: what a person says of a fault, kept in the record book; 0 when it is written."""
    site = load_site(Path(args.site))
    instrument, number = fault_of(site, args.fault)
    fields = {"instrument": instrument, "number": number, "by": args.by, "close": args.close, "corrects": args.corrects}
    fields |= {name: getattr(args, name) for name in ("found_by", "cause", "part", "action", "comment")}
    fields |= {
        "dip_before_m": quantity_or_none("--dip-before", args.dip_before, "m", "9.214 m"),
        "dip_after_m": quantity_or_none("--dip-after", args.dip_after, "m", "9.214 m"),
    }
    answer = perform(site, "fault_entry", fields)
    body = dict(answer.body)
    if args.json:
        print(as_json(body | {"status": answer.status.value}))
    elif answer.status is Taken.ALREADY:
        print(answer.text)
    else:
        print(f"{args.fault}: entry {body['entry']} by {body['by']} at {body['time']}")
    return 0
