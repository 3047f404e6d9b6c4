"""`python -m tests.peers`: a peer by itself, for any Modbus client. Commands come on standard input. See the docs."""

import argparse
import asyncio
import sys
from collections.abc import Sequence

from tests.peers.misdeeds import ALL, MISDEEDS, TCP
from tests.peers.peer import Peer
from tests.peers.serial import SerialPeer
from tests.peers.wires import on_wire


def arguments(argv: Sequence[str] | None) -> argparse.Namespace:
    parser = argparse.ArgumentParser(prog="python -m tests.peers", description="A Modbus peer that misbehaves.")
    parser.add_argument("--kind", choices=sorted(ALL), default=TCP)
    parser.add_argument("--units", default="1", help="unit numbers, with commas")
    parser.add_argument("--late", type=float, default=0.75, help="seconds by which a late answer is late")
    parser.add_argument("--do", default="", metavar="MISDEED", help="misbehave from the start")
    parser.add_argument("--list", action="store_true", help="what can be done on this kind of wire")
    return parser.parse_args(argv)


def command(peer: Peer, line: str) -> str:
    """Do what a line says; the words to print."""
    if not line:
        peer.behave()
        return "behaves"
    try:
        peer.misbehave(line)
    except (KeyError, ValueError):
        return f'cannot do "{line}" on {peer.kind}; --list tells what can be done'
    return f"does: {line}"


async def serve(peer: Peer, do: str) -> None:
    """Until standard input ends."""
    loop = asyncio.get_running_loop()
    async with on_wire(peer) as wire:
        where = wire.device if isinstance(wire, SerialPeer) else f"127.0.0.1:{wire.port}"
        print(f"{peer.kind} on {where}, units {', '.join(map(str, sorted(peer.units)))}", flush=True)
        print(command(peer, do), flush=True)
        while line := await loop.run_in_executor(None, sys.stdin.readline):
            print(command(peer, line.strip()), flush=True)


def main(argv: Sequence[str] | None = None) -> int:
    given = arguments(argv)
    if given.list:
        print("\n".join(name for name, misdeed in MISDEEDS.items() if given.kind in misdeed.kinds))
        return 0
    peer = Peer(given.kind, [int(unit) for unit in given.units.split(",")], given.late)
    try:
        asyncio.run(serve(peer, given.do))
    except KeyboardInterrupt:
        return 130
    return 0


if __name__ == "__main__":
    sys.exit(main())
