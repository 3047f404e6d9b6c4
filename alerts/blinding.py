"""Which alarms of a tank a loop fault takes away while it lasts: those that its level could raise, and now cannot.

Pure table. A Bad level raises and clears nothing; above 20 mA the high side is still judged, as at or above 100 %.
"""

from collections.abc import Iterable, Mapping
from types import MappingProxyType
from typing import Final

from alerts.spec import CONCERN_CONDITIONS, LEVEL_HIGH_CONDITIONS, LEVEL_LOW_CONDITIONS, RATE_CONDITIONS, TankAlarms
from alerts.strands import FAIL_HIGH, FAIL_LOW, FROZEN, GAP_HIGH, GAP_LOW, NO_ANSWER, SATURATED

BY_THE_LEVEL: Final = frozenset((*CONCERN_CONDITIONS, "unordered_movement", "level_deviation"))
"""Conditions that are judged outside the engine by a level that can be trusted and is no bound. Those that come with an
order only (a receipt that fills another tank, or none) are not told of: mostly there is no order."""

ALL: Final = frozenset((*LEVEL_HIGH_CONDITIONS, *LEVEL_LOW_CONDITIONS, *RATE_CONDITIONS)) | BY_THE_LEVEL
RATES: Final = frozenset((*RATE_CONDITIONS, *CONCERN_CONDITIONS))

BLINDS: Final[Mapping[str, frozenset[str]]] = MappingProxyType(
    {
        FAIL_LOW: ALL,
        FAIL_HIGH: ALL,
        GAP_LOW: ALL,
        GAP_HIGH: ALL - set(LEVEL_HIGH_CONDITIONS),
        NO_ANSWER: ALL | {"high_level_switch"},
        "wrong_reply": ALL | {"high_level_switch"},
        FROZEN: ALL,
        SATURATED: RATES,  # at or beyond one end of the range: how fast it moves there is not seen
    }
)
"""Fault class to the conditions that cannot come. What stands not here is judged on a level that is known less well.

Source: domain practice of NE 43 in this house (docs/maintainers.md); no published table.
"""


def blinded(fault_class: str, tanks: Iterable[TankAlarms]) -> tuple[str, ...]:
    """Ids of the alarms that a fault of this class blinds on the tanks of its instrument, in the tanks' own order."""
    lost = BLINDS.get(fault_class, frozenset())
    return tuple(f"{tank.tank}.{limit.condition}" for tank in tanks for limit in tank.limits if limit.condition in lost)
