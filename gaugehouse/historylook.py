"""The commands that look at the history that is kept, beside a running daemon, and say what of it was bad."""

from argparse import Namespace
from pathlib import Path

from gaugehouse.acting import perform
from gaugehouse.days import iso_ms
from gaugehouse.errors import CallError
from gaugehouse.historyfigures import aggregate_json, question_of
from gaugehouse.looking import sources_of, span_of
from gaugehouse.optionvalues import quantity
from gaugehouse.printing import as_json, table
from gaugehouse.site import load_site
from gaugehouse.stores import look_into_readings
from history.aggregating import aggregated
from history.errors import BadQuestion


def aggregate(args: Namespace) -> int:
    """`gaugehouse history aggregate`: 0, also where there are no data (the status says so)."""
    site = load_site(Path(args.site))
    sources_of(site, args.tank)
    start_ms, end_ms = span_of(args, site)
    assert start_ms is not None
    assert end_ms is not None
    asked = {
        "quantity": args.quantity, "aggregate": args.aggregate, "start_ms": start_ms, "end_ms": end_ms,
        "interval_ms": round(1000 * quantity("--interval", args.interval, "s", "1 h")), "stepped": args.stepped,
        "uncertain_is_bad": args.uncertain == "bad",
    }  # fmt: skip
    question = question_of(site, args.tank, asked)
    with look_into_readings(site) as store:
        try:
            results = aggregated(store, question)
        except BadQuestion as error:
            raise CallError(str(error)) from error
    answer = aggregate_json(question, results)
    name = question.name if answer["unit"] == "" else f"{question.name} [{answer['unit']}]"
    columns = ("start", name, "status", "good [%]")
    figures = zip(answer["start_ms"], answer["value"], answer["status"], answer["good_percent"], strict=True)
    rows = [dict(zip(columns, (iso_ms(at), *rest), strict=True)) for at, *rest in figures]
    if args.json:
        answer["t"] = [iso_ms(at) for at in answer.pop("start_ms")]
        print(as_json({"tank": args.tank, "quantity": args.quantity, "aggregate": args.aggregate, **answer}))
    else:
        print(table(columns, rows))
    return 0


def requalify(args: Namespace) -> int:
    """`gaugehouse history requalify`: 0 when it is in the record book."""
    site = load_site(Path(args.site))
    start_ms, end_ms = span_of(args, site)
    assert start_ms is not None
    assert end_ms is not None
    fields = {"tank": args.tank, "from": iso_ms(start_ms), "to": iso_ms(end_ms)}
    fields |= {name: getattr(args, name) for name in ("quality", "reason", "comment", "by")}
    body = perform(site, "requalify", fields).body
    if args.json:
        print(as_json(dict(body)))
    else:
        reason = f" ({body['reason']})" if body["reason"] else ""
        print(f"{body['tank']}: {body['quality'].replace('_', ' ')}{reason} from {body['from']} to {body['to']}")
    return 0
