"""All buses of a site, each in a task of its own, and single readings asked for in between."""

import asyncio
from collections.abc import Callable, Sequence

from collector.bus import Bus, Sink
from collector.clock import Clock
from collector.errors import CollectorError
from collector.health import BusHealth
from collector.line import Line, to_its_end
from collector.poll import Poller
from collector.rtu_line import RtuLine
from collector.spec import BusKind, BusSpec, InstrumentSpec
from collector.tcp_line import TcpLine
from modbus.frames import FIRST_UNIT, LAST_UNIT
from models.reading import Sample

LineMaker = Callable[[BusSpec], Line]


def line_for(bus: BusSpec) -> Line:
    """The line that a bus of this kind needs, not yet open."""
    return TcpLine(bus.host, bus.port, bus.timeout_ms) if bus.kind is BusKind.TCP else RtuLine(bus)


class Collector:
    """Polls the buses and gives each Sample to `sink`, on the event loop, in the order in which polls end.

    sink is called plainly and must not block; what it raises ends the collector. Raises `CollectorError` at once for a
    bus or a signal that cannot be asked.
    """

    def __init__(self, buses: Sequence[BusSpec], sink: Sink, clock: Clock, *, make_line: LineMaker = line_for) -> None:
        _check(buses)
        self._specs = {bus.id: bus for bus in buses}
        self._clock = clock
        self._make_line = make_line
        self._buses = {bus.id: Bus(bus, make_line(bus), sink, clock) for bus in buses}
        self._running = False
        self._once = {bus.id: asyncio.Lock() for bus in buses}

    async def run(self) -> None:
        """Poll until cancelled, or until a bug stops one of the tasks. Polls under way are let end."""
        self._running = True
        try:
            async with asyncio.TaskGroup() as group:
                for name, bus in self._buses.items():
                    group.create_task(bus.run(), name=f"bus {name}")
        finally:
            self._running = False

    def polls(self) -> dict[str, int]:
        """Polls that came to an end, by bus: cheap enough to be asked all the time."""
        return {name: bus.health.polls for name, bus in self._buses.items()}

    def health(self) -> dict[str, BusHealth]:
        """A snapshot of all counters, by bus."""
        return {name: bus.snapshot() for name, bus in self._buses.items()}

    def health_of(self, bus_id: str) -> BusHealth:
        """The same of one bus."""
        return self._buses[bus_id].snapshot()

    async def read_once(self, bus_id: str, instrument_id: str) -> Sample:
        """Ask one instrument now.

        While `run` is under way the bus's own task does it, and the sink gets the Sample too; else a connection is
        opened for it and closed after. `health` then tells in words what failed. Raises `CollectorError` for a name
        that is not there, `CollectorStopped` when the collector stops first.
        """
        bus = self._specs.get(bus_id)
        if bus is None:
            raise CollectorError(f"no bus {bus_id}; there are {', '.join(self._specs) or 'none'}")
        instrument = next((i for i in bus.instruments if i.id == instrument_id), None)
        if instrument is None:
            known = ", ".join(i.id for i in bus.instruments) or "none"
            raise CollectorError(f"no instrument {instrument_id} on bus {bus_id}; there are {known}")
        if self._running:
            return await self._buses[bus_id].read(instrument_id)
        async with self._once[bus_id]:
            return await to_its_end(self._read_apart(bus, instrument))

    async def _read_apart(self, bus: BusSpec, instrument: InstrumentSpec) -> Sample:
        line, owner = self._make_line(bus), self._buses[bus.id]
        try:
            owner.health.fault = await line.open()  # a line that did not open answers every exchange with a failure
            polled = await Poller(instrument, bus.timeout_ms).poll(line, self._clock)
            owner.count(instrument.id, polled)
            return polled.sample
        finally:
            line.close()


def _check(buses: Sequence[BusSpec]) -> None:
    """Names are unique, units possible, times above zero."""
    seen: set[str] = set()
    for bus in buses:
        if bus.id in seen:
            raise CollectorError(f"bus {bus.id} is there twice; ids are unique")
        seen.add(bus.id)
        for key, value in (("period", bus.period_ms), ("timeout", bus.timeout_ms)):
            if value <= 0:
                raise CollectorError(f"bus {bus.id}: {key} {value} ms; it must be above 0")
    owner: dict[str, str] = {}
    for bus in buses:
        first, last = (0, 255) if bus.kind is BusKind.TCP else (FIRST_UNIT, LAST_UNIT)
        for instrument in bus.instruments:
            if instrument.id in owner:
                raise CollectorError(f"instrument {instrument.id} is on bus {owner[instrument.id]} and on {bus.id}")
            owner[instrument.id] = bus.id
            if not first <= instrument.unit <= last:
                raise CollectorError(
                    f"bus {bus.id}, instrument {instrument.id}: unit {instrument.unit}; allowed {first} to {last}"
                )
