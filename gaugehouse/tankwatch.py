"""What is watched at one tank beside its limits: water, temperature, condensation, a second gauge, stillness, plans.

Each watcher takes what a tick says of its tank and tells what is known of its conditions; deadbands and delays are the
alarm engine's. No clock, no I/O: what belongs to other instruments is asked for by the functions that are handed in.
"""

from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from typing import Final
from zoneinfo import ZoneInfo

from alerts.conditions import TankFacts
from alerts.still import StillWatch
from alerts.watched import Told
from gaugehouse.plans import RECEIPT, Plans
from gaugehouse.site import PointSpec, Site
from gaugehouse.sitefile.facts import TankWatch
from models.bins import Bins
from models.errors import OutOfRange
from models.gauging import Extra
from models.moistair import dew_point_degC
from models.reading import BAD, EXACT, Instant, Sample
from models.tank import Linear, Tank

Newest = Callable[[Linear | None, int], Extra]
NewestSample = Callable[[str], Sample | None]

POINT_AGE_MS: Final = 600_000
"""A point that was not read for longer says nothing."""

SECOND_AGE_MS: Final = 30_000
"""The other gauge's reading must be as young as this to be compared: at 100 mm/min that is 50 mm, which the on-delay
of the alarm has to bear too."""

WATER_BINS: Final = 144


class WaterWatch:
    """Free water: how high it is, and how much it has risen within the window."""

    def __init__(self, tank: str, watch: TankWatch) -> None:
        self._tank = tank
        self._high = watch.limit("water_high") is not None
        self._rising = watch.limit("water_rising") is not None
        self._bins = Bins(max(1, watch.water_over_ms // WATER_BINS), WATER_BINS)

    def tell(self, at: Instant, facts: TankFacts) -> Iterator[Told]:
        water_m = facts.reading.water_m
        if self._high:
            yield Told(self._tank, "water_high", water_m)
        if not self._rising or water_m is None:
            return
        if self._bins.add(at.elapsed_ms, water_m):
            means = [mean.value for mean in self._bins.means]
            yield Told(self._tank, "water_rising", means[-1] - min(means))


class TemperatureWatch:
    """The product's temperature."""

    def __init__(self, tank: str, conditions: tuple[str, ...]) -> None:
        self._tank, self._conditions = tank, conditions

    def tell(self, at: Instant, facts: TankFacts) -> Iterator[Told]:
        for condition in self._conditions:
            yield Told(self._tank, condition, facts.reading.temperature_degC)


class CondensationWatch:
    """How far the coldest surface of the gauge or the shell is above the dew point of the air about it."""

    def __init__(self, tank: str, points: dict[str, PointSpec], newest: Newest) -> None:
        self._tank, self._points, self._newest = tank, points, newest

    def _value(self, role: str) -> float | None:
        point = self._points.get(role)
        return None if point is None else self._newest(point.source, POINT_AGE_MS).value

    def _dew_point(self) -> float | None:
        told, air, humidity = self._value("dew_point"), self._value("ambient_temperature"), self._value("humidity")
        if told is not None or air is None or humidity is None:
            return told
        try:
            return dew_point_degC(air, humidity)
        except OutOfRange:  # a sensor that says 120 % or perfectly dry: nothing is known
            return None

    def tell(self, at: Instant, facts: TankFacts) -> Iterator[Told]:
        surfaces = [self._value(role) for role in ("window_temperature", "shell_temperature")]
        known = [surface for surface in surfaces if surface is not None]
        dew = self._dew_point()
        margin = min(known) - dew if known and dew is not None else None
        yield Told(self._tank, "condensation_risk", margin)


class DeviationWatch:
    """The tank as two gauges see it."""

    def __init__(self, tank: str, second: Tank, sample_of: NewestSample) -> None:
        self._tank, self._second, self._sample_of = tank, second, sample_of

    def tell(self, at: Instant, facts: TankFacts) -> Iterator[Told]:
        reading = facts.reading
        level_m = None if reading.quality is BAD or reading.bound is not EXACT else reading.level_m
        other = self._sample_of(self._second.instrument)
        if level_m is None or other is None or at.time_ms - other.time_ms > SECOND_AGE_MS:
            yield Told(self._tank, "level_deviation")
            return
        found = self._second.measure(other)
        known = found.quality is not BAD and found.bound is EXACT and found.level_m is not None
        yield Told(self._tank, "level_deviation", abs(level_m - found.level_m) if known else None)  # type: ignore[operator]  # known says so


class StillnessWatch:
    """A tank that should be still: movements that nobody ordered, with the day's warming taken out.

    The volume is all that is in the tank, brought to the reference temperature. While the temperature is away the last
    correction stands in for it, so that a lost probe is no movement.
    """

    def __init__(self, site: Site, tank: str, watch: TankWatch, at_m: float, plans: Plans) -> None:
        self._tank, self._table, self._at_m, self._plans = tank, site.tank(tank).table, at_m, plans
        self._hours, self._zone = watch.still_hours, ZoneInfo(site.zone)
        self._settle_ms = watch.settle_ms
        self._still = StillWatch(watch.movement_over_ms)
        self._ratio = 1.0

    def tell(self, at: Instant, facts: TankFacts) -> Iterator[Told]:
        reading, still = facts.reading, self._still
        if self._excused(at):
            still.excuse()
            yield Told(self._tank, "unordered_movement", None, False)
            return
        level_m, tov_m3 = reading.level_m, reading.tov_m3
        if reading.quality is BAD or level_m is None or tov_m3 is None or reading.bound is not EXACT:
            yield Told(self._tank, "unordered_movement")
            return
        if reading.gsv_m3 is not None and reading.gov_m3:
            self._ratio = reading.gsv_m3 / reading.gov_m3  # CTL: water and roof are left in, or their own jumps count
        if still.add(at.elapsed_ms, tov_m3 * self._ratio):
            still.judge(self._at_m * self._table.area_m2(level_m))
        yield Told(self._tank, "unordered_movement", still.moved_m3, still.moving)

    def _excused(self, at: Instant) -> bool:
        if self._plans.get(self._tank) is not None:
            return True
        over = self._plans.over_since(self._tank)
        if over is not None and at.elapsed_ms - over < self._settle_ms:
            return True
        return self._hours is not None and not self._hours.holds(_minute(at.time_ms, self._zone))


def _minute(time_ms: int, zone: ZoneInfo) -> int:
    local = datetime.fromtimestamp(time_ms / 1000, UTC).astimezone(zone)
    return 60 * local.hour + local.minute


class PlanWatch:
    """A planned receipt that does not arrive, and a tank that fills while another one was to."""

    def __init__(self, tank: str, plans: Plans) -> None:
        self._tank, self._plans = tank, plans

    def tell(self, at: Instant, facts: TankFacts | None) -> Iterator[Told]:
        """facts: None where this tick says nothing of the tank, and no plan is left."""
        plan = self._plans.get(self._tank)
        if facts is not None and facts.reading.quality is BAD:
            yield Told(self._tank, "no_rise")
            yield Told(self._tank, "wrong_tank")
            return
        if plan is not None and plan.kind == RECEIPT and not plan.begun:
            yield Told(self._tank, "no_rise", (at.elapsed_ms - plan.made_elapsed_ms) / 1000)
        else:
            yield Told(self._tank, "no_rise", None, False)
        elsewhere = plan is None and facts is not None and facts.receiving and self._plans.receives()
        yield Told(self._tank, "wrong_tank", None, elsewhere)
