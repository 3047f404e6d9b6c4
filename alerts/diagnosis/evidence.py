"""What a diagnosis is made of: the trace around a fault, and what is known around it. Plain values, nothing else.

Knows no cause and no instrument; whoever has a fault trace, a store or a site file turns them into these.
"""

from collections.abc import Mapping, Sequence
from types import MappingProxyType
from typing import Final, NamedTuple

HEATER_CURRENT: Final = "heater_current"
SUPPLY_VOLTAGE: Final = "supply_voltage"
FIELD_CURRENT: Final = "field_current"
HUMIDITY: Final = "humidity"
AMBIENT: Final = "ambient_temperature"
AROUND: Final = (HEATER_CURRENT, SUPPLY_VOLTAGE, FIELD_CURRENT, HUMIDITY, AMBIENT)
"""Roles of signals around a loop, in mA, V, mA, % and degC. field_current: measured at the transmitter itself."""


class TraceRow(NamedTuple):
    """One poll. outcome: `ok`, `timeout`, `wrong-reply`, `exception-02`; current and level None = not told."""

    elapsed_ms: int
    time_ms: int
    current_mA: float | None
    level_m: float | None
    outcome: str = "ok"


class Seen(NamedTuple):
    """A value of a signal around the loop."""

    time_ms: int
    value: float


class Slow(NamedTuple):
    """Some minutes of the loop. hour: the site's own, 0 to 24. low, mean, high: over the samples that measured."""

    time_ms: int
    hour: float
    low_mA: float
    mean_mA: float
    high_mA: float


class Earlier(NamedTuple):
    """A fault of the same loop before (or after) this one. hour: the site's own at its start."""

    start_ms: int
    end_ms: int | None
    fault_class: str
    hour: float


class DipRow(NamedTuple):
    """A dip by hand and what the gauge told at that time, both innages."""

    time_ms: int
    dip_m: float
    gauge_m: float


class Span(NamedTuple):
    """The loop's range, as innages at 4 and at 20 mA."""

    at_4mA_m: float
    at_20mA_m: float

    def mA_of(self, level_m: float) -> float:
        return 4 + 16 * (level_m - self.at_4mA_m) / (self.at_20mA_m - self.at_4mA_m)

    @property
    def mA_per_m(self) -> float:
        return 16 / (self.at_20mA_m - self.at_4mA_m)


NOBODY: Final[Mapping[str, Sequence[Seen]]] = MappingProxyType({})


class Surroundings(NamedTuple):
    """What is known around a loop; empty or None = not wired, not known.

    loop_powered: the indicator lives on the loop's own current. step_mA: step of the current's register, None for a
    float. noise_mA, floor_mA: the loop's usual and its lowest noise.
    blocking_mA: the current at the highest level that the gauge can see.
    metered_mA_per_min: how fast the current should rise by what meters (or other tanks) tell. around: signals by role.
    others: currents of other instruments of the same bus. failing_together, healthy_together: loops of the same supply
    that fail, or measure, at the same time.
    silent_together: other units of the same bus that do not answer either.
    """

    loop_powered: bool = False
    span: Span | None = None
    step_mA: float | None = None
    noise_mA: float | None = None
    floor_mA: float | None = None
    blocking_mA: float | None = None
    metered_mA_per_min: Sequence[Seen] | None = None
    around: Mapping[str, Sequence[Seen]] = NOBODY
    others: Mapping[str, Sequence[Seen]] = NOBODY
    failing_together: Sequence[str] = ()
    healthy_together: Sequence[str] = ()
    silent_together: Sequence[str] = ()
    slow: Sequence[Slow] = ()
    earlier: Sequence[Earlier] = ()
    dips: Sequence[DipRow] = ()
    hour: float | None = None


class Question(NamedTuple):
    """One loop, one moment. start_ms: when the fault began, or what somebody points at; end_ms None = goes on."""

    rows: Sequence[TraceRow]
    start_ms: int
    end_ms: int | None
    fault_class: str
    known: Surroundings
