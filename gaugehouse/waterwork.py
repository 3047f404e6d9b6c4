"""The water accounts of a site's tanks, put together from readings, papers, movements, dips and drain checks.

Knows where each figure is kept and how it reaches `inventory.wateraccount`; refuses to judge. Runs in a reader thread
or beside a running daemon: it asks the store and the record book, and is given what the core's room knows of the air.
"""

from collections.abc import Mapping, Sequence
from typing import Any, Final, NamedTuple

from gaugehouse.days import Day, Days, iso_ms
from gaugehouse.diprecords import dips_of
from gaugehouse.drainrecords import checks_of
from gaugehouse.flowdays import GAUGE, Flow, by_day, gauge_flows, paper_flows, standing_between
from gaugehouse.site import Site
from gaugehouse.tankdays import ReadDay, last_days, read_days
from gaugehouse.waterroom import AirDay
from history.book import BookReader
from history.store import Store
from inventory.dips import Dip
from inventory.documents import Document, DocumentKind
from inventory.draincheck import DrainCheck
from inventory.wateraccount import CUT_M, Account, Found, Received, TankDay, account, drawn
from inventory.watertrend import Cut, Trend, trend
from models.bounds import Bounds
from models.errors import OutOfRange
from models.tank import Tank

Json = dict[str, Any]

SIGNAL: Final = "signal"
DIP: Final = "dip"


class Kept(NamedTuple):
    """What the record book tells of the water of all tanks over some days; read once, asked for each tank."""

    span: Sequence[Day]
    documents: Sequence[Document]
    flows: Sequence[Flow]
    checks: Sequence[DrainCheck]
    dips: Sequence[Dip]


class Drained(NamedTuple):
    """Water that a person drained: by a drain check, or by the paper of a water draw."""

    time_ms: int
    day: str
    water_m3: float
    by: str
    how: str


class WaterOf(NamedTuple):
    """All that is told of the water of one tank."""

    tank: str
    first: str
    last: str
    account: Account
    trend: Trend
    cuts: Sequence[Cut]
    drained: Sequence[Drained]
    flows_by: str


def waters_of(
    site: Site, store: Store, book: BookReader, air: Mapping[str, AirDay], tanks: Sequence[str], now_ms: int
) -> list[WaterOf]:
    """The accounts of some tanks over the site's own number of days, up to the last day that is over."""
    days = Days(site.zone, site.day_starts_min)
    span = last_days(days, site.water.account_days, now_ms)
    documents = standing_between(book, span[0].date, span[-1].date)
    flows = [*gauge_flows(book, days, span[0].start_ms, span[-1].end_ms), *paper_flows(documents)]
    kept = Kept(span, documents, flows, checks_of(book), dips_of(book))
    return [_water_of(site, store, kept, air, tank) for tank in tanks]


def _water_of(site: Site, store: Store, kept: Kept, air: Mapping[str, AirDay], tank: str) -> WaterOf:
    span, model = kept.span, site.tank(tank)
    read = read_days(store, tank, span)
    flows = [flow for flow in kept.flows if flow.tank == tank]
    documents = [one for one in kept.documents if one.tank == tank]
    drains = drained([check for check in kept.checks if check.tank == tank], documents, span)
    cuts = cuts_of(model, kept.dips, read)
    found = Found(drawn([one.water_m3 for one in drains]), lying(model, cuts, span))
    tank_days = [_tank_day(one, model, flows, air) for one in read]
    made = account(tank_days, received(flows, read), found, site.water.rules)
    slope = trend(cuts, [one.time_ms for one in drains if one.water_m3 > 0])
    told_by = {by for _, by in (*by_day(flows, out=True).values(), *by_day(flows, out=False).values())}
    return WaterOf(tank, span[0].date, span[-1].date, made, slope, cuts, drains, " and ".join(sorted(told_by)))


def drained(checks: Sequence[DrainCheck], documents: Sequence[Document], span: Sequence[Day]) -> list[Drained]:
    """What was drained in these days, each volume once, oldest first."""
    numbers = {one.number for one in documents if one.kind is DocumentKind.WATER_DRAW}
    found = [
        Drained(one.time_ms, one.day, one.water_m3, one.by, f"drain check {one.number}")
        for one in checks
        if one.done and span[0].date <= one.day <= span[-1].date and one.document not in numbers
    ]
    for one in documents:
        water = one.details.get("water_m3")
        if one.kind is DocumentKind.WATER_DRAW and water is not None:
            found.append(Drained(one.time_ms, one.day, abs(float(water)), one.by, f"document {one.number}"))
    return sorted(found)


def cuts_of(model: Tank, dips: Sequence[Dip], read: Sequence[ReadDay]) -> list[Cut]:
    """The water cuts of these days: of a signal one a day, and every dip that found out about water."""
    found: list[Cut] = []
    if model.water is not None:
        middle = ((one.day.start_ms + one.day.end_ms) // 2 for one in read)
        found += [
            Cut(at_ms, one.water_m.median, SIGNAL) for at_ms, one in zip(middle, read, strict=True) if one.water_m
        ]
    start_ms, end_ms = read[0].day.start_ms, read[-1].day.end_ms
    found += [
        Cut(dip.time_ms, dip.water_m, DIP)
        for dip in dips
        if dip.tank == model.id and dip.water_m is not None and start_ms <= dip.time_ms < end_ms
    ]
    return sorted(found)


NEAR_PART: Final = 0.25
"""The first and the last cut must lie within this part of the span from its ends to stand for them. Our own choice."""


def lying(model: Tank, cuts: Sequence[Cut], span: Sequence[Day]) -> Bounds | None:
    """By how much the water on the bottom grew over these days; None where no cut stands near either end."""
    if len(cuts) < 2:
        return None
    near_ms = NEAR_PART * (span[-1].end_ms - span[0].start_ms)
    first, last = cuts[0], cuts[-1]
    if first.time_ms - span[0].start_ms > near_ms or span[-1].end_ms - last.time_ms > near_ms:
        return None
    before, after = _volume(model, first.water_m), _volume(model, last.water_m)
    return Bounds(after.low - before.high, after.high - before.low)


def _volume(model: Tank, water_m: float) -> Bounds:
    """What lies under a water cut, with the bounds of its reading. No cut at all is no water."""
    table = model.table

    def volume(at_m: float) -> float:
        try:
            return table.volume_m3(max(table.bottom_m, at_m)) if at_m > table.bottom_m else 0.0
        except OutOfRange:
            return 0.0

    return Bounds(volume(water_m - CUT_M), volume(water_m + CUT_M))


def received(flows: Sequence[Flow], read: Sequence[ReadDay]) -> list[Received]:
    """Receipts by papers where the tank-day has papers, else as the gauge found them, with the tank's temperature."""
    told_by = {key: by for key, (_, by) in by_day(flows, out=False).items()}
    warm = {one.day.date: one.temperature_degC for one in read}
    found = []
    for flow in flows:
        if flow.volume_m3 <= 0 or told_by.get((flow.tank, flow.day), GAUGE) != flow.by:
            continue
        tank_degC = warm.get(flow.day)
        found.append(Received(flow.volume_m3, flow.temperature_degC, None if tank_degC is None else tank_degC.low))
    return found


def _tank_day(read: ReadDay, model: Tank, flows: Sequence[Flow], air: Mapping[str, AirDay]) -> TankDay:
    date, tov, warm = read.day.date, read.tov_m3, read.temperature_degC
    issued, _ = by_day([flow for flow in flows if flow.day == date], out=True).get((model.id, date), (0.0, ""))
    outside = air.get(date)
    return TankDay(
        date,
        None if tov is None else tov.mean,
        None if tov is None else max(0.0, model.table.capacity_m3 - tov.mean),
        None if warm is None else warm.mean,
        None if warm is None else warm.low,
        None if warm is None else warm.high,
        issued,
        None if outside is None else outside.low_degC,
        None if outside is None else outside.high_degC,
        None if outside is None else outside.vapour_kgpm3,
    )


def water_json(told: WaterOf) -> Json:
    """All of it, JSON-ready: volumes in m3, slopes in m a day, times as ISO."""
    made, slope = told.account, told.trend
    lying_m3 = made.found.lying_m3
    return {
        "tank": told.tank,
        "from": told.first,
        "to": told.last,
        "days": made.days,
        "unmeasured_days": made.unmeasured,
        "flows_by": told.flows_by,
        "terms": [
            {"term": term.source.value, "low_m3": term.water_m3.low, "high_m3": term.water_m3.high, "note": term.note}
            for term in made.terms
        ],
        "expected_low_m3": made.expected_m3.low,
        "expected_high_m3": made.expected_m3.high,
        "drained_low_m3": made.found.drained_m3.low,
        "drained_high_m3": made.found.drained_m3.high,
        "lying_low_m3": None if lying_m3 is None else lying_m3.low,
        "lying_high_m3": None if lying_m3 is None else lying_m3.high,
        "found_low_m3": made.found.whole_m3.low,
        "found_high_m3": made.found.whole_m3.high,
        "verdict": made.verdict.value,
        "why": made.why,
        "trend": {
            "slope_m_per_day": slope.slope_m_per_day,
            "standard_error_m_per_day": slope.standard_error_m_per_day,
            "rises": slope.rises,
            "cuts": slope.points,
            "stretches": slope.stretches,
            "days": slope.days,
            "why": slope.why,
        },
        "cuts": [{"time": iso_ms(cut.time_ms), "water_m": cut.water_m, "source": cut.source} for cut in told.cuts],
        "drained": [
            {"time": iso_ms(one.time_ms), "day": one.day, "water_m3": one.water_m3, "by": one.by, "how": one.how}
            for one in told.drained
        ],
    }
