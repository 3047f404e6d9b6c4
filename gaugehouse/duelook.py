"""`gaugehouse forecast` and `gaugehouse due`: how long the stock lasts, and what somebody has to do."""

from argparse import Namespace
from pathlib import Path
from typing import Final

from gaugehouse.duework import due_list, dues_of_book, dues_of_core
from gaugehouse.errors import CallError
from gaugehouse.forecastwork import FIGURES, Json, forecasts, held_of
from gaugehouse.looking import sources_of
from gaugehouse.printing import as_json, table
from gaugehouse.simulatedbook import now_of
from gaugehouse.site import Site, load_site
from gaugehouse.stores import look_into_book, look_into_readings
from gaugehouse.waterlook import as_csv, past_core

FORECAST: Final = (
    "of", "id", "tanks", "time", "usable_m3", "held_m3", "above", "missing", "days_known", "days_asked",
    "days_by_papers", "days_by_gauge", *FIGURES, "order_now", "why", "notes",
)  # fmt: skip
SHOWN: Final = (
    "of", "id", "usable_m3", "held_m3", "mean_m3_per_day", "cover_days", "cover_earliest_days", "cover_latest_days",
    "order_point_m3", "order_by", "days_known",
)  # fmt: skip
DUE: Final = ("state", "kind", "about", "what", "from", "until", "who", "last", "note", "rule", "link")
DUE_SHOWN: Final = ("state", "kind", "about", "until", "who", "last", "note")


def forecast(args: Namespace) -> int:
    """`gaugehouse forecast`: 1 where nothing can be told of any of what was asked for."""
    site = load_site(Path(args.site))
    sources_of(site, args.tank)
    products = [product.id for product in site.products]
    if args.product is not None and args.product not in products:
        raise CallError(f"{site.path}: no product {args.product!r}; there are {', '.join(products)}")
    _refuse_what_is_never_issued(site, args)
    with look_into_book(site) as book, look_into_readings(site) as store:
        newest = {tank.id: store.latest(tank.id) for tank in site.tanks}
        now_ms = now_of(book)
        held = held_of(past_core(site, book), now_ms)
        rows = [row for row in forecasts(site, store, book, newest, now_ms, held) if _wanted(row, args)]
    if args.json:
        print(as_json(rows))
    elif args.csv:
        print(as_csv(FORECAST, rows), end="")
    else:
        print(_forecast_text(rows))
    return 0 if any(not row["why"] for row in rows) else 1


def _refuse_what_is_never_issued(site: Site, args: Namespace) -> None:
    of = next((tank.product for tank in site.tanks if tank.id == args.tank), args.product)
    if any(product.id == of and not product.for_issue for product in site.products):
        raise CallError(f"{site.path}: {of} is not handed out (for_issue = false): it has no days of cover")


def _wanted(row: Json, args: Namespace) -> bool:
    if args.tank is None and args.product is None:
        return True
    return (row["of"], row["id"]) in {("tank", args.tank), ("product", args.product)}


def _forecast_text(rows: list[Json]) -> str:
    lines = [table(SHOWN, [row | {name: _short(row[name]) for name in SHOWN if name in row} for row in rows])]
    for row in rows:
        words = [row["why"], *row["notes"], "order now" if row["order_now"] else ""]
        lines += [f"{row['of']} {row['id']}: {word}" for word in dict.fromkeys(words) if word]
    lines.append("cover between two standard deviations; a dash in cover_latest_days: longer than two years")
    return "\n".join(lines)


def _short(value: object) -> object:
    return round(value, 1) if isinstance(value, float) else value


def due(args: Namespace) -> int:
    """`gaugehouse due`: 0; with --now 1 where anything is overdue."""
    site = load_site(Path(args.site))
    with look_into_book(site) as book:
        now_ms = now_of(book)
        dues = [*dues_of_core(past_core(site, book), now_ms), *dues_of_book(site, book, now_ms)]
    kinds = sorted({one.kind for one in dues})
    if args.kind is not None and args.kind not in kinds:
        raise CallError(f"nothing of the kind {args.kind!r} is due here; there are {', '.join(kinds)}")
    told = due_list([one for one in dues if args.kind in (None, one.kind)], now_ms)
    rows = [row for row in told["dues"] if not args.now or row["state"] in ("overdue", "due")]
    if args.json:
        print(as_json(told | {"dues": rows}))
    elif args.csv:
        print(as_csv(DUE, rows), end="")
    else:
        print(table(DUE_SHOWN, rows) if rows else "nothing is due")
    return 1 if args.now and told["counts"]["overdue"] else 0
