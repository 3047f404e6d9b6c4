"""One life of a daemon with its farm, in a process of its own, ended by kill -9."""

import os
import signal
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import httpx

ROOT = Path(__file__).parents[2]


@contextmanager
def lived(folder: Path, speed: str, *broken: str) -> Iterator[httpx.Client]:
    """A client of the daemon in FOLDER until the block ends; then it is killed in that instant."""
    process = subprocess.Popen(
        [sys.executable, "-m", "tests.fault.child", str(folder), speed, *broken],
        stdout=subprocess.PIPE,
        text=True,
        cwd=ROOT,
        env=os.environ | {"PYTHONPATH": str(ROOT)},
    )
    assert process.stdout is not None
    try:
        address = process.stdout.readline().strip()
        assert address, "the daemon did not start"
        with httpx.Client(base_url=address, timeout=60) as client:
            yield client
    finally:
        process.send_signal(signal.SIGKILL)
        process.wait()
        process.stdout.close()
