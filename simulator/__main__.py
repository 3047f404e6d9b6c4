"""`python -m simulator`: the demo's farm by itself, for any Modbus TCP client to read."""

import argparse
import asyncio
import sys
import time
from collections.abc import Sequence

from simulator.errors import SimulatorError
from simulator.farm import Farm
from simulator.server import serve


def _arguments(argv: Sequence[str] | None) -> argparse.Namespace:
    parser = argparse.ArgumentParser(prog="python -m simulator", description="A simulated fuel farm on Modbus TCP.")
    parser.add_argument("--host", default="127.0.0.1", help="address to listen on (default: this machine only)")
    parser.add_argument(
        "--port-base",
        type=int,
        default=15020,
        help="port of the first gateway, the next ones follow; 0 takes free ports",
    )
    parser.add_argument("--speed", type=float, default=1.0, help="how much faster than the clock on the wall it runs")
    parser.add_argument("--seed", type=int, default=1, help="which farm: biases, weather and noise follow from it")
    arguments = parser.parse_args(argv)
    if not 0 < arguments.speed <= 1000:
        parser.error(f"--speed {arguments.speed:g}: allowed above 0 and up to 1000")
    if not 0 <= arguments.port_base <= 65000:
        parser.error(f"--port-base {arguments.port_base}: allowed 0 to 65000")
    return arguments


async def _run(arguments: argparse.Namespace) -> None:
    start_ms, begun = time.time_ns() // 1_000_000, time.monotonic()
    speed: float = arguments.speed
    farm = Farm(arguments.seed, start_ms)

    def site_now_ms() -> int:
        return start_ms + round((time.monotonic() - begun) * 1000 * speed)

    base = arguments.port_base
    ports = [base + k if base else 0 for k in range(len(farm.layout.gateways))]
    async with await serve(farm, site_now_ms, arguments.host, ports) as server:
        for gateway, port in zip(farm.layout.gateways, server.ports, strict=True):
            units = ", ".join(f"{u.layout.unit} {u.layout.id}" for u in farm.units if u.layout.gateway == gateway.id)
            print(f"gateway {gateway.id} on {arguments.host}:{port}, units {units}", flush=True)
        await server.run()


def main(argv: Sequence[str] | None = None) -> int:
    """Run until interrupted. 0 never comes; 3 = a port is not to be had, 130 = interrupted."""
    arguments = _arguments(argv)
    try:
        asyncio.run(_run(arguments))
    except SimulatorError as error:
        print(f"simulator: {error}", file=sys.stderr)
        return 3
    except KeyboardInterrupt:
        return 130
    return 0


if __name__ == "__main__":
    sys.exit(main())
