"""A gateway of the farm as a source of registers: what `modbus.responder` asks, TCP and serial alike.

Knows which unit answers what; refuses to know frames and sockets. A dead unit is silent, a unit that does not exist
behind a gateway is exception 0B, an address that a unit does not have is exception 02.
"""

from collections.abc import Callable, Sequence

from modbus.errors import GATEWAY_TARGET_FAILED, ILLEGAL_DATA_ADDRESS, ModbusException
from simulator.chance import stream
from simulator.errors import SimulatorError
from simulator.farm import Farm


class GatewaySource:
    """The units behind one gateway. Before each answer the farm is moved on to what `clock_now_ms` says."""

    def __init__(self, farm: Farm, gateway: str, clock_now_ms: Callable[[], int]) -> None:
        found = [g for g in farm.layout.gateways if g.id == gateway]
        if not found:
            known = ", ".join(g.id for g in farm.layout.gateways)
            raise SimulatorError(f"the farm has no gateway {gateway!r}; it has {known}")
        self.layout = found[0]
        self._farm = farm
        self._units = {u.layout.unit: u for u in farm.units if u.layout.gateway == gateway}
        self._clock_now_ms = clock_now_ms
        self._chance = stream(farm.seed, gateway, "missed")

    def registers(self, unit: int, function: int, start: int, count: int) -> Sequence[int] | None:
        """The registers of a unit at this moment; None = silence. Raises `ModbusException` to refuse."""
        self._farm.advance(self._clock_now_ms())
        found = self._units.get(unit)
        if found is None:
            raise ModbusException(GATEWAY_TARGET_FAILED)
        if found.silent or self._chance.random() < self.layout.missed_frac:
            return None
        if found.refusal is not None:
            raise ModbusException(found.refusal)
        image = self._farm.answering(found).image()
        try:
            return [image[function, address] for address in range(start, start + count)]
        except KeyError:
            raise ModbusException(ILLEGAL_DATA_ADDRESS) from None
