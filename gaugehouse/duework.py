"""What is due on a site, gathered from everybody who has something due.

A source is a function of one of two kinds: of the core (what its rooms know; cheap, in the core's own thread) or of the
record book (what must be looked up; in a reader thread). To add one, write the function beside its room and put it into
`CORE_SOURCES` or `BOOK_SOURCES`. Nothing is due by a rule that the site has not: such a source gives no row.
"""

from collections.abc import Callable, Iterable, Iterator
from datetime import date, timedelta
from typing import Any, Final

from console.words import MONTHS
from gaugehouse import checkrecords
from gaugehouse.closerecords import CLOSE
from gaugehouse.closeroom import MONTH
from gaugehouse.core import Core
from gaugehouse.days import Days, day_of, iso_ms
from gaugehouse.flowdays import standing_between
from gaugehouse.loopchecks import FINISHED
from gaugehouse.site import Site
from gaugehouse.sitefile.sheetlines import proof_due
from gaugehouse.statusdue import recertifications
from history.book import BookReader
from inventory.duelist import DAY_MS, Due, counted, due_json, listed
from inventory.status import TankStatus

Json = dict[str, Any]

CoreSource = Callable[[Core, int], Iterable[Due]]
BookSource = Callable[[Site, BookReader, int], Iterable[Due]]

OPERATOR: Final = "operator"
MAINTAINER: Final = "maintainer"
STOCK_KEEPER: Final = "stock keeper"

FIRST_DAY: Final = "1970-01-10"
LAST_DAY: Final = "9999-12-31"

MONTH_CLOSE_DAYS: Final = 5
"""So many days after its end a month is to be closed. Our own choice."""


def drain_checks(core: Core, now_ms: int) -> Iterator[Due]:
    """Looking for water at the drain: each tank, by the day."""
    room, rest_ms = core.waterlog, core.dips.rules.relaxation_ms
    days = Days(core.site.zone, core.site.day_starts_min)
    for tank in core.site.tanks:
        done, missed = room.last_done(tank.id), room.last_missed(tank.id)
        works = room.works(tank.id, now_ms)
        day = room.next_due(tank.id, now_ms).day
        every = room.rules.days(works)
        moved_ms = room.moved_ms(tank.id)
        notes = []
        if missed is not None:
            notes.append(f"not done on {missed.day} ({missed.by}): {missed.why}")
        if moved_ms is not None and 0 <= now_ms - moved_ms < rest_ms:
            notes.append(f"fuel moved just now: no sample before {iso_ms(moved_ms + rest_ms)}")
        yield Due(
            "drain check",
            tank.id,
            "look for water at the drain",
            None if day is None else days.on(day).start_ms,
            None if day is None else days.on(day).end_ms,
            OPERATOR,
            f"/water?tank={tank.id}#check",
            f"{'working tank' if works else 'other tank'}, every {every} d ({room.rules.source})",
            "never done" if done is None else f"{done.day} by {done.by}: {done.result.value}",
            "; ".join(notes),
        )


def dips(core: Core, now_ms: int) -> Iterator[Due]:
    """Gauge against dip, and water that is known by dips alone. Asked for a day ahead of its time."""
    for tank in core.site.tanks:
        due, newest = core.dips.next_due(tank.id), core.dips.latest(tank.id)
        yield Due(
            "dip",
            tank.id,
            f"dip: {due.why}",
            None if due.time_ms is None else due.time_ms - DAY_MS,
            due.time_ms,
            OPERATOR,
            f"/dips?tank={tank.id}",
            f"every {core.dips.rules.every_ms / DAY_MS:g} d ({core.dips.rules.limit_source})",
            "never done" if newest is None else f"{_day(core.site, newest.time_ms)} by {newest.by}",
        )


def certificates(core: Core, now_ms: int) -> Iterator[Due]:
    """Calibration of capacity tables, two months ahead."""
    for tank in core.site.tanks:
        certificate = core.site.extras[tank.id].certificate
        if certificate is None or certificate.next_due is None:
            continue
        until = _after(core.site, certificate.next_due)
        yield Due(
            "calibration",
            tank.id,
            f"calibrate the tank anew: certificate {certificate.number} ends",
            until - 61 * DAY_MS,
            until,
            MAINTAINER,
            f"/tank/{tank.id}",
            "the date that its certificate gives",
            f"{certificate.calibrated_on} by {certificate.laboratory}",
        )


def alarm_tests(core: Core, now_ms: int) -> Iterator[Due]:
    """Proof tests of alarms, by the alarm sheet's own intervals, two weeks ahead."""
    passed = core.tests.passed_ms()
    for view in core.alarms.views():
        entry = core.site.sheet.entry(view.source, view.condition)
        passed_ms = passed.get(view.id)
        tested = "" if passed_ms is None else _day(core.site, passed_ms)
        last = max(entry.last_test, tested)
        due = proof_due(entry, tested)
        if due is None:
            continue
        until = _after(core.site, due.isoformat()) if last else None
        yield Due(
            "alarm test",
            view.id,
            f"test the alarm {view.name}",
            None if until is None else until - 14 * DAY_MS,
            until,
            MAINTAINER,
            "/alarms/every",
            f"alarm sheet: every {(entry.test_every_ms or 0) / DAY_MS:g} d",
            last or "never done",
        )


def loop_checks(site: Site, book: BookReader, now_ms: int) -> Iterator[Due]:
    """Five-point checks of the loops, where the site has a rule for them."""
    every_ms = site.loop_check.every_ms
    if every_ms is None:
        return
    newest: dict[str, Json] = {}
    for record in checkrecords.records(book):
        if record["how"] == FINISHED:
            newest.setdefault(record["instrument"], record)
    for loop in site.loops:
        if loop.current_signal is None:
            continue
        done = newest.get(loop.instrument)
        until = None if done is None else int(done["ended_ms"]) + every_ms
        yield Due(
            "loop check",
            loop.instrument,
            "check the loop at five points",
            None if until is None else until - 14 * DAY_MS,
            until,
            MAINTAINER,
            f"/loops/{loop.instrument}/check",
            f"site file: [loop_check] every {every_ms / DAY_MS:g} d",
            "never done" if done is None else f"{_day(site, done['ended_ms'])} by {done['by']}",
        )


def month_closes(site: Site, book: BookReader, now_ms: int) -> Iterator[Due]:
    """Months that have documents, are over and are not signed; the running one when it ends."""
    newest: dict[str, str] = {product.id: "" for product in site.products}  # a close covers what lies before it
    for entry in book.entries([CLOSE]):
        if entry.body.get("period") == MONTH:
            product, month = str(entry.body["product"]), str(entry.body["name"])
            newest[product] = max(newest.get(product, ""), month)
    days = Days(site.zone, site.day_starts_min)
    oldest = min(newest.values(), default="")
    papers = standing_between(book, f"{oldest}-01" if oldest else FIRST_DAY, LAST_DAY)
    for product, month in sorted({(one.product, one.day[:7]) for one in papers}):
        if month <= newest.get(product, ""):
            continue
        first = date.fromisoformat(f"{month}-01")
        after = (first + timedelta(days=32)).replace(day=1)
        over_ms = days.on(after.isoformat()).start_ms
        yield Due(
            "month close",
            product,
            f"close and sign the stock account of {MONTHS[first.month - 1]} {first.year}",
            over_ms,
            over_ms + MONTH_CLOSE_DAYS * DAY_MS,
            STOCK_KEEPER,
            f"/stock?month={month}",
            f"within {MONTH_CLOSE_DAYS} d of the month's end",
            "not closed",
        )


def releases(core: Core, now_ms: int) -> Iterator[Due]:
    """Tanks that have settled and wait for their sample and a release by name."""
    for tank in core.site.tanks:
        state = core.status.get(tank.id)
        if state is not None and state.status is TankStatus.AWAITING_TEST:
            yield Due(
                "release",
                tank.id,
                "draw the sample, then release the tank or quarantine it",
                state.since_ms,
                state.since_ms + DAY_MS,
                STOCK_KEEPER,
                "/status",
                "a settled tank is released by name with the sample's result",
                "not released",
            )


CORE_SOURCES: Final[tuple[CoreSource, ...]] = (
    drain_checks, dips, releases, recertifications, certificates, alarm_tests
)  # fmt: skip
BOOK_SOURCES: Final[tuple[BookSource, ...]] = (loop_checks, month_closes)


def dues_of_core(core: Core, now_ms: int) -> list[Due]:
    """What the core's rooms know. In the thread that steps the core."""
    return [due for source in CORE_SOURCES for due in source(core, now_ms)]


def dues_of_book(site: Site, book: BookReader, now_ms: int) -> list[Due]:
    """What the record book tells. In a reader thread."""
    return [due for source in BOOK_SOURCES for due in source(site, book, now_ms)]


def due_list(dues: Iterable[Due], now_ms: int) -> Json:
    """The whole list, JSON-ready, with how many rows each state has."""
    rows = listed(dues, now_ms)
    shown = []
    for state, due in rows:
        row = due_json(state, due)
        for name in ("from", "until"):
            at_ms = row.pop(f"{name}_ms")
            row[name] = None if at_ms is None else iso_ms(at_ms)
        shown.append(row)
    return {"time": iso_ms(now_ms), "counts": counted(rows), "dues": shown}


def _day(site: Site, time_ms: int) -> str:
    return day_of(site.zone, time_ms).isoformat()


def _after(site: Site, day: str) -> int:
    """The end of a day that is named."""
    return Days(site.zone, site.day_starts_min).on(day).end_ms
