"""`gaugehouse status`: what the tanks are ready for, what is in them, and what people say of either."""

import time
from argparse import Namespace
from pathlib import Path
from typing import Final

from gaugehouse.acting import perform, printed
from gaugehouse.acts import Answer, Json
from gaugehouse.core import Core
from gaugehouse.errors import CallError
from gaugehouse.looking import sources_of, span_of
from gaugehouse.optionvalues import quantity
from gaugehouse.printing import as_json, table
from gaugehouse.rows import fixed
from gaugehouse.site import Site, load_site
from gaugehouse.statusacts import NOT_KEPT
from gaugehouse.statusrecords import batches_json, contents_of, status_rows
from gaugehouse.statusroom import status_json
from gaugehouse.stores import look_into_book
from gaugehouse.wiring import core_of
from history.book import BookReader

SHOWN: Final = ("tank", "status", "since", "left_h", "over", "rule", "source", "released_by", "certificate")
HISTORY: Final = ("time", "tank", "event", "from", "to", "why", "by")
BATCHES: Final = ("tank", "batch", "certificate", "since", "volume_m3", "share_percent", "origin", "via")


def show(args: Namespace) -> int:
    """0 when every tank asked for may issue, 1 when one may not."""
    site, tanks = _asked(args)
    with look_into_book(site) as book:
        rows = [status_json(tank, state, now) for core, now in [_past(site, book)] for tank in tanks
                for state in [core.status.state(tank)]]  # fmt: skip
    print(as_json(rows) if args.json else table(SHOWN, [_shown(row) for row in rows]))
    return 0 if all(row["may_issue"] for row in rows) else 1


def _shown(row: Json) -> Json:
    settling, release = row["settling"] or {}, row["release"] or {}
    left = settling.get("left_s")
    return row | {
        "left_h": None if left is None else fixed(left / 3600, 1),
        "over": settling.get("until"),
        "released_by": release.get("by"),
        "certificate": release.get("certificate"),
    }


def history(args: Namespace) -> int:
    site = load_site(Path(args.site))
    sources, (start, end) = sources_of(site, args.tank), span_of(args, site)
    with look_into_book(site) as book:
        rows = status_rows(book, sources, start, end)
    print(as_json(rows) if args.json else table(HISTORY, rows) if rows else "nothing in that time")
    return 0


def batches(args: Namespace) -> int:
    """Which receipts make up the content of each tank asked for."""
    site, tanks = _asked(args)
    with look_into_book(site) as book:
        core, now_ms = _past(site, book)
        contents = contents_of(site, book, tanks)
    told = [batches_json(site, tank, contents[tank], core.status.state(tank).release, now_ms) for tank in tanks]
    if args.json:
        print(as_json(told))
        return 0
    rows = [
        batch
        | {
            "tank": one["tank"],
            "volume_m3": fixed(batch["volume_m3"], 3),
            "share_percent": fixed(batch["share_percent"], 1),
        }
        for one in told
        for batch in one["batches"]
    ]
    print(f"model: {told[0]['model']}" if told else "")
    print(table(BATCHES, rows) if rows else "no receipt is known")
    for one in told:
        if one["lack_m3"] > 0:
            print(f"{one['tank']}: {one['lack_m3']:.3f} m3 more went out than the papers had brought in")
        if one["recertify_overdue"]:
            print(f"{one['tank']}: to be tested again since {one['recertify_due']} ({one['recertify_source']})")
    return 0


def release(args: Namespace) -> int:
    """0 when it is released."""
    fields: Json = {
        "tank": args.tank, "by": args.by, "appearance": args.appearance, "water_test": args.water_test,
        "certificate": args.certificate, "comment": args.comment, "conductivity_pS_m": args.conductivity,
    }  # fmt: skip
    if args.density is not None:
        fields["density_kg_m3"] = quantity("--density", args.density, "kg/m3", "801.2 kg/m3")
    return _told(args, perform(load_site(Path(args.site)), "release_tank", fields))


def quarantine(args: Namespace) -> int:
    return _say(args, "lift_quarantine" if args.lift else "quarantine_tank")


def service(args: Namespace) -> int:
    return _say(args, "return_tank" if args.back else "remove_tank")


def _say(args: Namespace, act: str) -> int:
    fields = {"tank": args.tank, "by": args.by, "reason": args.reason}
    return _told(args, perform(load_site(Path(args.site)), act, fields))


def _told(args: Namespace, answer: Answer) -> int:
    body = answer.body["now"]
    if not printed(args, answer):
        print(f"{body['tank']}: {body['status']}, said by {body['by']} at {body['since']}")
        if body["release"] is not None and body["release"]["not_done"]:
            print(f"not done: {', '.join(body['release']['not_done'])}")
    return 0


def _asked(args: Namespace) -> tuple[Site, list[str]]:
    """The site and the tanks asked for. Raises `CallError` where no status is kept or there is no such tank."""
    site = load_site(Path(args.site))
    if site.settling is None:
        raise CallError(NOT_KEPT)
    tanks = [tank.id for tank in site.tanks]
    if args.tank is not None and args.tank not in tanks:
        raise CallError(f"there is no tank {args.tank!r}; there are {', '.join(tanks)}")
    return site, tanks if args.tank is None else [args.tank]


def _past(site: Site, book: BookReader) -> tuple[Core, int]:
    """The core as the record book has it, and the site's time at which it was written last."""
    core, saved = core_of(site), book.state()
    core.restore(saved)
    return core, int(saved.get("core/time_ms", time.time_ns() // 1_000_000))
