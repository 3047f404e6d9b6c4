"""Where the CPU of a daemon goes: own time of its parts on the main thread, and of every other thread.

Wraps the synchronous entry of each part; time spent in a part inside another counts for the inner one only. What is
left of the main thread is the wire, the event loop and all that has no part of its own.
"""

import asyncio
import functools
import os
import threading
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

from alerts.engine import AlarmEngine
from console.live import Feed
from gaugehouse.core import Core
from gaugehouse.inbox import Ticker
from gaugehouse.keeper import TankKeeper
from gaugehouse.liveview import LiveView
from gaugehouse.loopwork import LoopWork
from gaugehouse.movementwork import MovementWork
from gaugehouse.statusroom import StatusRoom
from gaugehouse.vitals import Vitals
from gaugehouse.watching import Watchers
from history.writer import ReadingWriter

ENTRIES: tuple[tuple[str, type, str], ...] = (
    ("models (level, volumes, rate)", TankKeeper, "step"),
    ("faults of loops", LoopWork, "step"),
    ("watchers", Watchers, "tell"),
    ("alarms", AlarmEngine, "step"),
    ("movements", MovementWork, "step"),
    ("tank status", StatusRoom, "step"),
    ("core, the rest", Core, "step"),
    ("state to keep", Core, "changed_state"),
    ("state to keep", Core, "slow_state"),
    ("ticks", Ticker, "_batch"),
    ("readings to the store's queue", ReadingWriter, "put"),
    ("live object", LiveView, "build"),
    ("live object", LiveView, "_tank"),
    ("live object", LiveView, "_loop"),
    ("live object", Feed, "text"),
    ("watchdog", Vitals, "beat"),
)


class Parts:
    """Own CPU seconds by part, and the longest single stay in each."""

    def __init__(self) -> None:
        self.own_s: dict[str, float] = {}
        self.longest_s: dict[str, float] = {}
        self._inner: list[float] = []
        for part, owner, name in ENTRIES:
            self._wrap(part, owner, name)

    def _wrap(self, part: str, owner: type, name: str) -> None:
        plain: Callable[..., Any] = getattr(owner, name)
        clock, inner = time.thread_time, self._inner
        own, longest = self.own_s, self.longest_s
        main = threading.main_thread().ident
        own[part] = longest[part] = 0.0

        @functools.wraps(plain)
        def timed(*args: Any, **named: Any) -> Any:
            if threading.get_ident() != main:
                return plain(*args, **named)
            inner.append(0.0)
            begun = clock()
            try:
                return plain(*args, **named)
            finally:
                took = clock() - begun
                own[part] += took - inner.pop()
                longest[part] = max(longest[part], took)
                if inner:
                    inner[-1] += took

        setattr(owner, name, timed)

    def clear(self) -> None:
        for part in self.own_s:
            self.own_s[part] = self.longest_s[part] = 0.0


class Turns:
    """Own CPU of each turn of asyncio's own event loop: what everything else in the process has to wait for at the
    most, whatever other work the machine has. Not told by uvloop, whose turns are made elsewhere."""

    def __init__(self) -> None:
        self.taken_s: list[float] = []
        plain, clock, taken = asyncio.BaseEventLoop._run_once, time.thread_time, self.taken_s  # type: ignore[attr-defined]

        def timed(loop: asyncio.BaseEventLoop) -> None:
            begun = clock()
            plain(loop)
            taken.append(clock() - begun)

        asyncio.BaseEventLoop._run_once = timed  # type: ignore[attr-defined]


def waited_s() -> float:
    """How long this process's main thread has waited for a processor. Source of the form: Linux, sched-stats."""
    return int(Path("/proc/self/schedstat").read_text(encoding="ascii").split()[1]) / 1e9


def keep_others_out() -> None:
    """Give this process and those that it starts real-time priority, so that other work of the machine is not measured.
    Raises PermissionError where that is not allowed."""
    os.sched_setscheduler(0, os.SCHED_RR, os.sched_param(1))


def thread_s() -> dict[str, float]:
    """CPU seconds of each thread so far, by name. Source of the form: Linux, sched-stats."""
    found: dict[str, float] = {}
    for thread in threading.enumerate():
        try:
            told = Path(f"/proc/self/task/{thread.native_id}/schedstat").read_text(encoding="ascii")
        except OSError:
            continue
        found[thread.name] = found.get(thread.name, 0.0) + int(told.split()[0]) / 1e9
    return found


def resident_MB() -> float:
    """Memory of this process that is in the machine's, in MB."""
    return int(Path("/proc/self/statm").read_text(encoding="ascii").split()[1]) * 4096 / 1e6
