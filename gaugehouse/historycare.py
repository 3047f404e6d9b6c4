"""The commands that look after the file of readings: its size, whether it is sound, sealing, sending it again."""

import sys
from argparse import Namespace
from pathlib import Path
from typing import Any, Final

from gaugehouse.days import iso_ms
from gaugehouse.errors import CallError
from gaugehouse.looking import span_of
from gaugehouse.optionvalues import quantity
from gaugehouse.printing import as_json, table
from gaugehouse.progress import progress
from gaugehouse.servers import Progress
from gaugehouse.servers import backfill as resend
from gaugehouse.site import load_site
from gaugehouse.stores import READINGS, look_into_readings, open_stores
from history.block import FIGURES
from history.inspecting import TankSize

DAY_MS: Final = 86_400_000
MOST_KEEP_MS: Final = 36_600 * DAY_MS


def size(args: Namespace) -> int:
    """`gaugehouse history size`: how many bytes of what, and what a retention would free."""
    site = load_site(Path(args.site))
    keep_ms = site.keep_readings_ms if args.keep is None else _keep_ms(args.keep)
    with look_into_readings(site) as store:
        newest_ms = max((one.newest_ms for one in store.sizes().tanks), default=0)
        found = store.sizes(None if keep_ms is None else newest_ms - keep_ms)
    rows = [_size_row(one) for one in found.tanks]
    sealed = sum(sum(one.bytes_of) for one in found.tanks)
    others = found.file_bytes - sealed - found.fresh_bytes
    freed = sum(one.freed_bytes for one in found.tanks)
    if args.json:
        told = {"file": str(site.store_path / READINGS), "file_bytes": found.file_bytes, "sealed_bytes": sealed}
        told |= {"not_sealed_bytes": found.fresh_bytes, "other_bytes": others, "freed_bytes": freed}
        print(as_json(told | {"keep_readings_s": None if keep_ms is None else keep_ms / 1000, "tanks": rows}))
        return 0
    print(table(tuple(rows[0]), rows) if rows else "no readings yet")
    print(
        f"{site.store_path / READINGS}: {found.file_bytes} bytes; {sealed} sealed, {found.fresh_bytes} not sealed yet, "
        f"{others} for indexes, models and free pages"
    )
    if keep_ms is None:
        print('single readings are kept for good; --keep "400 days" tells what a retention would free')
    else:
        print(f"kept for {keep_ms / DAY_MS:g} days, single readings of {freed} bytes go (roll-ups stay)")
    return 0


def _size_row(one: TankSize) -> dict[str, Any]:
    columns, minutes, hours = one.bytes_of
    return {
        "tank": one.tank,
        "oldest": iso_ms(one.oldest_ms),
        "newest": iso_ms(one.newest_ms),
        "not sealed": one.fresh,
        "sealed": one.sealed,
        "thinned": one.thinned,
        "readings [B]": columns,
        "minutes [B]": minutes,
        "hours [B]": hours,
        "B/reading": round(columns / one.sealed, 3) if one.sealed else None,
        "B/figure": round(columns / one.sealed / len(FIGURES), 3) if one.sealed else None,
        "frees [B]": one.freed_bytes,
    }


def _keep_ms(text: str) -> int:
    keep_ms = round(1000 * quantity("--keep", text, "s", "400 days"))
    if keep_ms < DAY_MS:
        raise CallError(f'--keep: "{text}" is less than a day; readings are thinned by whole days')
    if keep_ms > MOST_KEEP_MS:
        raise CallError(f'--keep: "{text}" is more than 36600 d, the most that [store] keep_readings takes')
    return keep_ms


def verify(args: Namespace) -> int:
    """`gaugehouse history verify`: 0 when everything that is kept is as it was written, 1 with names when not."""
    site = load_site(Path(args.site))
    with look_into_readings(site) as store, progress("verify", 1.0) as step:
        blocks = [1]
        found = list(store.faults(lambda done: step(done / blocks[-1]), lambda count: blocks.append(max(1, count))))
    if args.json:
        print(as_json({"sound": not found, "blocks": blocks[-1], "faults": [one._asdict() for one in found]}))
    elif found:
        print("\n".join(f"{one.where or READINGS}: {one.what}" for one in found))
        print("what is not named is whole; put a backup of the file in its place, or go on without what is named")
    else:
        print("sound: every block decoded, its checksums right, its roll-ups equal to its readings; the file is whole")
    return 1 if found else 0


def seal(args: Namespace) -> int:
    """`gaugehouse history seal`: 0 when nothing is left to seal. Not beside a running daemon, which does it itself."""
    site = load_site(Path(args.site))
    with open_stores(site) as stores:
        before = stores.readings.sizes()
        made = 0
        with progress("seal", len(before.tanks)) as step:
            for one in before.tanks:
                made += stores.readings.seal(one.tank)
                step(1)
        merged = 0
        while stores.readings.tidy():
            merged += 1
        after = stores.readings.sizes()
    rest = sum(one.fresh for one in after.tanks)
    told = {"sealed": sum(one.fresh for one in before.tanks) - rest, "blocks": made, "days_merged": merged}
    print(as_json(told) if args.json else f"{told['sealed']} readings sealed in {made} blocks, {merged} days merged")
    if rest:
        print(f"{rest} readings could not be sealed", file=sys.stderr)
    return 1 if rest else 0


def backfill(args: Namespace) -> int:
    """`gaugehouse history backfill`: 0 when all is with the server, 1 when it rejected some."""
    site = load_site(Path(args.site))
    start, end = span_of(args, site)
    with look_into_readings(site) as store:
        found = store.sizes().tanks
    start_ms = max([min((one.oldest_ms for one in found), default=0), *([] if start is None else [start])])
    newest_ms = max((one.newest_ms + 1 for one in found), default=0)
    end_ms = newest_ms if end is None else min(newest_ms, end)
    done = Progress(start_ms, 0, 0)
    try:
        with progress("backfill", max(1, end_ms - start_ms)) as step:
            for now in resend(site, args.server, start_ms, end_ms):
                step(now.done_ms - done.done_ms)
                done = now
    finally:
        if start_ms < done.done_ms < end_ms:
            print(f"with the server: all before {iso_ms(done.done_ms)}; go on with --from {iso_ms(done.done_ms)}",
                  file=sys.stderr)  # fmt: skip
    told = {"server": args.server, "sent": done.sent, "rejected": done.rejected}
    print(as_json(told) if args.json else f"{args.server}: {done.sent} readings sent, {done.rejected} rejected")
    return 1 if done.rejected else 0
