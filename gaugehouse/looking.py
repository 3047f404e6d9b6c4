"""The commands that look at what is kept: alarms, faults, stock, verify. They read beside a running daemon."""

import time
from argparse import Namespace
from collections import deque
from datetime import datetime
from pathlib import Path
from typing import Any, Final
from zoneinfo import ZoneInfo

from alerts.performance import DAY_MS, ENOUGH_DAYS
from gaugehouse.alarmfigures import kept_rows, performance
from gaugehouse.alarmfigures import page as performance_page
from gaugehouse.alarmtestacts import proof_rows
from gaugehouse.days import FIRST_MS, LAST_MS, iso_ms
from gaugehouse.errors import CallError
from gaugehouse.printing import as_json, table
from gaugehouse.records import alarm_rows, told_rows
from gaugehouse.rows import ALARM_COLUMNS
from gaugehouse.simulatedbook import is_simulated, now_of
from gaugehouse.site import Site, load_site
from gaugehouse.stocksheet import NEWEST_AGE_MS, sheet_json
from gaugehouse.stores import RECORDS, look_into_book, look_into_readings
from history.chain import Head
from history.errors import BadQuestion
from history.salvage import KIND as SET_ASIDE
from history.salvage import set_aside
from history.sqlite import SqliteStore
from inventory.sheet import SheetTank, StockSheet, stock_sheet
from models.reading import Reading

SIMULATED: Final = "SIMULATED FARM: invented figures"


def moment_ms(text: str | None, site: Site) -> int | None:
    """UTC milliseconds of a time typed by a person; without an offset it is the site's own time."""
    if text is None:
        return None
    try:
        moment = datetime.fromisoformat(text)
    except ValueError:
        raise CallError(f"time {text!r} is not understood; write it as 2026-01-31T08:00 or with Z or +hh:mm") from None
    if moment.tzinfo is None:
        moment = moment.replace(tzinfo=ZoneInfo(site.zone))
    found_ms = round(moment.timestamp() * 1000)
    if not FIRST_MS <= found_ms <= LAST_MS:
        raise CallError(f"time {text!r} lies, in UTC, outside of the years 1 to 9999; correct it")
    return found_ms


def span_of(args: Namespace, site: Site) -> tuple[int | None, int | None]:
    """The time asked for, from <= t < to."""
    start, end = moment_ms(args.start, site), moment_ms(args.end, site)
    if start is not None and end is not None and start >= end:
        raise CallError(f"--from {args.start} is not before --to {args.end}; turn them round")
    return start, end


def sources_of(site: Site, tank: str | None) -> set[str] | None:
    """A tank, the instrument of its level and the points that speak of it; None for all."""
    if tank is None:
        return None
    known = [t.id for t in site.tanks]
    if tank not in known:
        raise CallError(f"{site.path}: no tank {tank!r}; there are {', '.join(known)}")
    return {tank, site.tank(tank).instrument, *(point.id for point in site.points if point.tank == tank)}


def alarms(args: Namespace) -> int:
    """`gaugehouse alarms`: transitions, oldest first; or how they perform as a whole, or what went out to people."""
    site = load_site(Path(args.site))
    sources, (start, end) = sources_of(site, args.tank), span_of(args, site)
    if args.sheet or args.csv or args.pdf is not None:
        from gaugehouse.sheetpages import sheet

        return sheet(site, args, sources)
    if args.performance:
        return _performance(site, args, start, end)
    if args.told:
        return _told(site, args, start, end)
    if args.tests:
        return _tests(site, args)
    with look_into_book(site) as book:
        rows = alarm_rows(book, sources, start, end)
    _print_rows((*ALARM_COLUMNS, "occurrence", "by", "comment"), rows, args.json, "no alarm in that time")
    return 0


def _tests(site: Site, args: Namespace) -> int:
    """Every test of an alarm that the record book holds, oldest first."""
    with look_into_book(site) as book:
        rows = proof_rows(book)
    columns = ("ended", "alarm", "means", "passed", "raised_s", "notified_s", "how", "by", "comment")
    shown = rows if args.json else [row | {"passed": "yes" if row["passed"] else "no"} for row in rows]
    _print_rows(("begun", *columns) if args.json else columns, shown, args.json, "no alarm was tested yet")
    return 0


def _told(site: Site, args: Namespace, start: int | None, end: int | None) -> int:
    if args.tank is not None:
        raise CallError("--told lists messages, and one message may be of several tanks; leave --tank out")
    with look_into_book(site) as book:
        rows = told_rows(book, start, end)
    columns = ("time", "channel", "alarms", "took_ms", "answer")
    _print_rows(columns, rows, args.json, "nobody was told anything in that time")
    return 0


def _performance(site: Site, args: Namespace, start: int | None, end: int | None) -> int:
    if args.tank is not None:
        raise CallError("--performance is of the whole site: an operator has all tanks before them; leave --tank out")
    with look_into_book(site) as book:
        kept = kept_rows(book, end)
        now_ms = now_of(book)
    to_ms = now_ms if end is None else end
    answer = performance(site, kept, to_ms - ENOUGH_DAYS * DAY_MS if start is None else start, to_ms, now_ms)
    print(as_json(answer) if args.json else performance_page(answer))
    return 0


def _print_rows(columns: tuple[str, ...], rows: list[dict[str, Any]], json: bool, empty: str) -> None:
    if json:
        print(as_json([{column: row.get(column) for column in columns} for row in rows]))
    else:
        print(table(columns, rows) if rows else empty)


def stock(args: Namespace) -> int:
    """`gaugehouse stock`: what each tank holds, or held; 1 when a tank is not measured."""
    site = load_site(Path(args.site))
    at_ms = moment_ms(args.at, site)
    with look_into_readings(site) as store, look_into_book(site) as book:
        now_ms = time.time_ns() // 1_000_000 if at_ms is None else at_ms
        simulated = is_simulated(book)
        if simulated and at_ms is None:  # a demo's clock may run ahead of ours
            now_ms = max([now_ms, *(r.time_ms for t in site.tanks if (r := store.latest(t.id)) is not None)])
        tanks = [
            SheetTank(t.id, t.name, site.product(t.product).name, _reading(store, t.id, at_ms)) for t in site.tanks
        ]
    sheet = stock_sheet(tanks, now_ms, NEWEST_AGE_MS)
    if args.json:
        print(as_json(sheet_json(sheet)))
    else:
        if simulated:
            print(SIMULATED)
        print(_sheet_text(site, sheet, now_ms))
    return 0 if sheet.complete else 1


def _reading(store: SqliteStore, tank: str, at_ms: int | None) -> Reading | None:
    if at_ms is None:
        return store.latest(tank)
    last = deque(store.read(tank, at_ms - NEWEST_AGE_MS, at_ms + 1), maxlen=1)
    return last[0] if last else None


def _sheet_text(site: Site, sheet: StockSheet, at_ms: int) -> str:
    zone = ZoneInfo(site.zone)
    local = datetime.fromtimestamp(at_ms / 1000, zone)
    rows = [
        {
            "tank": line.tank,
            "product": line.product,
            "read at": None
            if line.time_ms is None
            else f"{datetime.fromtimestamp(line.time_ms / 1000, zone):%H:%M:%S}",
            "level [m]": _fixed(line.level_m, 4),
            "t [degC]": _fixed(line.temperature_degC, 2),
            "TOV [m3]": _fixed(line.tov_m3, 3),
            "GOV [m3]": _fixed(line.gov_m3, 3),
            "GSV [m3]": _fixed(line.gsv_m3, 3),
            "+- [m3]": _fixed(line.gsv_u95_m3, 3),
            "mass [kg]": _fixed(line.mass_kg, 0),
            "quality": line.stock_quality.word,
            "": line.why,
        }
        for line in sheet.tanks
    ]
    out = [
        f"{site.name} ({site.id}): stock at {local:%Y-%m-%d %H:%M:%S %Z}",
        f"standard volume at {site.reference_degC:g} degC by {site.volume_correction}; mass in vacuo",
        "+-: expanded uncertainty of GSV, 95 %; of a product's sum, its tanks taken as independent",
        "",
        table(tuple(rows[0]), rows),
        "",
    ]
    for product in sheet.products:
        if product.gsv_m3 is None or product.mass_kg is None:
            out.append(f"{product.product}: sum not known, not measured: {', '.join(product.missing)}")
        else:
            u95 = "" if product.gsv_u95_m3 is None else f" +- {product.gsv_u95_m3:.3f} m3"
            out.append(f"{product.product}: GSV {product.gsv_m3:.3f} m3{u95}, mass {product.mass_kg:.0f} kg")
    return "\n".join(out)


def _fixed(value: float | None, decimals: int) -> str | None:
    return None if value is None else f"{value:.{decimals}f}"


def verify(args: Namespace) -> int:
    """`gaugehouse verify`: 0 when the record book is unbroken, 1 when it is not."""
    site = load_site(Path(args.site))
    try:
        against = None if args.against is None else Head.parse(args.against)
    except BadQuestion as error:
        raise CallError(str(error)) from error
    with look_into_book(site) as book:
        verdict = book.verify(against)
        asides = [dict(entry.body) for entry in book.entries([SET_ASIDE])] if verdict.unbroken else []
    waits = set_aside(site.store_path / RECORDS)
    if args.json:
        first = None if verdict.broken is None else {"entry": verdict.broken.n, "what": verdict.broken.what.value}
        since = None if verdict.since_ms is None else iso_ms(verdict.since_ms)
        print(
            as_json(
                {
                    "unbroken": verdict.unbroken,
                    "sound": verdict.sound,
                    "head": str(verdict.head),
                    "since": since,
                    "first_broken": first,
                    "set_aside": asides,
                }
            )
        )
    else:
        print(verdict)
        if not verdict.unbroken and against is not None and against.count > verdict.head.count:
            print("A head with more entries than the book has: entries are gone, or it is the head of another book.")
        for one in asides:
            lost = "an unknown number of" if one["lost"] is None else one["lost"]
            print(
                f"A damaged book was set aside in {one['folder']}: {lost} entries after {one['kept']} are only there."
            )
        if waits:
            print(f"Keep {', '.join(waits)}, and move it out of the store once that is settled.")
    return 0 if verdict.unbroken and not waits else 1
