"""Who judges the conditions that the alarm engine does not: each tick's Samples and readings in, what is known out.

Knows which signal speaks of which condition; the deadbands and delays are the engine's. No clock: time comes with the
tick. A site without such conditions has no watcher and pays nothing.
"""

from collections.abc import Iterable, Iterator, Sequence
from typing import Final, NamedTuple, Protocol

from alerts.conditions import TankFacts
from alerts.watched import Told
from gaugehouse.concernwatch import concern_of
from gaugehouse.plans import RECEIPT, Ended, Plans
from gaugehouse.site import PointSpec, Site
from gaugehouse.statusroom import StatusRoom
from gaugehouse.statuswatch import StatusWatch
from gaugehouse.tankwatch import (
    CondensationWatch,
    DeviationWatch,
    Newest,
    NewestSample,
    PlanWatch,
    StillnessWatch,
    TemperatureWatch,
    WaterWatch,
)
from models.reading import BAD, Instant, Sample

SWITCH: Final = "high_level_switch"
_PER_HOUR: Final = 3600.0


class TankWatcher(Protocol):
    """Judges something of one tank by what each tick says of it."""

    def tell(self, at: Instant, facts: TankFacts) -> Iterable[Told]: ...


class Seen(NamedTuple):
    """What one tick says: of conditions, and which plans it brought to their end."""

    told: Sequence[Told]
    ended: Sequence[Ended]


NOTHING_SEEN: Final = Seen((), ())


class Watchers:
    """Everything that watches something in a site."""

    def __init__(self, site: Site, plans: Plans, newest: Newest, sample_of: NewestSample, status: StatusRoom) -> None:
        self._switches: dict[str, list[PointSpec]] = {}
        for point in site.points:
            if point.role == SWITCH:
                self._switches.setdefault(point.source.instrument, []).append(point)
        found = {tank.id: list(_watchers(site, tank.id, plans, newest, sample_of)) for tank in site.tanks}
        for tank, watchers in found.items():
            if status.get(tank) is not None:
                watchers.append(StatusWatch(tank, status))
        self._tanks: dict[str, list[TankWatcher]] = {tank: watchers for tank, watchers in found.items() if watchers}
        self._plans = plans
        self._planned = {tank.id: PlanWatch(tank.id, plans) for tank in site.tanks}
        self._planning = False
        self._idle = not (self._switches or self._tanks)

    def tell(self, at: Instant, samples: Sequence[Sample], facts: Sequence[TankFacts]) -> Seen:
        """What this tick says."""
        if self._idle and not (self._plans or self._planning):
            return NOTHING_SEEN
        told: list[Told] = []
        ended: list[Ended] = []
        if self._tanks:
            for fact in facts:
                for watcher in self._tanks.get(fact.reading.tank, ()):
                    told += watcher.tell(at, fact)
        if self._plans or self._planning:
            for fact in facts:
                over = self._follow(at, fact)
                ended += () if over is None else (over,)
            self._planning = bool(self._plans)
            tell_of = self._planned if not self._planning else [fact.reading.tank for fact in facts]
            by_tank = {fact.reading.tank: fact for fact in facts}
            for tank in tell_of:
                told += self._planned[tank].tell(at, by_tank.get(tank))
        if self._switches:
            for sample in samples:
                if sample.instrument in self._switches:
                    told += self._switched(sample)
        return Seen(told, ended)

    def _follow(self, at: Instant, fact: TankFacts) -> Ended | None:
        reading = fact.reading
        plan = self._plans.get(reading.tank)
        if plan is None or reading.quality is BAD:
            return None
        rate = (reading.rate_m3_per_h or 0.0) / _PER_HOUR
        moving = fact.receiving if plan.kind == RECEIPT else rate < -3 * (reading.rate_sd_m3_per_h or 0.0) / _PER_HOUR
        return self._plans.follow(at, reading.tank, reading.tov_m3, rate if moving else 0.0)

    def _switched(self, sample: Sample) -> Iterator[Told]:
        """A switch that does not answer says nothing: that is a fault of its instrument, with an alarm of its own."""
        for point in self._switches[sample.instrument]:
            value = sample.values.get(point.source.signal)
            on = None if value is None else (value != 0) == bool(point.alarm_when)
            yield Told(point.id, SWITCH, None, on)


def _watchers(site: Site, tank: str, plans: Plans, newest: Newest, sample_of: NewestSample) -> Iterator[TankWatcher]:
    """The watchers that a tank's keys ask for."""
    concern = concern_of(site, tank)
    if concern is not None:
        yield concern
    watch = site.watches[tank]
    limits = site.watched_limits(tank)
    if "water_high" in limits or "water_rising" in limits:
        yield WaterWatch(tank, watch)
    temperatures = tuple(name for name in ("temperature_high", "temperature_low") if name in limits)
    if temperatures:
        yield TemperatureWatch(tank, temperatures)
    if "condensation_risk" in limits:
        yield CondensationWatch(tank, _points_of(site, tank), newest)
    if watch.second is not None:
        yield DeviationWatch(tank, watch.second, sample_of)
    if "unordered_movement" in limits:
        yield StillnessWatch(site, tank, watch, limits["unordered_movement"].at, plans)


def _points_of(site: Site, tank: str) -> dict[str, PointSpec]:
    """Points by role: those that speak of this tank, else those that speak of none."""
    found = {point.role: point for point in reversed(site.points) if point.tank is None}
    return found | {point.role: point for point in reversed(site.points) if point.tank == tank}
