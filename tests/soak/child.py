"""The daemon of a soak, in a process of its own.

`python -m tests.soak.child SITE.toml SPEED START_S START_UTC_MS LOOK_S`. Its clock has the farm's origin. Prints one
JSON object a line: its address, its figures every LOOK_S s, and, when it has ended in order after SIGTERM, what its
collector counted.
"""

import asyncio
import ctypes
import gc
import json
import os
import signal
import sys
import threading
import time
from dataclasses import asdict, replace
from pathlib import Path
from typing import Any

import psutil

from collector.clock import RealClock
from console.figures import written
from console.numbers import KEPT
from gaugehouse.daemon import Daemon, Options
from gaugehouse.service import unwrapped
from gaugehouse.site import load_site
from tests.gaugehouse.farms import blind_to_its_disk

TURN_S = 0.1
"""In which a process that is held up by nobody gets its turn twice over."""


class SharedClock(RealClock):
    """The site's clock as another process has it: CLOCK_MONOTONIC is one for the whole machine."""

    __slots__ = ()

    def __init__(self, speed: float, start_s: float, start_utc_ms: int) -> None:
        super().__init__(speed)
        self._start_s, self._start_utc_ms = start_s, start_utc_ms


def say(**what: Any) -> None:
    print(json.dumps(what), flush=True)


def library(name: str, where: str) -> ctypes.CDLL | None:
    """A library that this process has loaded, by the beginning of its file's name; None where it has no such function,
    as on a system with another allocator."""
    maps = Path("/proc/self/maps")
    paths = {line.split()[-1] for line in maps.read_text().splitlines()} if maps.exists() else set()
    for path in paths:
        if Path(path).name.startswith(where):
            found = ctypes.CDLL(path)
            return found if hasattr(found, name) else None
    return None


def live_objects() -> int:
    """How many objects the collector tracks.

    No Python runs while the list of them lives: a thread that was stopped in the middle of `tuple(generator)` fails
    with a SystemError when another reference to its unfinished tuple is still there.
    """
    return next(map(len, iter(gc.get_objects, None)))


async def look(clock: RealClock, every_s: float) -> None:
    """Tasks, descriptors, threads, live objects and memory of this process, again and again."""
    own = psutil.Process()
    libc, sqlite = library("malloc_trim", "libc.so"), library("sqlite3_memory_used", "libsqlite3.so")
    if sqlite is not None:
        sqlite.sqlite3_memory_used.restype = ctypes.c_int64
    while True:
        await asyncio.sleep(every_s)
        gc.collect()
        if libc is not None:
            libc.malloc_trim(0)
        say(
            now_ms=clock.now_ms(),
            tasks=len(asyncio.all_tasks()),
            fds=len(os.listdir("/proc/self/fd")),
            threads=threading.active_count(),
            objects=live_objects(),
            rss_mb=own.memory_info().rss / 2**20,
            sqlite_mb=0.0 if sqlite is None else sqlite.sqlite3_memory_used() / 2**20,
        )


async def a_quiet_moment(most: int = 100) -> None:
    """Until this process has its turns in time, if it ever has: what a busy machine held up is counted by then."""
    for _ in range(most):
        begun_s = time.monotonic()
        await asyncio.sleep(TURN_S)
        if time.monotonic() - begun_s < 2 * TURN_S:
            return


def fill_what_keeps_figures() -> None:
    """Figures as written are kept, the newest so many; the few pages asked in three fast days fill that slowly."""
    for k in range(KEPT):
        written("level_m", k / 1000)


async def main(path: Path, speed: float, start_s: float, start_utc_ms: int, look_s: float) -> None:
    clock = SharedClock(speed, start_s, start_utc_ms)
    fill_what_keeps_figures()
    site = blind_to_its_disk(replace(load_site(path), console_port=0))
    daemon = Daemon(site, clock, Options("soak", simulated=True, on_ready=lambda url: say(url=url)))
    began_ms = ended_ms = clock.elapsed_ms()

    stopping = asyncio.Event()

    async def stop() -> None:
        nonlocal ended_ms
        await stopping.wait()
        await a_quiet_moment()
        ended_ms = clock.elapsed_ms()
        daemon.stop()

    asyncio.get_running_loop().add_signal_handler(signal.SIGTERM, stopping.set)
    async with asyncio.TaskGroup() as group:
        leaving = group.create_task(stop())
        looking = group.create_task(look(clock, look_s))
        await daemon.run()
        looking.cancel()
        leaving.cancel()
    instruments = {
        name: asdict(one) for bus in daemon.collector.health().values() for name, one in bus.instruments.items()
    }
    say(
        began_ms=began_ms, ended_ms=ended_ms, instruments=instruments,
        connects={name: bus.connects for name, bus in daemon.collector.health().items()},
        dropped=daemon._inbox.dropped, cpu_s=time.process_time(),
    )  # fmt: skip


if __name__ == "__main__":
    path, speed, start_s, start_utc_ms, look_s = sys.argv[1:]
    asyncio.run(unwrapped(main(Path(path), float(speed), float(start_s), int(start_utc_ms), float(look_s))))
