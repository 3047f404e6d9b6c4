"""The ways in which an instrument of the farm goes wrong, and what each does along the chain from float to wire.

Only says what happens where: `simulator.gauge` lets it happen, the programme or a test says when.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from simulator.errors import SimulatorError


class FaultKind(StrEnum):
    """Each kind changes one stage of the chain: the gauge's view, its loop, the registers, or the answer."""

    HELD = "held"  # the gauge lost its echo and holds the level; the loop's own noise stays
    ECHO = "echo"  # a false echo lifts the level at once, past all damping; value: by how many m
    DRIFT = "drift"  # the level is off by ever more; value: m per hour
    FAIL_LOW = "fail_low"  # the gauge reports failure downwards; value: mA
    FAIL_HIGH = "fail_high"  # the gauge reports failure upwards; value: mA
    GAP_LOW = "gap_low"  # neither measurement nor failure, below; value: mA
    GAP_HIGH = "gap_high"  # neither measurement nor failure, above; value: mA
    OPEN_LOOP = "open_loop"  # broken wire: 0 mA; a loop-powered indicator falls silent with it
    SATURATED = "saturated"  # pinned at the end of the measuring range, flat; value: mA
    CEILING = "ceiling"  # a starved loop: true below, flat above; value: mA
    OFFSET = "offset"  # leakage in a junction box adds or takes current; value: mA
    NOISY = "noisy"  # value: standard deviation in mA
    FROZEN = "frozen"  # the registers keep their last bits
    SILENT = "silent"  # the unit does not answer
    EXCEPTION = "exception"  # the unit answers with exception 04
    SUPPLY_LOST = "supply_lost"  # the fuse or the supply is gone: 0 mA and 0 V; a loop-powered indicator falls silent
    SHORT = "short"  # the cable is shorted before the receiver: the limiter's current flows; value: mA
    BYPASSED = "bypassed"  # the receiver is shorted out: the field still shows the current, the panel 0
    STARVED = "starved"  # supply and resistance allow no more: flat above, and it moves with the heater; value: ohm
    RESETTING = "resetting"  # the gauge browns out and starts anew, over and over; value: s
    LEAK = "leak"  # water in a junction box, by the damp of the night; value: mA at its wettest
    INTERFERENCE = "interference"  # ripple of the mains, folded by the sampling; value: amplitude in mA
    SURGE = "surge"  # a lasting step after lightning, with a bent scale and more noise; value: mA
    FOULED = "fouled"  # the window is wet or dirty towards dawn: no echo or a near one; value: how often (0 to 1)
    HEATER_DEAD = "heater_dead"  # the same because the window's heater draws no current; value: how often (0 to 1)
    ZERO_SHIFT = "zero_shift"  # the gauge was moved or set wrongly; value: m
    SPAN_ERROR = "span_error"  # the scale is wrong; value: part of the distance from the 4 mA level
    WRONG_UNIT = "wrong_unit"  # another unit of the gateway answers in its place; value: that unit


DEFAULT_VALUE: Final = {
    FaultKind.ECHO: 1.5,
    FaultKind.DRIFT: 0.05,
    FaultKind.FAIL_LOW: 3.5,
    FaultKind.FAIL_HIGH: 21.6,
    FaultKind.GAP_LOW: 3.7,
    FaultKind.GAP_HIGH: 20.8,
    FaultKind.OPEN_LOOP: 0.0,
    FaultKind.SATURATED: 20.5,
    FaultKind.CEILING: 12.0,
    FaultKind.OFFSET: -0.8,
    FaultKind.NOISY: 0.15,
    FaultKind.SHORT: 27.0,
    FaultKind.STARVED: 1000.0,
    FaultKind.RESETTING: 45.0,
    FaultKind.LEAK: -0.8,
    FaultKind.INTERFERENCE: 0.12,
    FaultKind.SURGE: 0.6,
    FaultKind.FOULED: 0.5,
    FaultKind.HEATER_DEAD: 0.5,
    FaultKind.ZERO_SHIFT: 0.02,
    FaultKind.SPAN_ERROR: 0.004,
    FaultKind.WRONG_UNIT: 1.0,
}
"""What a fault measures unless told otherwise; kinds that are not listed take no value."""

OVERRIDING: Final = frozenset(
    {
        FaultKind.FAIL_LOW,
        FaultKind.FAIL_HIGH,
        FaultKind.GAP_LOW,
        FaultKind.GAP_HIGH,
        FaultKind.OPEN_LOOP,
        FaultKind.SATURATED,
        FaultKind.SUPPLY_LOST,
        FaultKind.SHORT,
        FaultKind.BYPASSED,
    }
)
"""Kinds that say themselves what arrives at the panel."""

DEAD: Final = (FaultKind.OPEN_LOOP, FaultKind.SUPPLY_LOST, FaultKind.BYPASSED)
"""Nothing arrives at the panel; they outrank whatever the gauge wants to say."""


@dataclass(frozen=True, slots=True)
class Fault:
    """One fault of one instrument from a moment on, until another (None = until it is cleared)."""

    instrument: str
    kind: FaultKind
    value: float
    start_ms: int
    end_ms: int | None = None

    def stands(self, time_ms: int) -> bool:
        return self.start_ms <= time_ms and (self.end_ms is None or time_ms < self.end_ms)


def fault(instrument: str, kind: str, value: float | None, start_ms: int, end_ms: int | None) -> Fault:
    """A checked fault. Raises `SimulatorError` for a kind that does not exist or a value that it does not take."""
    try:
        known = FaultKind(kind)
    except ValueError:
        kinds = ", ".join(FaultKind)
        raise SimulatorError(f"{instrument}: there is no fault kind {kind!r}; take one of {kinds}") from None
    if value is not None and known not in DEFAULT_VALUE:
        raise SimulatorError(f"{instrument}: a fault of kind {known} takes no value, got {value:g}")
    if end_ms is not None and end_ms <= start_ms:
        raise SimulatorError(f"{instrument}: fault {known} ends before it begins; give a duration above 0 s")
    return Fault(instrument, known, DEFAULT_VALUE.get(known, 0.0) if value is None else value, start_ms, end_ms)


class FaultBook:
    """The faults of one instrument: those that stand now by kind, and when that changes next."""

    __slots__ = ("_faults", "next_ms", "now")

    def __init__(self) -> None:
        self._faults: list[Fault] = []
        self.now: dict[FaultKind, Fault] = {}
        self.next_ms: int | None = None

    def add(self, fault: Fault, time_ms: int) -> None:
        self._faults.append(fault)
        self.turn_to(time_ms)

    def clear(self, time_ms: int) -> None:
        """End whatever stands and forget whatever is still to come."""
        self._faults.clear()
        self.turn_to(time_ms)

    def turn_to(self, time_ms: int) -> None:
        """Say anew what stands at a moment. Where two of one kind meet, the later entry counts."""
        self._faults = [f for f in self._faults if f.end_ms is None or f.end_ms > time_ms]
        self.now = {f.kind: f for f in self._faults if f.stands(time_ms)}
        self.next_ms = min(_changes(self._faults, time_ms), default=None)

    def override_mA(self) -> tuple[FaultKind, float] | None:
        """The current that a fault forces on the panel; a dead loop outranks whatever the gauge wants to say."""
        forced = [f for kind, f in self.now.items() if kind in OVERRIDING]
        if not forced:
            return None
        first = next((f for f in forced if f.kind in DEAD), forced[-1])
        return first.kind, first.value


def _changes(faults: Iterable[Fault], time_ms: int) -> Iterable[int]:
    for one in faults:
        if one.start_ms > time_ms:
            yield one.start_ms
        if one.end_ms is not None and one.end_ms > time_ms:
            yield one.end_ms
