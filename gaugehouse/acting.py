"""The commands by which a person changes something: through the running daemon, directly only when none runs.

There is one writer of the record book: the daemon, or this command while it holds the book's lock.
"""

import time
from argparse import Namespace
from pathlib import Path
from typing import Any

from alerts.engine import AckAnswer
from gaugehouse.core import Acknowledge, Tick
from gaugehouse.days import iso_ms
from gaugehouse.errors import CallError
from gaugehouse.local import ask_daemon
from gaugehouse.printing import as_json
from gaugehouse.site import Site, load_site
from gaugehouse.stores import open_stores
from gaugehouse.wiring import core_of
from history.chain import Entry
from models.reading import Instant


def acknowledge(args: Namespace) -> int:
    """`gaugehouse acknowledge`: 0 when it is acknowledged, also when somebody was first (who, is told)."""
    site = load_site(Path(args.site))
    if not args.by.strip():
        raise CallError("--by: say who acknowledges it")
    question = {"do": "acknowledge", "alarm": args.alarm, "occurrence": args.occurrence, "by": args.by}
    answer = ask_daemon(site, question | {"comment": args.comment})
    if answer is None:
        answer = _directly(site, args)
    if args.json:
        print(as_json(answer))
    else:
        first = "" if answer["status"] == "accepted" else " before"
        print(f"{answer['alarm']} #{answer['occurrence']}: acknowledged{first} by {answer['by']} at {answer['time']}")
    return 0


def _directly(site: Site, args: Namespace) -> dict[str, Any]:
    """With no daemon: take the book's lock, restore the core, do the one act, write it."""
    core = core_of(site)
    with open_stores(site) as stores:
        core.restore(stores.book.state())
        view = core.alarms.view(args.alarm)
        if view is None:
            raise CallError(f"there is no alarm {args.alarm!r}; `gaugehouse alarms` lists them as source and condition")
        occurrence = view.occurrence if args.occurrence is None else args.occurrence
        seq = max(stores.book.last_seq(), stores.readings.last_seq()) + 1
        at = Instant(seq, time.time_ns() // 1_000_000, core.at.elapsed_ms)
        result = core.step(Tick(at, (), [Acknowledge(args.alarm, occurrence, args.by, args.comment)]))
        entries = [Entry(d.kind, at.time_ms, at.seq, d.body) for d in result.decisions]
        if entries:
            stores.book.commit(entries, core.changed_state())
    answer = result.answers[0]
    assert isinstance(answer, AckAnswer)
    if answer.status == "older":
        raise CallError(f"alarm {args.alarm}: occurrence {occurrence} is not the newest one, {view.occurrence} is")
    if answer.status not in ("done", "already") or answer.time_ms is None:
        raise CallError(f"alarm {args.alarm} occurrence {occurrence} waits for no acknowledgement")
    status = "accepted" if answer.status == "done" else "already"
    said = {"status": status, "by": answer.by, "time": iso_ms(answer.time_ms)}
    return {"alarm": args.alarm, "occurrence": occurrence, **said}
