"""A farm of Modbus TCP units in a process of its own, with nothing of ours or of the client library in it.

`python -m tests.bench.unitserver PORTS` listens on that many free ports, prints them on one line and answers until its
input ends. Every unit of every port answers function 3 from register 0: a float32 level in mm that turns slowly about a
middle of its own, and a loop current in uA that belongs to it. Source of the frames: MODBUS Messaging on TCP/IP
Implementation Guide V1.0b, 3.1.3; MODBUS Application Protocol V1.1b3, 6.3.
"""

import asyncio
import math
import struct
import sys
import time

SPAN_MM = 10_000.0


def registers(port: int, unit: int) -> bytes:
    """Four registers: level as float32 high word first, current in uA, a count of seconds."""
    now_s = time.monotonic()
    middle = 0.2 + 0.6 * ((unit * 37 + port * 11) % 100) / 100
    level = SPAN_MM * (middle + 0.0001 * math.sin(now_s / 60 + unit))
    current_uA = 4000 + 16_000 * level / SPAN_MM
    return struct.pack(">fHH", level, round(current_uA), int(now_s) & 0xFFFF)


class Units(asyncio.Protocol):
    """One connection. Cuts what comes into frames and answers each at once."""

    def __init__(self, port: int) -> None:
        self._port = port
        self._kept = b""

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        assert isinstance(transport, asyncio.Transport)
        self._transport = transport

    def data_received(self, data: bytes) -> None:
        kept = self._kept + data
        while len(kept) >= 12:
            transaction, _, length, unit, function, start, count = struct.unpack(">HHHBBHH", kept[:12])
            kept = kept[6 + length :]
            if function == 3 and 0 < count and start + count <= 4:
                values = registers(self._port, unit)[2 * start : 2 * (start + count)]
                answer = struct.pack(">HHHBBB", transaction, 0, 3 + len(values), unit, 3, len(values)) + values
            else:
                answer = struct.pack(">HHHBBB", transaction, 0, 3, unit, function | 0x80, 1 if function != 3 else 2)
            self._transport.write(answer)
        self._kept = kept


async def main(ports: int) -> None:
    loop = asyncio.get_running_loop()
    servers = []
    for place in range(ports):
        servers.append(await loop.create_server(lambda place=place: Units(place), "127.0.0.1", 0))
    print(*(server.sockets[0].getsockname()[1] for server in servers), flush=True)
    await loop.run_in_executor(None, sys.stdin.read)


if __name__ == "__main__":
    asyncio.run(main(int(sys.argv[1])))
