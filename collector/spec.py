"""What the collector is told to ask: buses and the instruments on them."""

from dataclasses import dataclass
from enum import StrEnum

from modbus.signals import RegisterSignal


class BusKind(StrEnum):
    TCP = "tcp"
    RTU = "rtu"
    RTU_OVER_TCP = "rtu-over-tcp"


@dataclass(frozen=True, slots=True)
class InstrumentSpec:
    """One unit on a bus and the signals wanted of it.

    bridge: how many unwanted registers a request may read over to join two wanted stretches (0 = never: some
    instruments answer a hole with an exception). longest: the most registers that it answers at once, 0 = as many as
    the protocol allows.
    """

    id: str
    unit: int
    signals: tuple[RegisterSignal, ...]
    bridge: int = 0
    longest: int = 0


@dataclass(frozen=True, slots=True)
class BusSpec:
    """One line or gateway. `period_ms` is on the site's clock; `timeout_ms` on the wire's (real time)."""

    id: str
    kind: BusKind
    instruments: tuple[InstrumentSpec, ...]
    host: str = ""
    port: int = 502
    device: str = ""
    baud: int = 9600
    parity: str = "E"
    stop_bits: int = 1
    period_ms: int = 1000
    timeout_ms: int = 500
