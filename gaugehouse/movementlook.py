"""`gaugehouse movements`: what has moved in and out of the tanks, as it was found from the readings."""

from argparse import Namespace
from pathlib import Path
from typing import Final

from gaugehouse.looking import sources_of, span_of
from gaugehouse.movementrecords import movement_rows
from gaugehouse.printing import as_json, table
from gaugehouse.rows import fixed
from gaugehouse.site import load_site
from gaugehouse.stores import look_into_book

SHOWN: Final = (
    "tank", "number", "kind", "stage", "start", "end", "gov_m3", "gov_u95_m3", "gsv_m3", "gsv_u95_m3", "mean_m3_per_h",
    "peak_m3_per_h", "ordered", "pair", "faults",
)  # fmt: skip
DECIMALS: Final = {
    "gov_m3": 3, "gov_u95_m3": 3, "gsv_m3": 3, "gsv_u95_m3": 3, "mean_m3_per_h": 1, "peak_m3_per_h": 1
}  # fmt: skip


def movements(args: Namespace) -> int:
    """Movements that touch the time asked for, oldest first, each as its newest entry tells it."""
    site = load_site(Path(args.site))
    sources, (start, end) = sources_of(site, args.tank), span_of(args, site)
    with look_into_book(site) as book:
        rows = movement_rows(book, sources, start, end)
    if args.json:
        print(as_json(rows))
    elif rows:
        shown = [row | {name: fixed(row[name], places) for name, places in DECIMALS.items()} for row in rows]
        print(table(SHOWN, shown))
    else:
        print("no movement in that time")
    return 0
