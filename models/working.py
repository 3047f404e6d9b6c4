"""Working figures: what can be drawn, what cannot, how much still fits, and how long until a limit is reached.

Pure arithmetic on a capacity table; which rule sets the safe fill is the site's choice, and each result names its rule.
"""

from dataclasses import dataclass
from typing import Final, NamedTuple

from models.capacity import CapacityTable
from models.errors import OutOfRange

LEAST_STOP_S: Final = 120.0
"""Least stop time of the stop-time rule. Source: New Hampshire Env-Or 302.04 (2 minutes, or longer if it takes so)."""


class SafeFill(NamedTuple):
    """The highest level that a tank may be filled to, and the rule that says so."""

    level_m: float
    volume_m3: float
    rule: str


class Working(NamedTuple):
    """Volumes as observed, in m3. usable: above the suction; dead: below it, water included."""

    usable_m3: float
    dead_m3: float
    suction_m: float


class TimeTo(NamedTuple):
    """Seconds to a limit: at the rate as it is, at its fast side and at its slow side. None: at that rate, never."""

    expected_s: float | None
    earliest_s: float | None
    latest_s: float | None


@dataclass(frozen=True, slots=True)
class ResponseTimeRule:
    """High-high lies below critical high by what the fastest receipt brings in during the response time.

    Source: the form of API 2350 (levels of concern; secondary), with the site's own rate and time.
    """

    critical_high_m: float
    largest_rate_m3_per_s: float
    response_s: float

    def safe_fill(self, table: CapacityTable) -> SafeFill:
        volume = table.volume_m3(self.critical_high_m) - self.largest_rate_m3_per_s * self.response_s
        rule = (
            f"critical high {self.critical_high_m:g} m less {3600 * self.largest_rate_m3_per_s:g} m3/h for "
            f"{self.response_s:g} s of response, API 2350 form"
        )
        return _filled(table, volume, rule)


@dataclass(frozen=True, slots=True)
class StopTimeRule:
    """Capacity less what runs in until the flow has stopped. Source: New Hampshire Env-Or 302.04."""

    largest_rate_m3_per_s: float
    stop_s: float

    def safe_fill(self, table: CapacityTable) -> SafeFill:
        stop = max(self.stop_s, LEAST_STOP_S)
        rule = f"capacity less {3600 * self.largest_rate_m3_per_s:g} m3/h for {stop:g} s, as Env-Or 302.04"
        return _filled(table, table.capacity_m3 - self.largest_rate_m3_per_s * stop, rule)


@dataclass(frozen=True, slots=True)
class PercentRule:
    """A part of capacity (90 %: API RP 1525 7.1.4; never above 95 %: IFC 5704.2.9.7.5); the site names its source."""

    percent_of_volume: float
    source: str

    def safe_fill(self, table: CapacityTable) -> SafeFill:
        if not 0 < self.percent_of_volume <= 100:
            raise OutOfRange(f"safe fill {self.percent_of_volume:g} % of volume; allowed above 0 to 100 %")
        rule = f"{self.percent_of_volume:g} % of volume, {self.source}"
        return _filled(table, table.capacity_m3 * self.percent_of_volume / 100, rule)


SafeFillRule = ResponseTimeRule | StopTimeRule | PercentRule


def _filled(table: CapacityTable, volume: float, rule: str) -> SafeFill:
    if not volume > table.volumes_m3[0]:
        raise OutOfRange(f"no safe fill is left: {rule} comes to {volume:.3f} m3; lower the rate or the time")
    return SafeFill(table.levels_of(volume).low_m, volume, rule)


def working(table: CapacityTable, innage_m: float, suction_m: float, water_m: float = 0.0) -> Working:
    """Usable stock above the lowest suction, and dead stock under it, in m3 as observed.

    What lies under the suction is stock but cannot be issued; water above the suction makes nothing usable there.
    """
    if not 0 <= water_m <= innage_m:
        raise OutOfRange(f"water innage {water_m:.4f} m; allowed 0 to the product's innage {innage_m:.4f} m")
    held = table.volume_m3(innage_m)
    floor = max(suction_m, water_m)
    usable = held - table.volume_m3(floor) if innage_m > floor else 0.0
    return Working(usable, held - usable, suction_m)


def room_m3(table: CapacityTable, innage_m: float, limit_m: float) -> float:
    """Volume that fits below a level of concern; negative when the level is above it already."""
    return table.volume_m3(limit_m) - table.volume_m3(innage_m)


def time_to(distance_m3: float, approach_m3_per_s: float, sd_m3_per_s: float = 0.0, coverage: float = 2.0) -> TimeTo:
    """Time until a limit is reached that is distance_m3 away, at a rate counted positive towards it.

    A receipt approaches a high limit, an issue a low one; the caller turns the sign. earliest and latest take the rate
    at +- coverage x its standard deviation. All three are 0 where the limit is reached already.
    """
    if sd_m3_per_s < 0:
        raise OutOfRange(f"standard deviation of the rate {sd_m3_per_s:g} m3/s is negative")
    if distance_m3 <= 0:
        return TimeTo(0.0, 0.0, 0.0)
    spread = coverage * sd_m3_per_s

    def at(rate: float) -> float | None:
        return distance_m3 / rate if rate > 0 else None

    return TimeTo(at(approach_m3_per_s), at(approach_m3_per_s + spread), at(approach_m3_per_s - spread))


def time_to_high(
    table: CapacityTable, innage_m: float, limit_m: float, rate_m3_per_s: float, sd_m3_per_s: float = 0.0
) -> TimeTo:
    """Time until a filling tank reaches a level; the rate is positive when it fills."""
    return time_to(room_m3(table, innage_m, limit_m), rate_m3_per_s, sd_m3_per_s)


def time_to_low(
    table: CapacityTable, innage_m: float, limit_m: float, rate_m3_per_s: float, sd_m3_per_s: float = 0.0
) -> TimeTo:
    """Time until an emptying tank falls to a level; the rate is negative when it empties."""
    return time_to(-room_m3(table, innage_m, limit_m), -rate_m3_per_s, sd_m3_per_s)
