"""What the house remembers for the water of its tanks: drain checks, when fuel last moved, and the air of each day.

A Room of the core. Every check that was ever made is in the record book; here are the newest ones of each tank, for the
next due one. The air's extremes are kept by site day, since the store of readings knows tanks only. No I/O, no clock.
"""

from collections.abc import Mapping, Sequence
from typing import Any, Final, NamedTuple

from gaugehouse.act import Decision
from gaugehouse.days import Day, Days
from gaugehouse.movementrecords import MOVEMENT
from gaugehouse.site import Site
from inventory.draincheck import DrainCheck, DrainRules, DueDay, check_from, check_json, next_due
from inventory.movement import Stage
from models.moistair import vapour_density_kgpm3
from models.reading import Instant
from models.tank import Linear

KEPT: Final = 24
"""So many checks of a tank are at hand: enough to fall back on when the newest ones are withdrawn."""

AIR_DAYS: Final = 400
LOOK_MS: Final = 60_000
"""The air is looked at so often."""

COUNT: Final = "#count"
TANK: Final = "tank:"
MOVED: Final = "moved:"
AIR: Final = "air:"


class AirDay(NamedTuple):
    """The air of a site day: its extremes, and the most vapour that a cubic metre held (None: no humidity told)."""

    low_degC: float
    high_degC: float
    vapour_kgpm3: float | None


class AirPoints(NamedTuple):
    """Where the air outside is measured; None where it is not."""

    temperature: Linear | None
    humidity: Linear | None
    dew_point: Linear | None


class AirNow(NamedTuple):
    """What these points say now."""

    temperature_degC: float | None
    humidity_percent: float | None
    dew_point_degC: float | None


def air_points(site: Site) -> AirPoints:
    """A point that speaks of no tank comes before one that does."""
    found: list[Linear | None] = []
    for role in ("ambient_temperature", "humidity", "dew_point"):
        named = sorted((p for p in site.points if p.role == role), key=lambda point: point.tank is not None)
        found.append(named[0].source if named else None)
    return AirPoints(*found)


class WaterRoom:
    """See the file's own words. `points`: where the air is measured."""

    def __init__(self, site: Site) -> None:
        self.points = air_points(site)
        self.rules: DrainRules = site.water.drains
        self._days = Days(site.zone, site.day_starts_min)
        self._day: Day | None = None
        self._checks: dict[str, list[DrainCheck]] = {}
        self._moved: dict[str, int] = {}
        self._air: dict[str, AirDay] = {}
        self._count = 0
        self._looked_ms: int | None = None
        self._dirty: set[str] = set()

    # What the ticks tell

    def day_of(self, time_ms: int) -> Day:
        """The site day of a moment."""
        if self._day is None or not self._day.start_ms <= time_ms < self._day.end_ms:
            self._day = self._days.at(time_ms)
        return self._day

    def see_moved(self, at: Instant, decisions: Sequence[Decision]) -> None:
        """Movements that were told in this tick."""
        for decision in decisions:
            if decision.kind == MOVEMENT and decision.body["stage"] != Stage.WITHDRAWN.value:
                tank, end_ms = decision.body["tank"], decision.body["end_ms"]
                newest = at.time_ms if end_ms is None else int(end_ms)
                if newest > self._moved.get(tank, 0):
                    self._moved[tank] = newest
                    self._dirty.add(MOVED + tank)

    def looks(self, at: Instant) -> bool:
        """Whether the air is to be looked at in this tick."""
        if self.points.temperature is None:
            return False
        if self._looked_ms is not None and 0 <= at.elapsed_ms - self._looked_ms < LOOK_MS:
            return False
        self._looked_ms = at.elapsed_ms
        return True

    def see_air(self, at: Instant, air: AirNow) -> None:
        if air.temperature_degC is None:
            return
        date = self.day_of(at.time_ms).date
        vapour = _vapour(air)
        known = self._air.get(date)
        if known is None:
            now = AirDay(air.temperature_degC, air.temperature_degC, vapour)
            self._forget(date)
        else:
            now = AirDay(
                min(known.low_degC, air.temperature_degC),
                max(known.high_degC, air.temperature_degC),
                _most(known.vapour_kgpm3, vapour),
            )
        if now != known:
            self._air[date] = now
            self._dirty.add(AIR + date)

    def _forget(self, today: str) -> None:
        for date in sorted(self._air)[: max(0, len(self._air) + 1 - AIR_DAYS)]:
            if date < today:
                del self._air[date]
                self._dirty.add(AIR + date)

    # What people did

    def next_number(self) -> int:
        self._count += 1
        self._dirty.add(COUNT)
        return self._count

    def add(self, check: DrainCheck) -> None:
        kept = [*self._checks.get(check.tank, ()), check]
        kept.sort(key=lambda one: (one.day, one.number))
        self._checks[check.tank] = kept[-KEPT:]
        self._dirty.add(TANK + check.tank)

    def withdraw(self, number: int) -> DrainCheck | None:
        """Take a check away; None where none of that number is at hand."""
        for tank, kept in self._checks.items():
            for one in kept:
                if one.number == number:
                    kept.remove(one)
                    self._dirty.add(TANK + tank)
                    return one
        return None

    # What is asked

    def checks(self, tank: str) -> list[DrainCheck]:
        """The newest checks of a tank, done or not, oldest first."""
        return list(self._checks.get(tank, ()))

    def last_done(self, tank: str) -> DrainCheck | None:
        return next((one for one in reversed(self._checks.get(tank, ())) if one.done), None)

    def last_missed(self, tank: str) -> DrainCheck | None:
        """The newest check that somebody said was not done, where none was done since."""
        newest = next(reversed(self._checks.get(tank, ())), None)
        return None if newest is None or newest.done else newest

    def moved_ms(self, tank: str) -> int | None:
        """When fuel last moved in or out, as far as it is known."""
        return self._moved.get(tank)

    def works(self, tank: str, now_ms: int) -> bool:
        return self.rules.works(tank, self._moved.get(tank), now_ms)

    def next_due(self, tank: str, now_ms: int) -> DueDay:
        done = self.last_done(tank)
        return next_due(None if done is None else done.day, self.works(tank, now_ms), self.rules)

    def air(self) -> dict[str, AirDay]:
        """The air of each site day that is kept."""
        return dict(self._air)

    # The room

    def save(self, changed_only: bool) -> Mapping[str, Any]:
        if changed_only:
            names = sorted(self._dirty)
            self._dirty.clear()
        else:
            names = [COUNT, *(TANK + t for t in self._checks), *(MOVED + t for t in self._moved)]
            names += [AIR + date for date in self._air]
        return {name: self._saved(name) for name in names}

    def save_today(self) -> Mapping[str, Any]:
        """The newest day's air alone: what moves while nothing is decided."""
        newest = max(self._air, default=None)
        return {} if newest is None else {AIR + newest: self._saved(AIR + newest)}

    def _saved(self, name: str) -> Any:
        if name == COUNT:
            return self._count
        if name.startswith(TANK):
            return [check_json(check) for check in self._checks.get(name.removeprefix(TANK), ())]
        if name.startswith(MOVED):
            return self._moved.get(name.removeprefix(MOVED))
        day = self._air.get(name.removeprefix(AIR))
        return None if day is None else list(day)

    def restore(self, saved: Mapping[str, Any]) -> None:
        for name, state in saved.items():
            if name == COUNT:
                self._count = int(state)
            elif name.startswith(TANK):
                self._checks[name.removeprefix(TANK)] = [check_from(one) for one in state]
            elif name.startswith(MOVED):
                self._moved[name.removeprefix(MOVED)] = int(state)
            else:
                self._air[name.removeprefix(AIR)] = AirDay(*state)


def _vapour(air: AirNow) -> float | None:
    """Water in a cubic metre of this air; a humidity that is none (a sensor out of range) tells nothing."""
    if air.dew_point_degC is not None and -60 <= air.dew_point_degC <= 60:
        return vapour_density_kgpm3(air.dew_point_degC, 100.0)
    temperature, humidity = air.temperature_degC, air.humidity_percent
    if temperature is None or humidity is None or not (-60 <= temperature <= 60 and 0 <= humidity <= 105):
        return None
    return vapour_density_kgpm3(temperature, min(humidity, 100.0))


def _most(one: float | None, other: float | None) -> float | None:
    return other if one is None else one if other is None else max(one, other)
