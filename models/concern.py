"""Levels of concern of a tank and the time that they leave: worked out from the largest flow and the response time.

Source of the form: API 2350, 4th edition, by public articles about it (secondary; the standard was not at hand): the
response time is the rise from high-high to critical high, and critical high lies at least 5 minutes or 75 mm of fill
above the level below it, whichever is more. Working levels by an operator's time are the same arithmetic (common
practice, no source). The capacity table is asked for volumes, so that any shape counts as it is.
A help for thinking, not a safety calculation.
"""

import math
from typing import Final, NamedTuple

from models.capacity import CapacityTable
from models.errors import OutOfRange

LEAST_RESPONSE_S: Final = 300.0
LEAST_GAP_M: Final = 0.075
"""Source: API 2350, 4th edition, by a trade article (secondary): 5 minutes or 75 mm, whichever is more."""

GRAIN_M: Final = 0.0001
"""What a level that was worked out is set to: finer than any gauge tells."""


class Latency(NamedTuple):
    """What passes from the level reaching a limit to the flow standing still, in s, each part by its name.

    Source of the list: common practice, no source; a lag counts with its full time constant, which is how far behind a
    ramp it runs.
    """

    damping_s: float = 0.0
    refresh_s: float = 0.0
    poll_s: float = 0.0
    missed_poll_s: float = 0.0
    filter_s: float = 0.0
    on_delay_s: float = 0.0
    notification_s: float = 0.0
    reaction_s: float = 0.0
    valve_closing_s: float = 0.0
    run_on_s: float = 0.0

    @property
    def total_s(self) -> float:
        return sum(self)

    @property
    def unseen_s(self) -> float:
        """Until a person knows: everything before anybody can begin to act."""
        return sum(self[: self._fields.index("notification_s") + 1])

    def consumed_m(self, rise_m_per_s: float) -> float:
        """How far the level rises meanwhile, at a rate in m/s."""
        return rise_m_per_s * self.total_s


LATENCY_WORDS: Final = (
    "transmitter damping", "indicator refresh", "poll", "one missed poll", "filter", "on-delay", "notification",
    "reaction and travel", "valve closing", "line run-on",
)  # fmt: skip
"""The parts of a `Latency` in words, in its order."""


def critical_high(*ceilings_m: float | None) -> float:
    """The lowest of what a level must not pass: overflow, top of the table, reach of the gauge. None is not known."""
    known = [ceiling for ceiling in ceilings_m if ceiling is not None]
    if not known:
        raise OutOfRange("nothing says where the tank overflows; give critical_high")
    return min(known)


def high_high(table: CapacityTable, critical_high_m: float, largest_m3_per_s: float, response_s: float) -> float:
    """High-high innage in m: below critical high by the response time at the largest flow, and by the least gap.

    Raises `OutOfRange` where that leaves no level in the table.
    """
    room_m3 = largest_m3_per_s * max(response_s, LEAST_RESPONSE_S)
    return min(_below(table, critical_high_m, room_m3, "high-high"), critical_high_m - LEAST_GAP_M)


def maximum_working(table: CapacityTable, high_high_m: float, largest_m3_per_s: float, operator_s: float) -> float:
    """Maximum working innage in m: below high-high by what flows in until an operator has ended a receipt."""
    return _below(table, high_high_m, largest_m3_per_s * operator_s, "the maximum working level")


def minimum_working(table: CapacityTable, floor_m: float, largest_issue_m3_per_s: float, operator_s: float) -> float:
    """Minimum working innage in m: above the floor (low-low or suction) by what flows out until an issue has ended."""
    volume = table.volume_m3(floor_m) + largest_issue_m3_per_s * operator_s
    if volume > table.capacity_m3:
        raise OutOfRange(f"the minimum working level would be above the tank: {volume:.3f} m3; lower the rate or time")
    return table.levels_of(volume).high_m


def rise_s(table: CapacityTable, from_m: float, to_m: float, rate_m3_per_s: float) -> float:
    """Seconds for the level to rise between two innages at a flow."""
    return (table.volume_m3(to_m) - table.volume_m3(from_m)) / rate_m3_per_s


def _below(table: CapacityTable, level_m: float, room_m3: float, what: str) -> float:
    volume = table.volume_m3(level_m) - room_m3
    if not volume > table.volumes_m3[0]:
        raise OutOfRange(
            f"{what} would be below the tank: {room_m3:.3f} m3 flow in meanwhile and {level_m:g} m holds "
            f"{table.volume_m3(level_m):.3f} m3; lower the rate or the time"
        )
    return table.levels_of(volume).low_m


def set_down(level_m: float) -> float:
    """A worked-out level as it is set: down to a whole tenth of a millimetre."""
    return round(math.floor(level_m / GRAIN_M + 1e-6) * GRAIN_M, 6)
