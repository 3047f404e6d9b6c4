"""The farm on the network: one Modbus TCP server for each gateway, on this machine only unless told otherwise.

Owns sockets and nothing else; what is answered comes from `simulator.source`, the words of the wire from
`modbus.responder`. Beside its port a gateway can be had as a serial line (`simulator.serialline`).
"""

import asyncio
import logging
from collections.abc import Callable, Sequence
from functools import partial
from typing import Final, Self

from modbus.responder import TcpResponder
from simulator.errors import SimulatorError
from simulator.farm import Farm
from simulator.layout import STEP_MS
from simulator.serialline import PSEUDO, SerialLine
from simulator.source import GatewaySource

_log = logging.getLogger(__name__)

TICK_S: Final = 0.05
BREATH_STEPS: Final = 400
"""Steps of the farm after which the loop's other tasks get their turn (about 10 ms)."""

_CHUNK: Final = 4096
_GOODBYE_S: Final = 2.0


class FarmServer:
    """The running servers. `ports` are those that were really taken, in the order of the layout's gateways."""

    def __init__(self, farm: Farm, clock_now_ms: Callable[[], int]) -> None:
        self.farm = farm
        self.ports: tuple[int, ...] = ()
        self._clock_now_ms = clock_now_ms
        self._servers: list[asyncio.Server] = []
        self._lines: list[SerialLine] = []
        self._writers: set[asyncio.StreamWriter] = set()

    async def open(self, host: str, ports: Sequence[int]) -> None:
        """Take the ports, one a gateway; 0 takes a free one. Raises `SimulatorError` for one that is not to be had."""
        gateways = self.farm.layout.gateways
        if len(ports) != len(gateways):
            raise SimulatorError(f"the farm has {len(gateways)} gateways, but {len(ports)} ports were given")
        taken = []
        for gateway, port in zip(gateways, ports, strict=True):
            source = GatewaySource(self.farm, gateway.id, self._clock_now_ms)
            try:
                server = await asyncio.start_server(partial(self._serve, source), host, port)
            except OSError as error:
                await self.aclose()
                raise SimulatorError(f"gateway {gateway.id}: cannot listen on {host}:{port}: {error}") from error
            self._servers.append(server)
            taken.append(server.sockets[0].getsockname()[1])
        self.ports = tuple(taken)

    def open_serial(self, gateway: str, device: str = PSEUDO, baud: int = 9600) -> str:
        """Answer for a gateway's units on a serial port, or on a new pseudo-terminal; the device that a reader opens.

        Even parity, one stop bit. Raises `SimulatorError` for a gateway, a port or a speed that is not to be had.
        """
        source = GatewaySource(self.farm, gateway, self._clock_now_ms)
        units = frozenset(u.layout.unit for u in self.farm.units if u.layout.gateway == gateway)
        line = SerialLine(source, units, device, baud)
        line.open()
        self._lines.append(line)
        return line.device

    async def run(self) -> None:
        """Keep the farm up with its clock until cancelled, so that no request finds it far behind.

        Not needed for right answers: a request moves the farm on by itself.
        """
        while True:
            await self.catch_up()
            await asyncio.sleep(TICK_S)

    async def catch_up(self) -> None:
        """Move the farm on to now in pieces, and let others breathe in between."""
        now_ms = self._clock_now_ms()
        while self.farm.now_ms < now_ms:
            self.farm.advance(min(now_ms, self.farm.now_ms + BREATH_STEPS * STEP_MS))
            await asyncio.sleep(0)

    async def aclose(self) -> None:
        """Stop listening and hang up on everybody."""
        for line in self._lines:
            line.close()
        self._lines.clear()
        for server in self._servers:
            server.close()
        for writer in tuple(self._writers):
            writer.close()
        try:
            async with asyncio.timeout(_GOODBYE_S):
                for server in self._servers:
                    await server.wait_closed()
        except TimeoutError:
            _log.warning("simulated farm: a connection did not close within %s s", _GOODBYE_S)
        self._servers.clear()

    async def __aenter__(self) -> Self:
        return self

    async def __aexit__(self, *_: object) -> None:
        await self.aclose()

    async def _serve(self, source: GatewaySource, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        """One connection: requests are answered one after the other, as a gateway with one serial line does."""
        self._writers.add(writer)
        responder = TcpResponder(source)
        try:
            while not responder.fault and (data := await reader.read(_CHUNK)):
                reply = responder.feed(data)
                if reply:
                    await asyncio.sleep(source.layout.latency_ms / 1000)
                    writer.write(reply)
                    await writer.drain()
        except ConnectionError:
            _log.debug("gateway %s: the caller hung up", source.layout.id)
        finally:
            self._writers.discard(writer)
            writer.close()


async def serve(
    farm: Farm, clock_now_ms: Callable[[], int], host: str = "127.0.0.1", ports: Sequence[int] = (0, 0)
) -> FarmServer:
    """Serve a farm. `clock_now_ms` gives the site's time, scaled or not; close the server when done."""
    server = FarmServer(farm, clock_now_ms)
    await server.open(host, ports)
    return server
