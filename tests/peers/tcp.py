"""A peer on a TCP port of this machine: Modbus TCP, or serial frames."""

import asyncio
import socket
import struct
from typing import Self

from tests.peers.misdeeds import CLOSE, RESET, Step
from tests.peers.peer import Peer
from tests.ports import free_port


class TcpPeer:
    """`async with TcpPeer(peer) as wire:` listens on `wire.port`. `refuse` hangs up and refuses until `accept`."""

    def __init__(self, peer: Peer) -> None:
        self.peer = peer
        self.port = free_port()
        self.connections: set[_Connection] = set()
        self.accepted = 0
        self._server: asyncio.Server | None = None

    async def __aenter__(self) -> Self:
        await self.accept()
        return self

    async def __aexit__(self, *_: object) -> None:
        self.refuse()
        await asyncio.sleep(0.01)

    async def accept(self) -> None:
        loop = asyncio.get_running_loop()
        self._server = await loop.create_server(lambda: _Connection(self), "127.0.0.1", self.port)

    def refuse(self) -> None:
        if self._server is not None:
            self._server.close()
            self._server = None
        for connection in list(self.connections):
            connection.cut(RESET)


class _Connection(asyncio.Protocol):
    def __init__(self, owner: TcpPeer) -> None:
        self._owner = owner
        self._kept = bytearray()
        self._transport: asyncio.Transport | None = None

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        assert isinstance(transport, asyncio.Transport)
        self._transport = transport
        self._owner.connections.add(self)
        self._owner.accepted += 1

    def connection_lost(self, exc: Exception | None) -> None:
        self._transport = None
        self._owner.connections.discard(self)

    def data_received(self, data: bytes) -> None:
        self._kept += data
        loop = asyncio.get_running_loop()
        for steps in self._owner.peer.take(self._kept):
            for step in steps:
                if step.after_s:
                    loop.call_later(step.after_s, self._do, step)
                else:
                    self._do(step)

    def _do(self, step: Step) -> None:
        if self._transport is None:
            return
        if isinstance(step.act, bytes):
            self._transport.write(step.act)
        else:
            self.cut(step.act)

    def cut(self, how: str) -> None:
        if self._transport is None:
            return
        if how == CLOSE:
            self._transport.close()
            return
        linger = struct.pack("ii", 1, 0)
        self._transport.get_extra_info("socket").setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, linger)
        self._transport.abort()
