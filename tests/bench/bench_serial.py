"""How much of a serial line is used: healthy units asked back to back at 9600 baud, against the wire's own limit.

`python -m tests.bench.bench_serial [--short] [--realtime]`. The line (`linepacer`, a process of its own) holds each
byte back to the baud rate; use is what a perfect master would have needed for the same requests (characters, and 3.5
characters of silence after each frame), as a share of what it took. Beside the collector, through the same line in the
same run: a master that does nothing else, which shows how far the line itself keeps to its speed on this machine.
"""

import argparse
import asyncio
import contextlib
import json
import os
import select
import struct
import subprocess
import sys
import termios
import time
import tty
from collections.abc import Iterator

from collector.bus import Bus
from collector.rtu_line import RtuLine
from collector.spec import BusKind, BusSpec, InstrumentSpec
from modbus.signals import RegisterSignal, RegisterType
from models.reading import OK, Sample
from tests.bench.bench_collector import FullSpeed
from tests.bench.linepacer import crc, until
from tests.bench.scaleparts import keep_others_out

BAUD = 9600
UNITS = 8
AIM = 0.95


class Line:
    """A paced line; `told` has its report after the `with`."""

    def __init__(self, device: str) -> None:
        self.device = device
        self.told: dict[str, float] = {}

    @property
    def use(self) -> float:
        """Of all the time that it took, standstills of the machine and all."""
        return self.told["least_s"] / self.told["asked_s"]

    @property
    def median_use(self) -> float:
        """By the median exchange, from one request to the next."""
        return self.told["least_s"] / self.told["exchanges"] / self.told["median_s"]


@contextlib.contextmanager
def paced_line(baud: int = BAUD) -> Iterator[Line]:
    call = [sys.executable, "-m", "tests.bench.linepacer", str(baud)]
    with subprocess.Popen(call, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True) as process:
        assert process.stdin is not None
        assert process.stdout is not None
        line = Line(process.stdout.readline().strip())
        try:
            yield line
        finally:
            process.stdin.close()
            told = process.stdout.readline()
            process.wait(5)
        line.told = json.loads(told)


def bus_of(device: str, registers: int, baud: int = BAUD) -> BusSpec:
    """Eight units, so many registers each."""
    signals = tuple(RegisterSignal(f"r{n}", 3, n, RegisterType.UINT16) for n in range(registers))
    units = tuple(InstrumentSpec(f"u{unit}", unit, signals) for unit in range(1, UNITS + 1))
    return BusSpec("serial", BusKind.RTU, units, device=device, baud=baud, period_ms=10, timeout_ms=500)


async def ours(device: str, registers: int, exchanges: int, baud: int = BAUD) -> list[Sample]:
    """So many polls of the collector, one after the other."""
    found: list[Sample] = []
    done = asyncio.Event()

    def sink(sample: Sample) -> None:
        found.append(sample)
        if len(found) >= exchanges:
            done.set()

    spec = bus_of(device, registers, baud)
    async with asyncio.TaskGroup() as group:
        task = group.create_task(Bus(spec, RtuLine(spec), sink, FullSpeed()).run())
        await done.wait()
        task.cancel()
    return found


def plain_master(device: str, registers: int, exchanges: int) -> None:
    """A master that does nothing but ask: the least that this line takes on this machine."""
    line = os.open(device, os.O_RDWR | os.O_NOCTTY)
    try:
        tty.setraw(line)
        termios.tcflush(line, termios.TCIOFLUSH)
        for place in range(exchanges):
            body = struct.pack(">BBHH", place % UNITS + 1, 3, 0, registers)
            os.write(line, body + crc(body))
            kept = b""
            while len(kept) < 5 + 2 * registers:
                if select.select([line], [], [], 1)[0]:
                    kept += os.read(line, 512)
            until(time.perf_counter() + 3.5 * 11 / BAUD)
    finally:
        os.close(line)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0] if __doc__ else "")
    parser.add_argument("--short", action="store_true", help="40 exchanges a case instead of 200")
    parser.add_argument("--realtime", action="store_true", help="at real-time priority (as root): no other work counts")
    args = parser.parse_args()
    if args.realtime:
        keep_others_out()
    exchanges = 40 if args.short else 200
    print(f"{UNITS} healthy units back to back at {BAUD} baud, {exchanges} exchanges a case; share of the wire's limit")
    for registers in (2, 10, 40):
        with paced_line() as plain:
            plain_master(plain.device, registers, exchanges)
        with paced_line() as line:
            found = asyncio.run(ours(line.device, registers, exchanges))
        good = sum(sample.outcome == OK for sample in found)
        print(
            f"{registers:4} registers: collector {line.median_use:.3f} (aim {AIM}), plain loop {plain.median_use:.3f}; "
            f"with the machine's standstills {line.use:.3f}, {plain.use:.3f}; {good} of {len(found)} polls good"
        )


if __name__ == "__main__":
    main()
