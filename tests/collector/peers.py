"""Peers on a socket: a server that does what a script says, a sound one, and a proxy that keeps every byte."""

import asyncio
import socket
import struct
from collections.abc import AsyncIterator, Callable, Sequence
from contextlib import asynccontextmanager

from modbus.errors import ModbusException
from modbus.frames import MBAP_HEADER, read_mbap
from modbus.responder import Registers, TcpResponder

RESET = object()
CLOSE = object()
Act = bytes | object | None
Script = Callable[[int, int, bytes], Act | list[Act]]
"""(transaction, unit, request PDU) -> bytes to send, None for silence, RESET or CLOSE, or several of them."""


class Bank:
    """Register n holds n (bits: n modulo 2); addresses from 1000 on are not there; units above 200 are dead."""

    def registers(self, unit: int, function: int, start: int, count: int) -> Sequence[int] | None:
        if unit > 200:
            return None
        if start + count > 1000:
            raise ModbusException(0x02)
        return [(start + i) % 2 if function < 3 else start + i for i in range(count)]


@asynccontextmanager
async def listening(
    serve: Callable[[asyncio.StreamReader, asyncio.StreamWriter], object], port: int = 0
) -> AsyncIterator[int]:
    """The port of a server; its connections are cut when the block ends."""
    writers: set[asyncio.StreamWriter] = set()

    async def connection(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        writers.add(writer)
        try:
            await serve(reader, writer)  # type: ignore[misc]
        except (ConnectionError, asyncio.IncompleteReadError):
            pass  # the other end left
        finally:
            writers.discard(writer)
            writer.close()

    server = await asyncio.start_server(connection, "127.0.0.1", port)
    try:
        yield server.sockets[0].getsockname()[1]
    finally:
        server.close()
        for writer in list(writers):
            writer.transport.abort()
        await asyncio.sleep(0.01)


def sound(source: Registers | None = None, port: int = 0):
    """A server that answers as it should, from our own responder."""
    bank = source or Bank()

    async def serve(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        responder = TcpResponder(bank)
        while data := await reader.read(4096):
            writer.write(responder.feed(data))

    return listening(serve, port)


def scripted(script: Script):
    """A server that answers each whole request as the script says."""

    async def serve(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        while True:
            head = await reader.readexactly(MBAP_HEADER)
            transaction, _, length, unit = struct.unpack(">HHHB", head)
            pdu = await reader.readexactly(length - 1)
            acts = script(transaction, unit, pdu)
            for act in acts if isinstance(acts, list) else [acts]:
                if act is RESET:
                    linger = struct.pack("ii", 1, 0)
                    writer.get_extra_info("socket").setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, linger)
                if act is RESET or act is CLOSE:
                    return
                if isinstance(act, bytes):
                    writer.write(act)
                    await writer.drain()
                    await asyncio.sleep(0.002)

    return listening(serve)


class Recorder:
    """What clients sent, connection by connection."""

    def __init__(self) -> None:
        self.sent: list[bytearray] = []

    def functions(self) -> list[int]:
        """The function code of every request; fails on bytes that are no whole request."""
        found = []
        for stream in self.sent:
            at = 0
            while at < len(stream):
                header = read_mbap(stream, at)
                assert header is not None
                assert header.fault == ""
                assert at + header.size <= len(stream)
                found.append(stream[at + MBAP_HEADER])
                at += header.size
        return found

    def proxy(self, port: int):
        """A proxy to a port that keeps what goes that way."""

        async def serve(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
            kept = bytearray()
            self.sent.append(kept)
            back, forth = await asyncio.open_connection("127.0.0.1", port)

            async def pump(source: asyncio.StreamReader, sink: asyncio.StreamWriter, keep: bytearray | None) -> None:
                try:
                    while data := await source.read(4096):
                        if keep is not None:
                            keep += data
                        sink.write(data)
                except ConnectionError:
                    pass
                finally:
                    sink.close()

            await asyncio.gather(pump(reader, forth, kept), pump(back, writer, None))

        return listening(serve)
