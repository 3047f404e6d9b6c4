"""What `gaugehouse check` finds out about a site file, as data and as text.

Asks no bus and opens no store: everything in here follows from the site file and what it points to.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Final, NamedTuple

from collector.spec import BusKind
from gaugehouse.notifying.words import channel_line
from gaugehouse.site import load_site
from gaugehouse.sitefile.budget import Budget, budget_of, damped_of
from gaugehouse.sitefile.facts import Site
from gaugehouse.sitefile.problems import Problem, Severity, SiteError
from gaugehouse.sitefile.sheetlines import overdue_tests
from gaugehouse.sitefile.wireadvice import block_ms
from gaugehouse.stockcheck import StockFacts, overdue_warning, stock_facts, stock_lines
from modbus.plan import plan
from modbus.signals import BIT_FUNCTIONS
from models.airweight import air_at_kgpm3
from models.chain import base_word
from models.tank import Tank


class Request(NamedTuple):
    """One request of a poll. `quantity` registers (or bits), of which `wasted` are read over and thrown away."""

    instrument: str
    unit: int
    function: int
    start: int
    quantity: int
    wasted: int
    signals: tuple[str, ...]


class BusPlan(NamedTuple):
    """What one bus is asked each period. `wire_ms`: time on the serial line, None where its speed is not ours."""

    bus: str
    kind: str
    period_ms: int
    requests: tuple[Request, ...]
    wire_ms: float | None


class LimitFacts(NamedTuple):
    """A level limit: its innage, the volume in the tank there, and the room up to it from the limit below."""

    condition: str
    at_m: float
    volume_m3: float | None
    room_m3: float | None


class TankFacts(NamedTuple):
    tank: str
    name: str
    source: str
    capacity_m3: float
    bottom_m: float
    top_m: float
    litres_per_mm: float
    reach_m: float
    limits: tuple[LimitFacts, ...]
    rates: tuple[str, ...]
    independent_high_high: str | None
    budget: Budget | None
    damped: tuple[str, ...]
    stock: StockFacts
    watched: tuple[str, ...] = ()


@dataclass(frozen=True)
class CheckReport:
    """The outcome of a check. `site` is None where there are mistakes."""

    path: Path
    problems: tuple[Problem, ...]
    site: Site | None
    buses: tuple[BusPlan, ...] = ()
    tanks: tuple[TankFacts, ...] = ()

    @property
    def exit_code(self) -> int:
        """0, or 2 where the site file has mistakes; warnings are 0."""
        return 2 if any(problem.severity is Severity.ERROR for problem in self.problems) else 0

    def json(self) -> list[dict[str, str]]:
        """Every problem with the names of its columns."""
        return [{**problem._asdict(), "severity": problem.severity.value} for problem in self.problems]

    def text(self) -> str:
        """For people: the mistakes, or the site as it will be run and what looks unwise in it."""
        return "\n".join(_lines(self)) + "\n"


def check(path: Path, today: str | None = None) -> CheckReport:
    """Check a site file and all that it points to. Raises nothing for a wrong file: the report says it.

    today: "YYYY-MM-DD", for certificates that are overdue; None takes the clock's.
    """
    try:
        site = load_site(path)
    except SiteError as error:
        return CheckReport(path, error.problems, None)
    day = today or date.today().isoformat()
    tanks = tuple(tank_facts(site, day))
    overdue = [overdue_warning(str(path), tank.tank, tank.stock) for tank in tanks]
    overdue.append(_tests_overdue(site, day))
    problems = (*site.warnings, *(problem for problem in overdue if problem is not None))
    return CheckReport(path, problems, site, tuple(bus_plans(site)), tanks)


def _tests_overdue(site: Site, day: str) -> Problem | None:
    """That alarms have not been tested for longer than their sheet allows: a warning of the day."""
    found = overdue_tests(site, date.fromisoformat(day))
    if not found:
        return None
    what = (
        f"the test of {', '.join(found)} is overdue" if len(found) == 1 else f"tests of {', '.join(found)} are overdue"
    )
    text = f"{what}; test them end to end and enter the date as last_test"
    file = str(site.alarm_sheet)
    return Problem(
        file, "alarm.test_every", ", ".join(found), "", Severity.WARNING, f"{file}: alarm.test_every: {text}"
    )


def bus_plans(site: Site) -> Iterator[BusPlan]:
    """The requests of one poll, bus by bus."""
    for bus in site.buses:
        requests, wire_ms = [], 0.0
        for instrument in bus.instruments:
            for block in plan(instrument.signals, instrument.bridge, instrument.longest):
                names = tuple(signal.name for signal in block.signals)
                requests.append(
                    Request(
                        instrument.id,
                        instrument.unit,
                        block.function,
                        block.start,
                        block.quantity,
                        block.unwanted,
                        names,
                    )
                )
                wire_ms += block_ms(block, bus.baud)
        ours = bus.kind is BusKind.RTU
        yield BusPlan(bus.id, bus.kind.value, bus.period_ms, tuple(requests), wire_ms if ours else None)


def tank_facts(site: Site, today: str) -> Iterator[TankFacts]:
    """Capacity, limits with their volumes, reach and stock of each tank."""
    for tank, alarms in zip(site.tanks, site.tank_alarms, strict=True):
        table, extras = tank.table, site.extras[tank.id]
        levels = [limit for limit in alarms.limits if not limit.per]
        volumes = [_volume(tank, limit.at) for limit in levels]
        below = [*volumes[1:], 0.0][: len(volumes)]
        yield TankFacts(
            tank=tank.id,
            name=tank.name,
            source=extras.capacity_source.name if extras.capacity_source else "drawing dimensions",
            capacity_m3=table.capacity_m3,
            bottom_m=table.bottom_m,
            top_m=table.top_m,
            litres_per_mm=table.area_m2((table.bottom_m + table.top_m) / 2),
            reach_m=site.reach_m[tank.id],
            limits=tuple(
                LimitFacts(limit.condition, limit.at, at, None if at is None or under is None else at - under)
                for limit, at, under in zip(levels, volumes, below, strict=True)
            ),
            rates=tuple(f"{limit.condition} {_rate(limit.at, limit.per)}" for limit in alarms.limits if limit.per),
            independent_high_high=extras.independent_high_high,
            budget=budget_of(site, tank.id),
            watched=tuple(limit.condition for one in site.watched if one.source == tank.id for limit in one.limits),
            damped=tuple(damped.text for damped in damped_of(site, tank.id)),
            stock=stock_facts(site, tank, today),
        )


def _volume(tank: Tank, level_m: float) -> float | None:
    table = tank.table
    return table.volume_m3(level_m) if table.bottom_m <= level_m <= table.top_m else None


def _rate(per_s: float, per: str) -> str:
    return f"{per_s * 60_000:.0f} mm/min" if per == "m/s" else f"{per_s * 60_000:.0f} L/min"


_PARTS: Final = {"bus", "instrument", "product", "tank"}
"""What a site has at least one of; who lacks a whole one has just begun."""


def _lines(report: CheckReport) -> Iterator[str]:
    errors = [problem for problem in report.problems if problem.severity is Severity.ERROR]
    if report.site is None:
        yield f"{report.path}: {_count(len(errors), 'mistake')}; the site does not start"
        yield from (f"  {problem.text}" for problem in errors)
        if {problem.key for problem in errors} & _PARTS:
            yield (
                "where to begin: docs/site-file.md shows the least site. With a [[bus]] in the file, "
                "`gaugehouse read FILE --explore BUS` finds out what answers on it, whatever else is missing."
            )
        return
    site = report.site
    yield f"{report.path}: site {site.id}, {_count(len(site.tanks), 'tank')}, no mistakes"
    yield f"  day begins {site.day_starts_min // 60:02}:{site.day_starts_min % 60:02} {site.zone}"
    base = base_word(site.reference_degC)
    yield f"  standard volume at {base} by {site.volume_correction}, factors {site.factors}"
    if site.altitude_m is not None:
        yield f"  {site.altitude_m:g} m above the sea: weights in air of {air_at_kgpm3(site.altitude_m):.4f} kg/m3"
    yield f"  fingerprint {site.fingerprint()}"
    for bus in report.buses:
        yield ""
        yield from _bus_lines(bus)
    for tank in report.tanks:
        yield ""
        yield from _tank_lines(tank)
    if site.channels:
        yield ""
        yield "people are told by"
        yield from (f"  {channel_line(channel)}" for channel in site.channels)
    yield ""
    yield f"{_count(len(report.problems), 'warning')}{':' if report.problems else ''}"
    yield from (f"  {problem.text}" for problem in report.problems)


def _count(number: int, word: str) -> str:
    return f"{number or 'no'} {word}{'' if number == 1 else 's'}"


def _bus_lines(bus: BusPlan) -> Iterator[str]:
    asked, wasted = sum(r.quantity for r in bus.requests), sum(r.wasted for r in bus.requests)
    yield (
        f"bus {bus.bus} ({bus.kind}): {_count(len(bus.requests), 'request')} every {bus.period_ms / 1000:g} s, "
        f"{asked} registers or bits, {wasted} of them wasted"
    )
    if bus.wire_ms is not None:
        share = 100 * bus.wire_ms / bus.period_ms
        yield f"  {bus.wire_ms:.0f} ms on the wire, {share:.0f} % of the period, the units' own delays not counted"
    for r in bus.requests:
        last, what = r.start + r.quantity - 1, "bits" if r.function in BIT_FUNCTIONS else "registers"
        yield f"  {r.instrument} unit {r.unit} function {r.function} {what} {r.start}-{last}: {', '.join(r.signals)}"


def _tank_lines(tank: TankFacts) -> Iterator[str]:
    yield f"tank {tank.tank} ({tank.name}): capacity {tank.capacity_m3:.3f} m3 from {tank.source}"
    yield f"  table {tank.bottom_m:g} to {tank.top_m:g} m, {tank.litres_per_mm:.1f} L/mm at half height"
    yield f"  the instrument reaches {tank.reach_m:g} m"
    for limit in tank.limits:
        volume = "off the table" if limit.volume_m3 is None else f"{limit.volume_m3:10.3f} m3"
        room = "" if limit.room_m3 is None else f", {limit.room_m3:.3f} m3 above the mark below"
        yield f"  {limit.condition:<13} {limit.at_m:7.3f} m {volume}{room}"
    for rate in tank.rates:
        yield f"  {rate}"
    yield from (f"  {text}" for text in tank.damped)
    if tank.limits:
        other = tank.independent_high_high
        yield f"  alarms of the gauge are not independent{f'; {other} is' if other else ''}"
    if tank.watched:
        yield f"  watched too: {', '.join(tank.watched)}"
    if tank.budget is not None:
        budget = tank.budget
        available, needed = budget.available_s, budget.total_s
        yield f"  {available:.0f} s from high-high to critical high at the largest flow; needed {needed:.0f} s:"
        yield from (f"    {name} {seconds:g} s" for name, seconds in budget.parts if seconds)
    yield from stock_lines(tank.stock)
