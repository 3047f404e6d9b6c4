"""`gaugehouse receipt`: a delivery from call to signature by command; each act goes through the running daemon."""

import time
from argparse import Namespace
from collections.abc import Mapping
from pathlib import Path
from typing import Any, Final
from zoneinfo import ZoneInfo

from console.receipt_views import before, listed, view
from console.receipt_words import SCRIPT
from gaugehouse.acting import answer_json, perform
from gaugehouse.acts import Answer, Taken
from gaugehouse.days import iso_ms
from gaugehouse.errors import CallError, CouldNot
from gaugehouse.local import ask_daemon
from gaugehouse.optionvalues import quantity_or_none
from gaugehouse.paper import pdf_of
from gaugehouse.printing import as_json, table
from gaugehouse.receiptpaper import paper_of
from gaugehouse.receiptrecords import receipt_record, receipts_of
from gaugehouse.site import Site, load_site
from gaugehouse.stores import look_into_book

Json = dict[str, Any]

DECISIONS: Final = {"accept": "accepted", "protest": "accepted with protest", "reject": "rejected"}
WHAT_IS_SAID: Final = ("note", "batch", "certificate", "vehicle", "owner", "product", "sender", "stops")


def run(args: Namespace) -> int:
    """One of its ways: 0 when it is done, 1 when a delivery does not fit."""
    site = load_site(Path(args.site))
    way = {
        "check": _check, "progress": _progress, "reconcile": _reconcile, "certificate": _certificate, "list": _list
    }.get(args.way, _act)  # fmt: skip
    return way(site, args)


def _check(site: Site, args: Namespace) -> int:
    fields: Json = {
        "tank": args.tank,
        "observed_m3": quantity_or_none("--quantity", args.quantity, "m3", "36 m3"),
        "standard_m3": quantity_or_none("--standard", args.standard, "m3", "36 m3"),
        "temperature_degC": quantity_or_none("--temperature", args.temperature, "degC", "27 degC"),
        "density_15_kgpm3": quantity_or_none("--density", args.density, "kg/m3", "800 kg/m3"),
        "rate_m3_per_s": quantity_or_none("--rate", args.rate, "m3/s", "1000 L/min"),
        **{name: getattr(args, name) for name in WHAT_IS_SAID},
    }
    found = perform(site, "forecast_receipt", fields).body
    status = 1 if found["forecast"]["fits"] == "does not fit" else 0
    planned: Answer | None = None
    if args.by:
        planned = perform(site, "plan_receipt", fields | {"by": args.by})
    if args.json:
        print(as_json(dict(found) if planned is None else dict(planned.body) | {"status": planned.status.value}))
        return status
    now = iso_ms(time.time_ns() // 1_000_000)
    told = before(dict(found), now, ZoneInfo(site.zone))
    print(told["fits"])
    print(_pairs([(name, f"! {text}" if heed else text) for name, text, heed in told["rows"]]))
    print(_pairs([("Free water now", told["water"]), *told["beside"], *(("Papers", note) for note in told["notes"])]))
    print("To be done before flow:")
    checks = told["checks"] if planned is None else planned.body["checks"]
    print("\n".join(f"  {'done' if one['done'] else 'not done'}: {one['what']}" for one in checks))
    print(told["caution"])
    if planned is not None and planned.status is Taken.ALREADY:
        print(f"nothing to do: {planned.text}")
    elif planned is not None:
        print(f"planned as receipt {planned.body['number']}")
    return status


def _act(site: Site, args: Namespace) -> int:
    """The ways that do one thing to one receipt."""
    fields: Json = {"number": args.number, "by": args.by}
    if args.way == "done":
        fields |= {"what": args.what, "found": args.found}
    elif args.way == "sample":
        fields |= {
            "density_kgpm3": quantity_or_none("--density", args.density, "kg/m3", "793 kg/m3"),
            "density_degC": quantity_or_none("--at", args.at, "degC", "24 degC"),
            "meter": args.meter,
            "temperature_degC": quantity_or_none("--temperature", args.temperature, "degC", "27 degC"),
        }
    elif args.way == "line":
        fields |= {"figure_m3": quantity_or_none("FIGURE", args.figure, "m3", "12.4 m3"), "comment": args.comment}
    elif args.way == "document":
        fields |= {"sure": args.sure}
    elif args.way == "off":
        fields |= {"reason": args.reason}
    acts = {
        "done": "note_receipt_check", "sample": "sample_receipt", "start": "start_receipt",
        "line": "check_receipt_line", "off": "call_off_receipt",
        "document": "document_receipt",
    }  # fmt: skip
    answer = perform(site, acts[args.way], fields)
    body = dict(answer.body)
    if args.json:
        print(answer_json(answer))
        return 0
    if answer.text:
        print(f"nothing to do: {answer.text}" if answer.status is Taken.ALREADY else answer.text)
    if args.way == "off":
        print(f"receipt {body['number']}: called off")
    elif args.way == "document":
        print(f"receipt {body['number']}: {SCRIPT['document'].format(number=body['document'])}")
    else:
        print(_state(body, site))
    return 0


def _progress(site: Site, args: Namespace) -> int:
    row = _row(site, args.number)
    print(as_json(row) if args.json else _state(row, site))
    return 0


def _reconcile(site: Site, args: Namespace) -> int:
    if args.decision is None:
        if args.by or args.comment or args.without_tank:
            raise CallError("--by, --comment and --without-tank go with a decision; write --decision too")
        row = _row(site, args.number)
        if row["reconciliation"] is None:
            raise CouldNot(f"receipt {args.number}: {row['why_not']}")
    else:
        if not args.by:
            raise CallError("--by is missing: say who decides")
        fields = {
            "number": args.number, "decision": DECISIONS[args.decision], "comment": args.comment, "by": args.by,
            "without_tank": args.without_tank,
        }  # fmt: skip
        row = dict(perform(site, "decide_receipt", fields).body)
    if args.json:
        print(as_json(row))
        return 0
    print(_match(row, site))
    if args.decision is not None:
        print(f"receipt {row['number']}: {row['decision']}, by {row['decided_by']}; {SCRIPT['decided'].split('; ')[1]}")
        print(f"`gaugehouse receipt certificate {args.site} {row['number']}` prints it")
        if row["decision"] != "rejected":
            print("The stock book knows nothing of it yet: the tank's own movement feeds no book.")
            print(
                f"`gaugehouse receipt document {args.site} {row['number']} --by NAME` makes the papers' delivery note"
            )
    return 0


def _certificate(site: Site, args: Namespace) -> int:
    with look_into_book(site) as book:
        record = receipt_record(book, args.number)
    if record is None:
        raise CallError(f"{site.path}: no receipt {args.number} was decided; `gaugehouse receipt list` shows them")
    if args.json:
        print(as_json(record))
        return 0
    path = Path(args.out or f"receipt-{args.number}.pdf")
    content = pdf_of(paper_of(record, site.name, site.zone, size="Letter" if args.letter else "A4"))
    try:
        path.write_bytes(content)
    except OSError as error:
        raise CouldNot(f"{path}: cannot be written: {error.strerror}") from error
    print(path)
    return 0


def _list(site: Site, args: Namespace) -> int:
    said = ask_daemon(site, {"do": "receipts", "number": None})
    if said is None:  # nothing live: what was decided
        with look_into_book(site) as book:
            said = receipts_of(book)
    if args.json:
        print(as_json(said))
        return 0
    zone = ZoneInfo(site.zone)
    rows = [listed(row, _now(row), zone) for row in said]
    columns = ("number", "tank_id", "phase", "quantity", "received", "note", "time", "by")
    print(table(columns, rows) if rows else "no receipt yet")
    return 0


def _row(site: Site, number: int) -> Json:
    """A receipt as the running daemon sees it, or as it was decided."""
    said = ask_daemon(site, {"do": "receipts", "number": number})
    if said is None:
        with look_into_book(site) as book:
            said = receipt_record(book, number)
    if said is None:
        raise CallError(f"{site.path}: no receipt {number} is known; an open one is seen while the daemon runs")
    return dict(said)


def _now(row: Mapping[str, Any]) -> str:
    return str(row.get("time") or row.get("now") or row["made"])


def _state(row: Json, site: Site) -> str:
    """How far a receipt is, in lines."""
    told = view(row, _now(row), ZoneInfo(site.zone))
    out = [f"receipt {told['number']}, {told['tank_name']} ({told['tank']}): {told['said']}"]
    live = told["live"]
    if live is not None:
        out.append(_pairs([
            ("Received, observed", f"{live['gross']} L {live['gross_u95']}"),
            ("At reference", live["standard"]),
            ("Share", live["share"]),
            ("Rate", f"{live['rate']} L/min; {live['rate_note']}"),
            ("Still to come", live["left"]),
            *([] if told["meter"] is None else [("Line meter", told["meter"]["so_far"])]),
            ("Finished", f"{live['finish']} ({live['finish_span'] or '-'})"),
            ("All in at level", f"{live['stop']} mm"),
        ]))  # fmt: skip
        out += [text for text in (live["beyond"], live["due"], live["missed"], live["line"]) if text]
    for check in told["line"][:1]:
        out.append(
            f"line {check['line']}, tank {check['tank']} ({check['basis']}): {check['difference']}, "
            f"limit {check['limit']}"
        )
    out += [f"not done: {what}" for what in told["undone"]]
    out += [f"! {note}" for note in told["notes"]]
    return "\n".join(out)


def _match(row: Json, site: Site) -> str:
    told = view(row, _now(row), ZoneInfo(site.zone))["match"]
    if told is None:
        return f"not held against the papers: {row['why_not']}"
    columns = ("name", "paper", "tank", "difference", "limit", "verdict")
    lines = [table(columns, told["rows"]), *told["said"]]
    beside = told["three"]
    if beside is not None:
        values = "; ".join(f"{name} {value}" for name, value in beside["figures"])
        lines += [f"{beside['title']}: {values}"]
        lines += [table(("name", "difference", "limit", "verdict"), beside["rows"]), *beside["said"]]
    return "\n".join(lines)


def _pairs(rows: list[tuple[str, str]]) -> str:
    width = max(len(name) for name, _ in rows)
    return "\n".join(f"  {name.ljust(width)}  {text}" for name, text in rows)
