"""Starts the foreign servers as programs of their own and stops them."""

import json
import subprocess
import sys
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]


@contextmanager
def foreign_server(module: str, registers: Sequence[int], bits: Sequence[int] = (0,)) -> Iterator[int]:
    """The port of a server that runs in its own process and holds these values from address 0 on."""
    command = [
        sys.executable,
        "-m",
        f"tests.service_wire.{module}",
        json.dumps(list(registers)),
        json.dumps(list(bits)),
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
