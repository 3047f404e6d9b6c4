"""`gaugehouse water` and `drain-check`: the water accounts of the tanks, and what came of looking at a drain."""

import csv
import io
from argparse import Namespace
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any, Final

from gaugehouse.acting import answer_json, perform
from gaugehouse.acts import Answer, Json
from gaugehouse.core import Core
from gaugehouse.drainrecords import check_rows
from gaugehouse.looking import sources_of
from gaugehouse.optionvalues import quantity
from gaugehouse.printing import as_json, table
from gaugehouse.simulatedbook import now_of
from gaugehouse.site import Site, load_site
from gaugehouse.stores import look_into_book, look_into_readings
from gaugehouse.waterwork import water_json, waters_of
from gaugehouse.wiring import core_of
from history.book import BookReader
from inventory.draincheck import CAUTION

CHECKS: Final = (
    "number", "tank", "day", "time", "by", "result", "appearance", "water_m3", "fuel_m3", "document", "why", "comment",
)  # fmt: skip
TERMS: Final = ("tank", "from", "to", "term", "low_m3", "high_m3", "note")
WITHDRAWN: Final = "withdrawn by {by}: {comment}"


def past_core(site: Site, book: BookReader) -> Core:
    """A core with the past that the record book holds, to look at; it is never stepped."""
    core = core_of(site)
    core.restore(book.state())
    return core


def as_csv(columns: Sequence[str], rows: Iterable[Mapping[str, Any]]) -> str:
    """Rows as CSV with \\n ends; what is missing is empty."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(columns)
    for row in rows:
        writer.writerow(["" if row.get(name) is None else _cell(row[name]) for name in columns])
    return out.getvalue()


def _cell(value: object) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return f"{value:.6f}"
    return " ".join(map(str, value)) if isinstance(value, list) else str(value)


def water(args: Namespace) -> int:
    """`gaugehouse water`: the account of each tank over the site's number of days; or the drain checks."""
    site = load_site(Path(args.site))
    sources_of(site, args.tank)
    tanks = [tank.id for tank in site.tanks if args.tank in (None, tank.id)]
    with look_into_book(site) as book:
        if args.checks:
            return _checks(check_rows(book, args.tank), args)
        with look_into_readings(site) as store:
            now_ms = now_of(book)
            air = past_core(site, book).waterlog.air()
            told = [water_json(one) for one in waters_of(site, store, book, air, tanks, now_ms)]
    if args.json:
        print(as_json(told))
    elif args.csv:
        print(as_csv(TERMS, (row for one in told for row in _term_rows(one))), end="")
    else:
        print("\n\n".join(_text(one) for one in told))
    return 0


def _term_rows(told: Json) -> list[Json]:
    head = {name: told[name] for name in ("tank", "from", "to")}
    rows = [head | term for term in told["terms"]]
    for name in ("expected", "drained", "lying", "found"):
        rows.append(head | {"term": name, "low_m3": told[f"{name}_low_m3"], "high_m3": told[f"{name}_high_m3"]})
    rows[-1]["note"] = f"{told['verdict']}: {told['why']}"
    return rows


def _litres(low: float | None, high: float | None) -> str:
    return "not known" if low is None or high is None else f"{1000 * low:.2f} to {1000 * high:.2f} L"


def _text(told: Json) -> str:
    lines = [f"{told['tank']}: water of {told['from']} to {told['to']} ({told['days']} days)"]
    width = max(len(term["term"]) for term in told["terms"])
    for term in told["terms"]:
        lines.append(f"  {term['term']:<{width}}  {_litres(term['low_m3'], term['high_m3']):>20}  {term['note']}")
    for name, words in (("expected", "expected"), ("drained", "drained"), ("lying", "more on the bottom than before")):
        lines.append(f"  {words:<{width}}  {_litres(told[f'{name}_low_m3'], told[f'{name}_high_m3']):>20}")
    lines.append(f"  {told['verdict']}: {told['why']}")
    slope = told["trend"]
    if slope["slope_m_per_day"] is None:
        lines.append(f"  water cut: {slope['why']}")
    else:
        rises = "rises" if slope["rises"] else "no rise that can be told"
        lines.append(
            f"  water cut: {1000 * slope['slope_m_per_day']:+.2f} mm a day, standard error "
            f"{1000 * slope['standard_error_m_per_day']:.2f}, from {slope['cuts']} cuts ({rises})"
        )
    return "\n".join(lines)


def _checks(rows: list[Json], args: Namespace) -> int:
    if args.json:
        print(as_json(rows))
        return 0
    for row in rows:
        if row["withdrawn"] is not None:
            row["comment"] = "; ".join(filter(None, (row["comment"], WITHDRAWN.format(**row["withdrawn"]))))
    if args.csv:
        print(as_csv(CHECKS, rows), end="")
    else:
        print(table(CHECKS, rows) if rows else "no drain check was written down yet")
    return 0


def drain_check(args: Namespace) -> int:
    """`gaugehouse drain-check`: 0 when it is written down."""
    site = load_site(Path(args.site))
    if args.withdraw is not None:
        fields: Json = {"number": args.withdraw, "by": args.by, "comment": args.comment}
        answer = perform(site, "withdraw_drain_check", fields)
    else:
        answer = perform(site, "drain_check", _fields(args))
    print(answer_json(answer) if args.json else _done(answer))
    return 0


def _fields(args: Namespace) -> Json:
    fields: Json = {"tank": args.tank, "by": args.by, "comment": args.comment, "document": args.document}
    fields["result"] = "not done" if args.not_done is not None else "water" if args.water else "clear"
    fields["why"] = args.not_done or ""
    fields["appearance"] = args.looked or ""
    fields["day"] = args.day or ""
    for name in ("water", "fuel"):
        text = getattr(args, name)
        if text is not None:
            fields[f"{name}_m3"] = quantity(f"--{name}", text, "m3", "250 mL")
    return fields


def _done(answer: Answer) -> str:
    body = answer.body
    if "result" not in body:
        return f"drain check {body['number']} of {body['tank']} counts no more, by {body['by']}"
    result = body["result"]
    if result == "water":
        result = f"{1_000_000 * body['water_m3']:.0f} mL of water, {body['appearance']}"
    elif result == "not done":
        result = f"not done: {body['why']}"
    lines = [f"drain check {body['number']}: {body['tank']}, {body['day']}, {result}, by {body['by']}"]
    if answer.text:
        lines.append(answer.text)
    lines.append("it is overdue" if body["next_due"] is None else f"next due on {body['next_due']}")
    lines.append(CAUTION)
    return "\n".join(lines)
