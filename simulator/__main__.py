"""`python -m simulator`: the demo's farm by itself, for any Modbus client to read, by TCP or on a serial line."""

import argparse
import asyncio
import sys
import time
from collections.abc import Sequence

from simulator.errors import SimulatorError
from simulator.farm import Farm
from simulator.serialline import PSEUDO
from simulator.server import serve


def _arguments(argv: Sequence[str] | None) -> argparse.Namespace:
    parser = argparse.ArgumentParser(prog="python -m simulator", description="A simulated fuel farm on Modbus.")
    parser.add_argument("--host", default="127.0.0.1", help="address to listen on (default: this machine only)")
    parser.add_argument(
        "--port-base",
        type=int,
        default=15020,
        help="port of the first gateway, the next ones follow; 0 takes free ports",
    )
    parser.add_argument("--speed", type=float, default=1.0, help="how much faster than the clock on the wall it runs")
    parser.add_argument("--seed", type=int, default=1, help="which farm: biases, weather and noise follow from it")
    parser.add_argument(
        "--serial",
        action="append",
        default=[],
        metavar="GATEWAY[=DEVICE]",
        help="answer for this gateway on a serial port too; without a device on a new pseudo-terminal",
    )
    parser.add_argument("--baud", type=int, default=9600, help="speed of the serial ports; even parity, one stop bit")
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
        for wanted in arguments.serial:
            name, _, device = wanted.partition("=")
            print(f"gateway {name} on {server.open_serial(name, device or PSEUDO, arguments.baud)}", flush=True)
        await server.run()


def main(argv: Sequence[str] | None = None) -> int:
    """Run until interrupted. 0 never comes; 3 = a port or a line is not to be had, 130 = interrupted."""
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
