"""Which conditions a site has that are judged outside the alarm engine, with their limits and delays.

Runs on a site without mistakes; decides nothing new. Who judges them is in `gaugehouse.watching`.
"""

from collections.abc import Iterator
from dataclasses import replace
from typing import Final, Protocol

from alerts.selfwatch import SYSTEM
from alerts.sheet import WATCH_DEFAULTS, WATCH_UNITS
from alerts.spec import Limit
from alerts.watched import Watched
from gaugehouse.sitefile.budget import budget_of
from gaugehouse.sitefile.facts import Site
from gaugehouse.sitefile.schema import TankTable

DEADBAND_FRAC: Final = 0.1
"""Of a limit that is a time or a rate: our own choice, as for the other rates."""


DEVIATION_DEADBAND_FRAC: Final = 0.25
WATER_DEADBAND_M: Final = 0.005
"""Of high water, and half of its limit where that is less: free water is never below nothing."""
NO_RISE_S: Final = 900.0
"""How long a planned receipt may take to begin: our own choice; the alarm sheet changes it."""

CONTENT_AND_MOVEMENT: Final = (
    "unordered_movement", "water_high", "water_rising", "temperature_high", "temperature_low", "condensation_risk",
)  # fmt: skip


def watched_of(site: Site) -> tuple[Watched, ...]:
    """Tanks, points, channels, instruments, each in the order of the site file, then the system itself."""
    tanks = (Watched(tank.id, tuple(_of_tank(site, tank.id))) for tank in site.tanks)
    points = (Watched(p.id, (_verdict("high_level_switch"),)) for p in site.points if p.role == "high_level_switch")
    channels = (Watched(c.policy.source, (_verdict("notification_failing"),)) for c in site.channels)
    checks = (Watched(loop.instrument, (_verdict("check_overdue"),)) for loop in site.loops)
    own = Watched(SYSTEM, tuple(_of_system(site)))
    return (*(tank for tank in tanks if tank.limits), *points, *channels, *checks, own)


def _of_system(site: Site) -> Iterator[Limit]:
    rules = site.system
    yield _limit("store_late", rules.store_late_s, DEADBAND_FRAC * rules.store_late_s)
    if site.mqtt is not None:
        yield _limit("publisher_late", rules.publisher_late_s, DEADBAND_FRAC * rules.publisher_late_s)
    yield _limit("disk_filling", rules.disk_used_percent, 1.0)
    yield _verdict("clock_wrong")
    yield _verdict("store_damaged")
    yield _verdict("check_overdue")


def _of_tank(site: Site, tank: str) -> Iterator[Limit]:
    budget, response = budget_of(site, tank), site.extras[tank].response
    if budget is not None and response is not None:
        yield _limit("response_short", budget.available_s, DEADBAND_FRAC * budget.available_s)
        rate = response.max_fill_m3_per_s
        yield _limit("fill_rate_high", rate, DEADBAND_FRAC * rate)
    yield _verdict("wrong_tank")
    yield _limit("no_rise", NO_RISE_S, 0.0)
    yield _verdict("receipt_divergence")
    if site.settling is not None:
        yield _verdict("issue_not_released")
        yield _verdict("receipt_with_issue")
    if tank in site.leak.tanks:
        yield _verdict("leak_suspected")
    yield from site.watches[tank].limits


def watch_limits(table: TankTable) -> Iterator[Limit]:
    """The limits of `[tank.watch]` and `[tank.second_level]`, with the house's delays where none are given."""
    for name in CONTENT_AND_MOVEMENT:
        given = getattr(table.watch, name, None)
        if given is not None:
            own = getattr(given, "deadband", 0.0)
            yield _given(name, given, min(WATER_DEADBAND_M, given.at / 2) if own is None else own)
    second = table.second_level
    if second is not None:
        deadband = DEVIATION_DEADBAND_FRAC * second.at if second.deadband is None else second.deadband
        yield _given("level_deviation", second, deadband)


class Given(Protocol):
    """What the site file says of a watched condition."""

    at: float
    on_delay: int | None
    off_delay: int | None
    priority: int | None


def _given(condition: str, given: Given, deadband: float) -> Limit:
    house = _limit(condition, given.at, deadband)
    return replace(
        house,
        on_delay_ms=house.on_delay_ms if given.on_delay is None else given.on_delay,
        off_delay_ms=house.off_delay_ms if given.off_delay is None else given.off_delay,
        priority=given.priority or house.priority,
    )


def _verdict(condition: str) -> Limit:
    """A condition that is there or not: what it is judged by is no single value."""
    return _limit(condition, 1.0, 0.0)


def _limit(condition: str, at: float, deadband: float) -> Limit:
    house, per = WATCH_DEFAULTS[condition], WATCH_UNITS[condition]
    at, deadband = _plain(at, per), _plain(deadband, per)
    return Limit(condition, at, deadband, house.on_delay_ms, house.off_delay_ms, house.priority, per)


def _plain(value: float, unit: str) -> float:
    """A value that a sheet can print so that it reads back to the same: a time in whole milliseconds."""
    return round(value, 3) if unit == "s" else float(f"{value:.12g}")
