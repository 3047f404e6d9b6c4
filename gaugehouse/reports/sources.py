"""What a report is made from: the stores, the record book, and what only the core knows, taken from it at one moment.

`state_of` runs in the thread that steps the core; everything else in a reader thread.
"""

from collections import deque
from typing import Any, NamedTuple

from alerts.alarm import AlarmView
from gaugehouse.core import Core
from gaugehouse.days import Days, iso_ms
from gaugehouse.duework import dues_of_core
from gaugehouse.planacts import plan_json
from gaugehouse.reports.model import Bearing
from gaugehouse.simulatedbook import is_simulated
from gaugehouse.site import Site
from gaugehouse.statusroom import status_json
from gaugehouse.stocksheet import NEWEST_AGE_MS
from history.book import BookReader
from history.store import Store
from inventory.duelist import Due
from inventory.sheet import SheetTank, StockSheet, stock_sheet
from models.reading import Reading

Json = dict[str, Any]


class CoreState(NamedTuple):
    """standing: alarms that are not normal. status: of each tank, none where the site keeps none. dues: what the rooms
    know to be due. receipts: those that are open. plans: movements that were ordered. checks: loop checks under way."""

    standing: tuple[AlarmView, ...]
    status: tuple[Json, ...]
    dues: tuple[Due, ...]
    receipts: tuple[Json, ...]
    plans: tuple[Json, ...]
    checks: tuple[Json, ...]


class Sources(NamedTuple):
    """now_ms: the site's clock. by: who makes the report, "" where nobody said."""

    site: Site
    readings: Store
    book: BookReader
    state: CoreState
    now_ms: int
    by: str = ""

    @property
    def days(self) -> Days:
        return Days(self.site.zone, self.site.day_starts_min)

    def name_of(self, tank: str) -> str:
        """A tank's name (a product's where no tank is called so), its id where the site has it no more."""
        products = {one.id: one.name for one in self.site.products}
        return (products | {one.id: one.name for one in self.site.tanks}).get(tank, tank)

    def named(self, text: str) -> str:
        """A sentence that begins with a tank's id and a colon, with its name."""
        tank, colon, rest = text.partition(": ")
        return f"{self.name_of(tank)}: {rest}" if colon else text

    def reading_at(self, tank: str, at_ms: int) -> Reading | None:
        """The newest reading up to a moment that still says what was there then."""
        last = deque(self.readings.read(tank, at_ms - NEWEST_AGE_MS, at_ms + 1), maxlen=1)
        return last[0] if last else None

    def stock_at(self, at_ms: int) -> StockSheet:
        site = self.site
        lines = [
            SheetTank(one.id, one.name, site.product(one.product).name, self.reading_at(one.id, at_ms))
            for one in site.tanks
        ]
        return stock_sheet(lines, at_ms, NEWEST_AGE_MS)


def state_of(core: Core, now_ms: int) -> CoreState:
    """What of the core stands in reports, as it is now."""
    room = core.status
    return CoreState(
        tuple(core.alarms.standing()),
        tuple(status_json(tank.id, room.state(tank.id), now_ms) for tank in core.site.tanks if room),
        tuple(dues_of_core(core, now_ms)),
        tuple(
            {
                "number": one.number,
                "tank": one.tank,
                "stage": one.stage.value,
                "by": one.by,
                "made": iso_ms(one.made_ms),
                "note": one.paper.note,
                "observed_m3": one.paper.observed_m3,
                "standard_m3": one.paper.standard_m3,
                "not_done": [what for what in core.site.receipts.checks if what not in one.done],
            }
            for one in core.receipts.all()
        ),
        tuple(plan_json(one) for one in core.plans.all()),
        tuple(
            {"instrument": check.instrument, "by": check.by, "until": iso_ms(check.until_ms)}
            for loop in core.site.loops
            if (check := core.checks.get(loop.instrument)) is not None
        ),
    )


def bearing_of(sources: Sources) -> Bearing:
    """What every report of these sources bears."""
    site, book = sources.site, sources.book
    return Bearing(
        site.id, site.name, site.zone, sources.now_ms, sources.by, str(book.head()), str(site.volume_correction),
        site.reference_degC, is_simulated(book),
    )  # fmt: skip
