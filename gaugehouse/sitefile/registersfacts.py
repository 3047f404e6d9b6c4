"""The register server as the site file describes it: an immutable value for the wiring."""

import ipaddress
import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

from gaugehouse.sitefile.registersschema import RegisterServerTable

Network = ipaddress.IPv4Network | ipaddress.IPv6Network

MOST_TANKS: Final = 1308
"""So many blocks have addresses of 16 bits; a test holds it against the map."""
LARGEST: Final = 3.4e38
"""A bad value must be a number that 32 bits can hold (IEEE 754 binary32)."""


@dataclass(frozen=True, slots=True)
class RegisterServerSpec:
    """Figures as Modbus registers for a control room.

    allow: networks that may ask. tanks: their order in the map. bad_value: what a figure that is not known reads as
    (NaN, or a number far outside of what it can be).
    """

    host: str
    port: int
    unit: int
    allow: tuple[Network, ...]
    tanks: tuple[str, ...]
    high_first: bool
    bad_value: float


def networks_of(words: list[str]) -> tuple[Network, ...]:
    """Raises ValueError for what is no address and no network."""
    return tuple(ipaddress.ip_network(word) for word in words)


def bad_value_of(word: str) -> float:
    """Raises ValueError for what is neither "NaN" nor a number that a float32 holds."""
    value = float(word)
    if not math.isnan(value) and abs(value) > LARGEST:
        raise ValueError(word)
    return value


def register_server_of(table: RegisterServerTable, tanks: list[str]) -> RegisterServerSpec:
    """The spec of a table without mistakes; `tanks`: all of the site, in the file's order."""
    order = tuple(tanks if table.tanks is None else table.tanks)
    high_first = table.word_order == "high first"
    bad = bad_value_of(table.bad_value)
    return RegisterServerSpec(table.host, table.port, table.unit, networks_of(table.allow), order, high_first, bad)


def settings_of_registers(spec: RegisterServerSpec) -> Mapping[str, Any]:
    """What is compared and journaled."""
    told: dict[str, Any] = {name: getattr(spec, name) for name in spec.__slots__}
    allow = [str(network) for network in spec.allow]
    return told | {"allow": allow, "tanks": list(spec.tanks), "bad_value": f"{spec.bad_value:g}"}
