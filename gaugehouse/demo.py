"""`gaugehouse demo`: a simulated farm on real Modbus TCP, the daemon and the console, all in one process.

Every start is a new farm with a new store: a demo at speed leaves a clock behind that has run ahead of ours. It begins
with a past of some days (`gaugehouse.demopast`), so that every page has something to show.
"""

import asyncio
import math
import sys
from argparse import Namespace
from collections.abc import Callable
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import Final

from collector.clock import RealClock
from gaugehouse import __version__
from gaugehouse.daemon import Daemon, Options
from gaugehouse.demopast import PERIOD, Past, past_farm
from gaugehouse.demousers import PASSWORD, PEOPLE, let_in
from gaugehouse.errors import CallError, CouldNot
from gaugehouse.service import status_of, stop_on_signals, unwrapped
from gaugehouse.site import load_site
from gaugehouse.stores import RECORDS, open_stores
from history.errors import StoreError
from history.lock import WriterLock
from simulator.demo import write_demo
from simulator.demo.past import DAYS
from simulator.errors import SimulatorError
from simulator.farm import Farm
from simulator.server import FarmServer, serve

SEED: Final = 1
MARK: Final = "simulated-farm.txt"
POLLS_PER_S: Final = 10
"""Polls of an instrument in a real second at most; a faster demo polls less often on the site's clock."""


def demo(args: Namespace) -> int:
    """Run the demo until it is interrupted."""
    folder: Path = args.dir
    _make_room(folder)
    return asyncio.run(_demo(folder, args.port, args.speed, args.at, bare=args.bare))


def period_of(speed: float) -> str:
    """How often the demo's instruments are polled, on the site's clock."""
    return f"{max(1, math.ceil(speed / POLLS_PER_S))} s"


def _make_room(folder: Path) -> None:
    """A folder of our own with nothing of an earlier demo in it; anything else there is left alone by refusing."""
    mark = folder / MARK
    try:
        if folder.is_dir() and any(folder.iterdir()) and not mark.exists():
            raise CallError(f"--dir {folder}: holds files that no demo made; name an empty or a new folder")
        store = folder / "store"
        store.mkdir(parents=True, exist_ok=True)
        try:
            lock = WriterLock(store / RECORDS, "store")
        except StoreError as error:
            raise CouldNot(
                f"--dir {folder}: another demo runs there; end it, or name another folder ({error})"
            ) from error
        for file in store.iterdir():
            if file != lock.path and file.is_file():
                file.unlink()
        lock.release()
        mark.write_text(
            "Everything in this folder comes from a simulated fuel farm: invented tanks, invented figures.\n"
            "The next demo in this folder deletes the store and begins anew.\n",
            encoding="utf-8",
        )
    except OSError as error:
        raise CouldNot(f"--dir {folder}: cannot be used: {error.strerror}") from error


class _SiteClock:
    """The site's clock, which stands where the past ends until the demo begins."""

    def __init__(self, at_ms: int | None) -> None:
        self.running: RealClock | None = None
        self.stands_ms = RealClock(start_ms=at_ms).now_ms()

    def now_ms(self) -> int:
        return self.stands_ms if self.running is None else self.running.now_ms()


async def _demo(folder: Path, port: int, speed: float, at_ms: int | None, *, bare: bool) -> int:
    """at_ms: the time that it is where the farm is, None for now."""
    told = _SiteClock(at_ms)
    # the farm of the past goes on as the demo's own, so its gateways are there before its days have passed
    farm = Farm(SEED, told.stands_ms) if bare else past_farm(SEED, told.stands_ms)
    try:
        server = await serve(farm, told.now_ms)
    except SimulatorError as error:
        raise CouldNot(str(error)) from error
    async with server:
        if not bare:
            await _make_past(folder, server, told.stands_ms)
        clock = told.running = RealClock(speed, at_ms)
        site = load_site(write_demo(folder, server.ports, period_of(speed), stock=not bare))
        site = replace(site, console_port=port)
        say = partial(_say_where, speed)
        daemon = Daemon(site, clock, Options(__version__, simulated=True, on_ready=say if bare else None))
        stopped = stop_on_signals(daemon)
        await unwrapped(_together(daemon, server, None if bare else say))
        return status_of(stopped)


async def _make_past(folder: Path, server: FarmServer, end_ms: int) -> None:
    """Let the days before the demo pass, and write them where the daemon will look."""
    print(f"{DAYS} days of the simulated farm pass before it opens ...", file=sys.stderr, flush=True)
    site = load_site(write_demo(folder, server.ports, PERIOD, stock=True))
    with open_stores(site) as stores:
        past = Past(site, stores, server.farm, end_ms, __version__)
        for _ in past.run():
            await asyncio.sleep(0)  # so that Ctrl+C is heard
    print(
        f"{DAYS} days of the simulated farm have passed in {past.took_s:.1f} s: {past.readings} readings, "
        f"{past.acts} acts of invented people (`--bare` begins without)",
        file=sys.stderr,
    )


def _say_where(speed: float, url: str, enter: str = "") -> None:
    pace = "" if speed == 1 else f", {speed:g} times faster than real time"
    print(f"\nSIMULATED FARM (invented tanks and figures{pace})", file=sys.stderr)
    print(f"\n    {enter or url}\n", file=sys.stderr)
    if enter:
        who = ", ".join(f"{name} ({role})" for name, role in PEOPLE.items())
        print(f"The link signs {next(iter(PEOPLE))} in, once. By password, at {url}: {who}.", file=sys.stderr)
        print(f"The password of all four is: {PASSWORD}\n", file=sys.stderr)
    print("Stop with Ctrl+C.\n", file=sys.stderr, flush=True)


async def _together(daemon: Daemon, server: FarmServer, say: Callable[[str, str], None] | None) -> None:
    """say: told the console's address and the link that signs in; without it nobody needs to sign in."""

    async def open_the_door(say: Callable[[str, str], None]) -> None:
        await daemon.ready.wait()
        say(daemon.url, await let_in(daemon.submit, daemon.url))

    async with asyncio.TaskGroup() as group:
        beside = [group.create_task(server.run(), name="farm")]
        if say is not None:
            beside.append(group.create_task(open_the_door(say), name="users"))
        await daemon.run()
        for task in beside:
            task.cancel()
