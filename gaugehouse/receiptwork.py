"""Receipts beside the tanks they fill: what the core's state says of one, and which condition it tells the alarms.

Asks keepers, plans and the movement trackers; the arithmetic is in `inventory.receiptcheck`, `receiptprogress` and
`receiptmatch`. No I/O, no clock: times come with the tick.
"""

from collections.abc import Iterator
from typing import TYPE_CHECKING, Final

from alerts.spec import LEVEL_HIGH_CONDITIONS
from alerts.watched import Told
from gaugehouse.keeper import FILLING, STILL
from gaugehouse.site import MeterSpec
from gaugehouse.sitefile.budget import budget_of
from inventory.moved import Moved, moved
from inventory.movement import Movement, Stand
from inventory.movement import Stage as Moving
from inventory.receiptcheck import Before, Bounds, Forecast, forecast
from inventory.receiptmeter import Count, Metered, metered
from inventory.receipts import DeliveryPaper, Receipt, Stage
from models.quantity import Product
from models.reading import EXACT, GOOD, Instant, Reading
from models.stock_budget import AFTER_RECEIPT
from models.uncertainty import COVERAGE

if TYPE_CHECKING:
    from gaugehouse.core import Core

DIVERGENCE: Final = "receipt_divergence"
METER_AGE_MS: Final = 60_000
"""An older register is none (ours)."""
AWAITS, RECEIVING, SETTLING, CALM, UNSEEN = "awaits flow", "receiving", "settling", "calm", "not seen"


class ReceiptWork:
    """Follows the started receipts tick by tick."""

    def __init__(self, core: "Core") -> None:
        self._core = core
        self._told = set(core.keepers)  # what an alarm that was saved is told of a receipt that is over
        self.busy = True

    def tell(self) -> Iterator[Told]:
        """Of each tank that receives whether line and tank diverge; once more when that is over."""
        running = {receipt.tank: receipt for receipt in self._core.receipts.running()}
        for tank in self._told | set(running):
            receipt = running.get(tank)
            beyond = receipt is not None and bool(receipt.line) and receipt.line[-1].beyond
            yield Told(tank, DIVERGENCE, None, beyond)
        self._told = set(running)
        self.busy = bool(running)

    def step(self, at: Instant) -> list[Receipt]:
        """The receipts whose flow was seen for the first time."""
        begun = []
        for receipt in self._core.receipts.running():
            if receipt.begun_ms is None:
                movement = self._core.movements.running(receipt.tank)
                inward = movement is not None and movement.sign > 0
                if inward or self._core.keepers[receipt.tank].flow == FILLING:
                    found = movement.start_ms if inward and movement is not None else at.time_ms
                    receipt.begun_ms = max(found, receipt.started_ms or found)
                    self._core.receipts.changed(receipt)
                    begun.append(receipt)
        return begun


def product_of(core: "Core", tank: str) -> Product:
    return core.keepers[tank].stock.product


def trusted(core: "Core", tank: str) -> Reading | None:
    """The newest reading of a tank, where its level and volume can be trusted."""
    reading = core.keepers[tank].latest
    good = reading is not None and reading.quality is GOOD and reading.bound is EXACT
    return reading if good and reading is not None and reading.tov_m3 is not None else None


def phase_of(core: "Core", receipt: Receipt) -> str:
    """What a started receipt does now."""
    if trusted(core, receipt.tank) is None:
        return UNSEEN
    if receipt.begun_ms is None:
        return AWAITS
    flow, movement = core.keepers[receipt.tank].flow, core.movements.running(receipt.tank)
    if flow == FILLING or (not flow and movement is not None and movement.stage is Moving.MOVING):
        return RECEIVING  # the rate of a daemon that has just started is not known yet
    if flow != STILL or movement is not None:
        return SETTLING
    return CALM


def stand_of(core: "Core", tank: str) -> Stand | None:
    """The tank now: the mean of the last minutes where it is at rest, else the newest trusted reading."""
    reading = trusted(core, tank)
    if reading is None:
        return None
    rest = core.movements.rest_of(tank, core.at)
    if rest is not None:
        return rest
    assert reading.level_m is not None and reading.tov_m3 is not None  # noqa: PT018 a trusted one has both
    return Stand(reading.level_m, reading.tov_m3, reading.tov_m3, reading.temperature_degC, reading.water_m)


def air_degC(core: "Core", tank: str) -> float | None:
    known = core.keepers[tank].known
    return None if known is None else known.gauging.ambient_degC


def received(core: "Core", receipt: Receipt, now: Stand | None = None) -> Moved | None:
    """What the tank has gained since the receipt was started, with covariance; None where it cannot tell."""
    now = stand_of(core, receipt.tank) if now is None else now
    if receipt.opening is None or now is None:
        return None
    lasted_ms = max(0, core.at.time_ms - receipt.opening_ms)
    movement = Movement(
        receipt.tank, 0, 1, 0, receipt.opening_ms, None, receipt.opening, now, lasted_ms,
        ambient_degC=(receipt.opening_air_degC, air_degC(core, receipt.tank)),
    )  # fmt: skip
    return moved(movement, core.keepers[receipt.tank].stock, core.site.accuracy[receipt.tank])


def registers_of(core: "Core", tank: str) -> dict[str, float]:
    """What the totalisers show now that count into a tank, m3, by their ids; one that is not read is not there."""
    shown = {meter.id: core.newest(meter.source, METER_AGE_MS).value for meter in meters_of(core, tank)}
    return {name: value for name, value in shown.items() if value is not None}


def meters_of(core: "Core", tank: str) -> list[MeterSpec]:
    return [meter for meter in core.site.meters if meter.kind == "volume" and meter.fills == tank]


def line_of(core: "Core", receipt: Receipt) -> Metered | None:
    """What the line's own meters have counted since the receipt was started; None where there is none, or where not
    all of them were read then."""
    meters = meters_of(core, receipt.tank)
    if receipt.stage is not Stage.STARTED or not meters or any(meter.id not in receipt.meters for meter in meters):
        return None
    shown = registers_of(core, receipt.tank)
    counts = [
        Count(
            meter.id, meter.name, receipt.meters[meter.id], shown.get(meter.id), meter.factor, meter.compensated,
            meter.rolls_over_at_m3, meter.u95_frac,
        )
        for meter in meters
    ]  # fmt: skip
    return metered(counts, receipt.paper, product_of(core, receipt.tank), receipt.sample)


def bounds_of(core: "Core", tank: str) -> Bounds:
    """The high-side limits of a tank, up to where it is filled, and the time that is needed to stop a flow."""
    site = core.site
    at = {
        limit.condition: limit.at for limit in site.alarms_of(tank).limits if limit.condition in LEVEL_HIGH_CONDITIONS
    }
    table = core.keepers[tank].tank.table
    order: tuple[str, ...] = ("high", "high_high", "critical_high")
    tops = [(name, at[name]) for name in order if name in at][:1]
    fill = site.safe_fill_of(tank)
    if fill is not None:
        tops.append(("safe_fill", fill.level_m))
    top = min(tops, key=lambda one: one[1]) if tops else ("table", table.top_m)
    top = (top[0], min(top[1], table.top_m))
    response, budget = site.extras[tank].response, budget_of(site, tank)
    needed = None if budget is None else budget.given_s if budget.given_s is not None else budget.total_s
    return Bounds(at, top, None if response is None else response.max_fill_m3_per_s, needed)


def forecast_of(core: "Core", tank: str, paper: DeliveryPaper, rate_m3_per_s: float | None) -> Forecast:
    """Raises `OutOfRange` for a paper off the tables."""
    reading, keeper = trusted(core, tank), core.keepers[tank]
    before = Before(None, None, None, None)
    if reading is not None and reading.level_m is not None:
        accuracy = core.site.accuracy[tank][AFTER_RECEIPT]
        area = keeper.tank.table.area_m2(keeper.tank.table.nearest_m(reading.level_m))
        gauge = (accuracy.level_zero_m.standard**2 + accuracy.level_repeat_m.standard**2) ** 0.5
        before = Before(
            reading.level_m, reading.tov_m3, reading.gsv_m3, reading.temperature_degC, COVERAGE * area * gauge
        )
    return forecast(
        keeper.tank.table, product_of(core, tank), before, paper, rate_m3_per_s, bounds_of(core, tank),
        core.site.receipts.paper_u95_frac,
    )  # fmt: skip
