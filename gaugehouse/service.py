"""`gaugehouse run`: one daemon as a process, from its site file to a clean stop by a signal."""

import asyncio
import logging
import signal
import sys
from argparse import Namespace
from collections.abc import Awaitable
from functools import partial
from pathlib import Path

from collector.clock import RealClock
from gaugehouse import __version__
from gaugehouse.daemon import Daemon, Options
from gaugehouse.fastloop import runner, settle_memory
from gaugehouse.site import load_site
from models.errors import GaugehouseError

log = logging.getLogger(__name__)


def run(args: Namespace) -> int:
    """The daemon until SIGINT or SIGTERM. Raises what `Daemon.run` raises."""
    site = load_site(Path(args.site))
    for warning in site.warnings:
        log.warning("%s", warning.text)
    options = Options(build=__version__, record=args.record, on_ready=partial(_say_where, len(site.tanks)))
    with runner() as loop:
        return loop.run(_run(Daemon(site, RealClock(), options)))


def _say_where(tanks: int, url: str) -> None:
    settle_memory(tanks)
    print(f"console: {url}", file=sys.stderr, flush=True)


async def _run(daemon: Daemon) -> int:
    stopped = stop_on_signals(daemon)
    await unwrapped(daemon.run())
    return status_of(stopped)


def stop_on_signals(daemon: Daemon) -> list[signal.Signals]:
    """SIGINT and SIGTERM end the daemon in order; the list tells afterwards which of them came."""
    came: list[signal.Signals] = []

    def stop(number: signal.Signals) -> None:
        came.append(number)
        daemon.stop()

    loop = asyncio.get_running_loop()
    for number in (signal.SIGINT, signal.SIGTERM):
        loop.add_signal_handler(number, stop, number)
    return came


def status_of(stopped: list[signal.Signals]) -> int:
    """130 when a person interrupted it at the keyboard, 0 when it was told to end."""
    return 130 if signal.SIGINT in stopped else 0


async def unwrapped(work: Awaitable[None]) -> None:
    """Await something that runs task groups; an expected error comes out as itself, not inside a group."""
    try:
        await work
    except* GaugehouseError as group:
        raise _first(group) from None


def _first(group: BaseExceptionGroup[GaugehouseError]) -> GaugehouseError:
    error = group.exceptions[0]
    return _first(error) if isinstance(error, BaseExceptionGroup) else error
