"""One way to put a peer on any of the three wires and to say to the collector where it is."""

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager

from collector.spec import BusKind, BusSpec, InstrumentSpec
from tests.peers.misdeeds import RTU
from tests.peers.peer import Peer
from tests.peers.serial import SerialPeer
from tests.peers.tcp import TcpPeer

FAST_BAUD = 115_200
"""A pseudo-terminal has no speed; what the collector allows for frames and silence is short then."""


@asynccontextmanager
async def on_wire(peer: Peer) -> AsyncIterator[SerialPeer | TcpPeer]:
    async with SerialPeer(peer) if peer.kind == RTU else TcpPeer(peer) as wire:
        yield wire


def bus_spec(
    wire: SerialPeer | TcpPeer,
    instruments: tuple[InstrumentSpec, ...] = (),
    name: str = "north",
    period_ms: int = 100,
    timeout_ms: int = 30,
    baud: int = FAST_BAUD,
) -> BusSpec:
    where = {"device": wire.device} if isinstance(wire, SerialPeer) else {"host": "127.0.0.1", "port": wire.port}
    return BusSpec(
        name,
        BusKind(wire.peer.kind),
        instruments,
        parity="N",
        stop_bits=2,
        baud=baud,
        period_ms=period_ms,
        timeout_ms=timeout_ms,
        **where,  # type: ignore[arg-type]
    )
