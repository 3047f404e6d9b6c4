"""Starts the foreign servers as programs of their own and stops them; a serial line between them and us."""

import asyncio
import json
import os
import pty
import subprocess
import sys
import tty
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]


@contextmanager
def foreign_server(
    module: str, registers: Sequence[int], bits: Sequence[int] = (0,), device: str = ""
) -> Iterator[int]:
    """The port of a server that runs in its own process and holds these values from address 0 on.

    With a device it serves there instead, and the port is 0.
    """
    command = [
        sys.executable,
        "-m",
        f"tests.service_wire.{module}",
        json.dumps(list(registers)),
        json.dumps(list(bits)),
        *([device] if device else []),
    ]
    with subprocess.Popen(command, cwd=ROOT, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True) as process:
        assert process.stdout is not None
        assert process.stderr is not None
        try:
            line = process.stdout.readline()
            if not line:
                raise OSError(f"{module} did not start: {process.stderr.read()[-500:]}")
            yield int(line)
        finally:
            process.kill()


@contextmanager
def serial_line() -> Iterator[tuple[str, str]]:
    """Two devices with a wire between them: what one writes the other reads. Call it inside of the event loop."""
    loop = asyncio.get_running_loop()
    pairs = [pty.openpty() for _ in range(2)]

    def carry(source: int, sink: int) -> None:
        with suppress(BlockingIOError):
            os.write(sink, os.read(source, 4096))

    for (ours, theirs), (other, _) in (pairs, pairs[::-1]):
        tty.setraw(theirs)
        os.set_blocking(ours, False)
        loop.add_reader(ours, carry, ours, other)
    try:
        yield os.ttyname(pairs[0][1]), os.ttyname(pairs[1][1])
    finally:
        for ours, theirs in pairs:
            loop.remove_reader(ours)
            os.close(ours)
            os.close(theirs)
