"""The days before the demo: quieter ones than the day that it shows, each a little different, the same for a seed.

Knows what the farm does on a day; refuses to know who writes it down.
"""

from collections.abc import Mapping
from dataclasses import replace
from types import MappingProxyType
from typing import Final

from simulator.chance import stream
from simulator.demo.layout import DEMO, PROGRAMME
from simulator.faults import FaultKind
from simulator.layout import Act, FarmLayout, Planned, PlannedFault, Programme

DAYS: Final = 7
QUIET: Final = "ridge"
QUIET_DAYS: Final = 3
"""For so many days before the demo nothing moves in that tank: long enough for a leak test."""

DRAW_DAY: Final = 2
TWO_PUMPS_DAY: Final = 1

DRIFTS: Final = "palm_loop"
DRIFT_M_PER_H: Final = 5.0e-5
"""One gauge tells ever more than there is, 1.2 mm a day: only who dips sees it."""

TOP_M: Final = 11.70
OVER_M: Final = 11.88
"""Up to where North is filled: below its limit `high`, but on the last evening, when it runs into the demo, beyond."""

_FAULTS: Final[Mapping[int, PlannedFault]] = MappingProxyType(
    {
        1: PlannedFault(48, 25, "dune_loop", FaultKind.OPEN_LOOP),
        3: PlannedFault(300, 22, "finch_loop", FaultKind.FAIL_LOW, 3.5),
        4: PlannedFault(100, 24, "palm_loop", FaultKind.GAP_HIGH, 20.8),
        5: PlannedFault(660, 30, "north_gauge", FaultKind.SILENT),
    }
)
_LATE: Final = 1380
"""Minutes of a day; what begins later is left where it is, so that it runs into the next day as it should."""


def farm_before(seed: int, first: int = 0) -> FarmLayout:
    """The farm as it stands before its past: the demo's, with the first of these days, or a later one."""
    return replace(DEMO, programme=day_before(first, seed))


def day_before(day: int, seed: int) -> Programme:
    """The programme of a day of the past, 0 the first one."""
    chance = stream(seed, "past", str(day))
    movements = tuple(
        _varied(_filled_to(planned, day), 1 + chance.uniform(-0.14, 0.06), chance.uniform(-2.0, 2.0))
        for planned in PROGRAMME.movements
        if _happens(planned, day)
    )
    if day == DAYS - 1:
        movements += (
            Planned(1437, Act.ISSUE, "palm", 66, volume_m3=18),
            Planned(1436, Act.ISSUE, "dune", 7.2, volume_m3=0.9),
        )
    faults = (_FAULTS[day],) if day in _FAULTS else ()
    return Programme((), movements, faults, PROGRAMME.generator)


def _happens(planned: Planned, day: int) -> bool:
    touched = (planned.tank, planned.into)
    if day >= DAYS - QUIET_DAYS and QUIET in touched:
        return False
    if planned.act is Act.DRAW_WATER:
        return day == DRAW_DAY
    nobody_ordered_it = planned.tank == QUIET and planned.flow_m3_per_h < 10
    return planned.tank != "slop" and not nobody_ordered_it


def _varied(planned: Planned, times: float, later_min: float) -> Planned:
    if planned.minute > _LATE:
        return planned
    minute = planned.minute + later_min
    if planned.volume_m3 is not None and planned.act is Act.ISSUE:
        return replace(planned, minute=minute, volume_m3=round(planned.volume_m3 * times, 2))
    return replace(planned, minute=minute)


def _filled_to(planned: Planned, day: int) -> Planned:
    """A receipt of a day as the past has it: gently, and below the tank's limit."""
    if planned.act is not Act.RECEIVE:
        return planned
    if planned.tank == "north":
        return replace(planned, to_level_m=OVER_M if day == DAYS - 1 else TOP_M)
    if planned.flow_m3_per_h > 200 and day != TWO_PUMPS_DAY:
        return replace(planned, flow_m3_per_h=145)
    return planned
