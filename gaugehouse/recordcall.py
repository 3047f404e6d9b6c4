"""`gaugehouse records` and `gaugehouse correct`: what the record book holds, a new entry where an old one is wrong."""

import json
from argparse import Namespace
from pathlib import Path

from gaugehouse.acting import perform
from gaugehouse.corrections import pointing_at, record_rows
from gaugehouse.looking import span_of
from gaugehouse.printing import as_json, table
from gaugehouse.site import load_site
from gaugehouse.stores import look_into_book


def records(args: Namespace) -> int:
    """`gaugehouse records`: entries, oldest first; a corrected one names the entry that corrects it."""
    site = load_site(Path(args.site))
    start, end = span_of(args, site)
    with look_into_book(site) as book:
        rows = record_rows(book, args.kind, start, end, args.newest)[::-1]
    if args.json:
        print(as_json(rows))
        return 0
    shown = [
        {
            "n": row["n"],
            "time": row["time"],
            "kind": row["kind"],
            "corrected by": ", ".join(str(n) for n in row["corrected_by"]),
            "says": json.dumps(row["body"], ensure_ascii=False, sort_keys=True),
        }
        for row in rows
    ]
    print(table(tuple(shown[0]), shown) if shown else "no entry in that time")
    return 0


def correct(args: Namespace) -> int:
    """`gaugehouse correct`: the old entry stays, the new one points at it."""
    site = load_site(Path(args.site))
    with look_into_book(site) as book:
        fields = pointing_at(book, args.entry)
    answer = perform(site, "correct", fields | {"by": args.by, "text": args.text})
    print(as_json(dict(answer.body)) if args.json else f"entry {args.entry} is corrected by {args.by}")
    return 0
