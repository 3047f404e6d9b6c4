"""The farm's gateways on TCP, which misbehave by a list and write down what each request was really given."""

import asyncio
import contextlib
import random
import struct
from collections.abc import Callable, Sequence
from typing import Final, NamedTuple

from modbus.errors import ModbusException
from modbus.responder import TcpResponder
from modbus.signals import Order, RegisterType
from simulator.farm import Farm
from simulator.layout import UnitLayout
from simulator.source import GatewaySource
from tests.soak import mishaps

ANSWERED: Final = "answered"
SILENT: Final = "silent"
EXCEPTION: Final = "exception"
"""What became of a request; else one of `mishaps.WIRE`."""


class Served(NamedTuple):
    """One request. `values`: what the registers of the reply say, by signal, decoded here and not by the house;
    `faults`: what stood in the instrument; `level_m`, `volume_m3`: what was really in its tank."""

    at_ms: int
    instrument: str
    fate: str
    values: dict[str, float]
    faults: tuple[str, ...]
    level_m: float
    volume_m3: float


_FORMATS: Final = {
    RegisterType.FLOAT32: ">f", RegisterType.INT32: ">i", RegisterType.UINT32: ">I", RegisterType.INT16: ">h",
    RegisterType.UINT16: ">H",
}  # fmt: skip


def decoded(unit: UnitLayout, start: int, words: Sequence[int]) -> dict[str, float]:
    """The signals that lie in a reply, by `struct` alone."""
    found = {}
    for signal in unit.signals:
        place = signal.address - start
        if 0 <= place and place + signal.words <= len(words):
            part = list(words[place : place + signal.words])
            if signal.word_order is Order.LOW_FIRST:
                part.reverse()
            (raw,) = struct.unpack(_FORMATS[signal.type], struct.pack(f">{len(part)}H", *part))
            found[signal.name] = raw * signal.scale
    return found


class Noted(GatewaySource):
    """The registers of a gateway, each request noted."""

    def __init__(self, farm: Farm, gateway: str, clock_now_ms: Callable[[], int]) -> None:
        super().__init__(farm, gateway, clock_now_ms)
        self._whose = {unit.layout.unit: unit for unit in farm.units if unit.layout.gateway == gateway}
        self._site_ms = clock_now_ms
        self._all = farm
        self.last: Served | None = None

    def registers(self, unit: int, function: int, start: int, count: int) -> Sequence[int] | None:
        asked = self._whose[unit]
        words: Sequence[int] | None = None
        fate, at_ms = SILENT, self._site_ms()
        try:
            words = super().registers(unit, function, start, count)
            fate = SILENT if words is None else ANSWERED
        except ModbusException:
            fate = EXCEPTION
            raise
        finally:
            truth = self._all.truth()[asked.layout.tank]
            self.last = Served(
                at_ms, asked.layout.id, fate, {} if words is None else decoded(asked.layout, start, words),
                tuple(sorted(kind.value for kind in asked.faults.now)), truth.level_m, truth.volume_m3,
            )  # fmt: skip
        return words


class Gateway:
    """One gateway's port. `kind`: the misdeed that stands, "" while it behaves."""

    def __init__(self, source: Noted, served: list[Served], late_s: float, seed: int) -> None:
        self.source, self._served, self._late_s = source, served, late_s
        self._chance = random.Random(seed)
        self.kind = ""
        self.port = 0
        self._server: asyncio.Server | None = None
        self._writers: set[asyncio.StreamWriter] = set()
        self._turning = asyncio.Lock()

    async def open(self) -> None:
        self._server = await asyncio.start_server(self._serve, "127.0.0.1", self.port)
        self.port = self._server.sockets[0].getsockname()[1]

    async def turn(self, kind: str) -> None:
        """Begin another misdeed, or behave again ("")."""
        async with self._turning:
            self.kind = kind
            if kind in (mishaps.DROPPED, mishaps.REFUSED):
                for writer in tuple(self._writers):
                    writer.transport.abort()
            if kind == mishaps.REFUSED:
                await self._shut()
            elif self._server is None:
                await self.open()

    async def _shut(self) -> None:
        if self._server is not None:
            self._server.close()
            self._server = None

    async def aclose(self) -> None:
        await self._shut()
        for writer in tuple(self._writers):
            writer.transport.abort()

    async def _serve(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        self._writers.add(writer)
        responder = TcpResponder(self.source)
        try:
            while not responder.fault:
                head = await reader.readexactly(6)  # one request at a time, however many wait
                data = head + await reader.readexactly(int.from_bytes(head[4:], "big"))
                self.source.last = None
                reply = responder.feed(data)
                noted = self.source.last
                if noted is None:
                    continue
                kind = self.kind  # that of the request, whatever begins or ends while it is answered
                fate = mishaps.DROPPED
                try:
                    if kind == mishaps.DROPPED:
                        writer.transport.abort()
                        return
                    if reply:
                        await self._answer(writer, bytearray(reply), kind)
                    if not writer.transport.is_closing():
                        fate = noted.fate if noted.fate == SILENT or not kind else kind
                finally:
                    self._served.append(noted._replace(fate=fate))
        except (ConnectionError, asyncio.IncompleteReadError):
            pass
        finally:
            self._writers.discard(writer)
            with contextlib.suppress(ConnectionError):
                writer.close()

    async def _answer(self, writer: asyncio.StreamWriter, reply: bytearray, kind: str) -> None:
        """The reply, as a misdeed leaves it. MBAP: transaction 0-1, protocol 2-3, length 4-5, unit 6."""
        if kind == mishaps.LATE:  # and the next request is answered meanwhile
            asyncio.get_running_loop().call_later(self._late_s, _write, writer, bytes(reply))
            return
        await asyncio.sleep(self.source.layout.latency_ms / 1000)
        match kind:
            case mishaps.TRANSACTION:
                reply[0] ^= 0x40
            case mishaps.UNIT:
                reply[6] ^= 0x10
            case mishaps.FUNCTION:
                reply[7] ^= 0x07
            case mishaps.COUNT:
                reply[8:9] = bytes([reply[8] + 2 if len(reply) > 9 else 7])
            case mishaps.CUT:
                reply = reply[: len(reply) // 2]
            case mishaps.GARBAGE:
                reply = bytearray(self._chance.randbytes(40))
                reply[2] = 0xFF  # no protocol that there is
        writer.write(reply)
        await writer.drain()


def _write(writer: asyncio.StreamWriter, reply: bytes) -> None:
    if not writer.is_closing():
        writer.write(reply)
