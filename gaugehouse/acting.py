"""The commands by which a person changes something: through the running daemon, directly only when none runs.

There is one writer of the record book: the daemon, or this command while it holds the book's lock.
"""

import time
from argparse import Namespace
from pathlib import Path
from typing import Any, Final

from gaugehouse.acts import Act, Answer, Json, Taken, act_of
from gaugehouse.core import Tick
from gaugehouse.errors import CallError, CouldNot
from gaugehouse.local import ask_daemon
from gaugehouse.optionvalues import quantity, quantity_or_none
from gaugehouse.printing import as_json
from gaugehouse.site import Site, load_site
from gaugehouse.stores import open_stores
from gaugehouse.wiring import core_of
from history.chain import Entry
from models.reading import Instant


def perform(site: Site, name: str, fields: Json) -> Answer:
    """Let a person's act happen, and give back how it was taken.

    Raises `CallError` for fields that are wrong and for what there is not, `CouldNot` for what is refused.
    """
    answer = told(site, name, fields)
    match answer.status:
        case Taken.UNKNOWN | Taken.OLDER:
            raise CallError(answer.text)
        case Taken.REFUSED:
            raise CouldNot(answer.text)
    return answer


def told(site: Site, name: str, fields: Json) -> Answer:
    """The same, but what is refused comes back as an answer too, with all that it tells."""
    act = act_of(name, fields)
    said = ask_daemon(site, {"do": "act", "act": name, "fields": fields})
    return _directly(site, act) if said is None else Answer(Taken(said["status"]), said["text"], said["body"])


def _directly(site: Site, act: Act) -> Answer:
    """With no daemon: take the book's lock, restore the core, do the one act, write it."""
    core = core_of(site)
    with open_stores(site) as stores:
        core.restore(stores.book.state())
        seq = max(stores.book.last_seq(), stores.readings.last_seq()) + 1
        at = Instant(seq, time.time_ns() // 1_000_000, core.at.elapsed_ms)
        result = core.step(Tick(at, (), [act]))
        entries = [Entry(d.kind, at.time_ms, at.seq, d.body) for d in result.decisions]
        if entries:
            stores.book.commit(entries, core.changed_state())
    return result.answers[0]


def answer_json(answer: Answer) -> str:
    """How an act was taken, for programs."""
    return as_json({"status": answer.status.value, **answer.body})


def printed(args: Namespace, answer: Answer) -> bool:
    """Print an answer that needs no words of its own: as JSON, or that somebody was first."""
    if args.json:
        print(answer_json(answer))
    elif answer.status is Taken.ALREADY:
        print(f"nothing to do: {answer.text}")
    else:
        return False
    return True


def acknowledge(args: Namespace) -> int:
    """`gaugehouse acknowledge`: 0 when it is acknowledged, also when somebody was first (who, is told)."""
    site = load_site(Path(args.site))
    fields = {"alarm": args.alarm, "occurrence": args.occurrence, "by": args.by, "comment": args.comment}
    answer = perform(site, "acknowledge", fields)
    body: dict[str, Any] = dict(answer.body)
    if args.json:
        print(as_json(body | {"status": "accepted" if answer.status is Taken.DONE else "already"}))
    else:
        first = "" if answer.status is Taken.DONE else " before"
        print(f"{body['alarm']} #{body['occurrence']}: acknowledged{first} by {body['by']} at {body['time']}")
    return 0


_ALARM_ACTS: Final = {
    "shelve": "shelve",
    "unshelve": "unshelve",
    "reset": "reset_latch",
    "remove": "remove_from_service",
    "return": "return_to_service",
    "test": "begin_alarm_test",
    "end-test": "end_alarm_test",
    "tested": "tell_alarm_test",
}


def alarm(args: Namespace) -> int:
    """`gaugehouse alarm`: 0 when it is done, also when it was so already (the answer tells)."""
    answer = perform(load_site(Path(args.site)), _ALARM_ACTS[args.act], _alarm_fields(args))
    print(answer_json(answer) if args.json else _alarm_text(answer))
    return 0


def _alarm_fields(args: Namespace) -> Json:
    fields: Json = {"by": args.by, "alarms": args.alarms}
    if len(args.alarms) == 1:
        fields["alarm"] = args.alarms[0]
    for name in ("reason", "comment", "occurrence", "one_shot", "means"):
        if hasattr(args, name):
            fields[name] = getattr(args, name)
    if hasattr(args, "failed"):
        fields["passed"] = not args.failed
    for name, (field, option, example) in _SPANS.items():
        if getattr(args, name, None) is not None:
            fields[field] = quantity(option, getattr(args, name), "s", example)
    return fields


_SPANS: Final = {
    "span": ("span_s", "--for", "2 h"),
    "limit": ("limit_s", "--within", "10 min"),
    "took": ("seconds", "--took", "4.2 s"),
}


def _alarm_text(answer: Answer) -> str:
    if answer.status is Taken.ALREADY:
        return f"nothing to do: {answer.text}"
    until = f" until {answer.body['until']}" if "until" in answer.body else ""
    by = f"by {answer.body['by']} at {answer.body.get('time', '')}"
    if "changed" not in answer.body:
        return f"{answer.body['alarm']}: written down{until.replace(' until', ', the alarm must come by')}"
    return "\n".join(f"{c['id']}: {c['state'].replace('_', ' ')}{until}, {by}" for c in answer.body["changed"])


def plan(args: Namespace) -> int:
    """`gaugehouse plan`: 0 when it is ordered or ended, also when it was ordered before (who by, is told)."""
    site = load_site(Path(args.site))
    if args.end:
        answer = perform(site, "end_plan", {"tank": args.tank, "by": args.by})
    else:
        kind = "receipt" if args.receipt else "issue"
        fields: Json = {"tank": args.tank, "kind": kind, "product": args.product, "by": args.by}
        fields["quantity_m3"] = quantity(f"--{kind}", args.receipt or args.issue, "m3", "120 m3")
        fields["rate_m3_per_s"] = quantity_or_none("--rate", args.rate, "m3/s", "1000 L/min")
        answer = perform(site, "plan_movement", fields)
    body = answer.body
    if not printed(args, answer):
        word = f"ended by {args.by}" if args.end else f"ordered by {body['by']} at {body['made']}"
        print(f"{body['tank']}: {body['kind']} of {body['quantity_m3']:.3f} m3 {body['product']} {word}")
        if answer.text:
            print(answer.text)
    return 0
