"""Serves the register map on Modbus TCP: read-only, to the addresses that the site names, from what the pages show.

Owns the sockets. What a request is answered with comes from one live object, so that the figures of one answer belong
together; only ages are counted to the moment of the request. Writing functions get exception 01 (`modbus.responder`).
"""

import asyncio
import contextlib
import ipaddress
import logging
from collections.abc import AsyncIterator, Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final, Protocol

from gaugehouse.days import parse_ms
from gaugehouse.errors import CouldNot
from gaugehouse.registermap import BITS_A_TANK, SITE_SIZE, TANK_FIRST, TANK_SIZE, Now, RegisterMap, site_bits, tank_bits
from gaugehouse.sitefile.registersfacts import RegisterServerSpec
from modbus.errors import GATEWAY_TARGET_FAILED, ILLEGAL_DATA_ADDRESS, ModbusException
from modbus.responder import TcpResponder
from modbus.signals import BIT_FUNCTIONS

log = logging.getLogger(__name__)

Json = Mapping[str, Any]

MOST_CALLERS: Final = 32
IDLE_S: Final = 120.0
"""A caller that asks nothing for so long is hung up on: a cable that was pulled must not keep its place."""
CHUNK: Final = 4096
MOST_NAMED: Final = 100
"""Callers that the log has named; further ones, and the same again, are counted only, so that none fills the disk."""
OURSELVES: Final = (0, 255)
"""Units by which a device on TCP itself is addressed, beside its own number (Modbus Messaging on TCP/IP V1.0b, 4.4)."""


class Shown(Protocol):
    """What the server asks of the daemon."""

    def live(self) -> dict[str, Any]: ...

    def tank_facts(self, tank: str) -> dict[str, Any]: ...


class SiteRegisters:
    """Answers requests out of the newest live object (`modbus.responder.Registers`)."""

    def __init__(self, spec: RegisterServerSpec, shown: Shown, now_ms: Callable[[], int], *, simulated: bool) -> None:
        self.map = RegisterMap(spec)
        self._shown, self._now_ms, self._simulated = shown, now_ms, simulated
        self._units = (spec.unit, *OURSELVES)
        self._stale_s = {tank: float(shown.tank_facts(tank)["stale_after_s"]) for tank in spec.tanks}
        self._tank_of: tuple[int, dict[str, Json]] = (-1, {})

    def registers(self, unit: int, function: int, start: int, count: int) -> Sequence[int]:
        if unit not in self._units:
            raise ModbusException(GATEWAY_TARGET_FAILED)
        live = self._shown.live()
        return self._bits(live, start, count) if function in BIT_FUNCTIONS else self._words(live, start, count)

    def _words(self, live: Json, start: int, count: int) -> Sequence[int]:
        end = start + count
        if end <= SITE_SIZE:
            age_s, time_ms = self._age(live["time"])
            return self.map.site_words(live, age_s, time_ms / 1000, simulated=self._simulated)[start:end]
        if not TANK_FIRST <= start < end <= self.map.end:
            raise ModbusException(ILLEGAL_DATA_ADDRESS)
        first, last = (start - TANK_FIRST) // TANK_SIZE, (end - 1 - TANK_FIRST) // TANK_SIZE
        words: list[int] = []
        for tank in self.map.spec.tanks[first : last + 1]:
            words += self.map.tank_words(self._now(live, tank))
        skip = start - TANK_FIRST - first * TANK_SIZE
        return words[skip : skip + count]

    def _bits(self, live: Json, start: int, count: int) -> Sequence[int]:
        end = start + count
        if end <= BITS_A_TANK:
            age_s, _ = self._age(live["time"])
            return _spread([site_bits(live, age_s, simulated=self._simulated)])[start:end]
        if not TANK_FIRST <= start < end <= self.map.bit_end:
            raise ModbusException(ILLEGAL_DATA_ADDRESS)
        first, last = (start - TANK_FIRST) // BITS_A_TANK, (end - 1 - TANK_FIRST) // BITS_A_TANK
        tanks = self._tanks(live)
        bits = _spread([tank_bits(live, tanks[tank]) for tank in self.map.spec.tanks[first : last + 1]])
        skip = start - TANK_FIRST - first * BITS_A_TANK
        return bits[skip : skip + count]

    def _tanks(self, live: Json) -> dict[str, Json]:
        """The tanks of a live object by id, found once for each object."""
        if self._tank_of[0] != live["seq"]:
            self._tank_of = (live["seq"], {tank["tank"]: tank for tank in live["tanks"]})
        return self._tank_of[1]

    def _now(self, live: Json, tank: str) -> Now:
        figures = self._tanks(live)[tank]
        age_s = None if figures["time"] is None else self._age(figures["time"])[0]
        stale = age_s is None or age_s > self._stale_s[tank]
        return Now(live, figures, age_s, stale, self._simulated)

    def _age(self, time: str) -> tuple[float, int]:
        """Seconds since a time of the live object, and that time in ms UTC."""
        time_ms = parse_ms(time)
        return max(0.0, (self._now_ms() - time_ms) / 1000), time_ms


def _spread(words: Sequence[int]) -> list[int]:
    """Words as bits, least significant first."""
    return [word >> place & 1 for word in words for place in range(BITS_A_TANK)]


@dataclass(slots=True)
class Counts:
    """What the server has seen. connected: now; refused: callers that may not ask; full: turned away, all places taken;
    faults: connections that were no Modbus."""

    connected: int = 0
    calls: int = 0
    answered: int = 0
    refused: int = 0
    full: int = 0
    faults: int = 0


class RegisterServer:
    """The listening server. `port` is the one that was really taken."""

    def __init__(self, spec: RegisterServerSpec, source: SiteRegisters) -> None:
        self.spec, self.source = spec, source
        self.counts = Counts()
        self.port = 0
        self._callers: set[asyncio.Task[None]] = set()
        self._named: set[str] = set()

    @contextlib.asynccontextmanager
    async def serving(self) -> AsyncIterator[None]:
        """Listen until the block is left. Raises `CouldNot` for an address that is not to be had."""
        spec = self.spec
        try:
            server = await asyncio.start_server(self._called, spec.host, spec.port)
        except OSError as error:
            raise CouldNot(
                f"register server: cannot listen on {spec.host} port {spec.port}: {error.strerror or error}; end what "
                "listens there, or choose another [register_server] port (below 1024 needs a right of its own)"
            ) from error
        self.port = server.sockets[0].getsockname()[1]
        try:
            yield
        finally:
            server.close()
            for caller in tuple(self._callers):
                caller.cancel()
            if self._callers:
                await asyncio.wait(self._callers)
            await server.wait_closed()

    async def _called(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        task = asyncio.current_task()
        assert task is not None
        self._callers.add(task)
        try:
            if self._welcome(writer):
                self.counts.connected += 1
                try:
                    await self._answer(reader, writer)
                finally:
                    self.counts.connected -= 1
        except (ConnectionError, TimeoutError):
            log.debug("register server: a caller is gone or silent")
        except asyncio.CancelledError:
            pass  # the daemon ends; asyncio's own callback would log it as an error
        finally:
            self._callers.discard(task)
            writer.close()

    def _welcome(self, writer: asyncio.StreamWriter) -> bool:
        self.counts.calls += 1
        address = str(writer.get_extra_info("peername")[0])
        asking = ipaddress.ip_address(address.partition("%")[0])
        if isinstance(asking, ipaddress.IPv6Address) and asking.ipv4_mapped is not None:
            asking = asking.ipv4_mapped
        if not any(asking in network for network in self.spec.allow):
            self.counts.refused += 1
            self._log_once(address, "register server: %s may not ask; [register_server] allow names who may")
            return False
        if self.counts.connected >= MOST_CALLERS:
            self.counts.full += 1
            full = f"register server: %s is turned away, {MOST_CALLERS} callers are connected; end those not needed"
            self._log_once(address, full)
            return False
        return True

    def _log_once(self, address: str, text: str) -> None:
        if address not in self._named and len(self._named) < MOST_NAMED:
            self._named.add(address)
            log.warning(text, address)

    async def _answer(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        responder = TcpResponder(self.source)
        while not responder.fault:
            async with asyncio.timeout(IDLE_S):
                data = await reader.read(CHUNK)
            if not data:
                return
            reply = responder.feed(data)
            if reply:
                self.counts.answered += 1
                writer.write(reply)
                async with asyncio.timeout(IDLE_S):
                    await writer.drain()
        self.counts.faults += 1
