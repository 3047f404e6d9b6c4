"""A daemon on the simulated farm, in this process, over real Modbus TCP."""

import asyncio
import contextlib
from collections.abc import AsyncIterator, Callable, Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

import httpx

from collector.clock import RealClock
from gaugehouse.daemon import Daemon, Options
from gaugehouse.demo import period_of
from gaugehouse.site import Site, load_site
from simulator.demo import write_demo
from simulator.farm import Farm
from simulator.server import serve

READY_S = 60.0
PATIENCE_S = 60.0
"""Of a test for the daemon: a machine that gives the test no turn for some seconds is no finding."""


class Running:
    """A running daemon with its farm and site."""

    def __init__(self, daemon: Daemon, farm: Farm, site: Site, clock: RealClock) -> None:
        self.daemon, self.farm, self.site, self.clock = daemon, farm, site, clock

    async def until(self, what: "object", seconds: float = PATIENCE_S) -> None:
        """Wait until a condition of the live state holds."""
        facts = self.daemon.facts
        assert facts is not None
        assert callable(what)
        async with asyncio.timeout(seconds):
            live = facts.live()
            while not what(live):
                live = await facts.newer_live(live["seq"])

    def client(self, **more: Any) -> httpx.AsyncClient:
        """Someone who asks the console."""
        return httpx.AsyncClient(base_url=self.daemon.url, timeout=PATIENCE_S, **more)


def blind_to_its_disk(site: Site) -> Site:
    """The site without the alarm that would come of the disk on which the tests run."""
    watched = tuple(
        replace(one, limits=tuple(limit for limit in one.limits if limit.condition != "disk_filling"))
        for one in site.watched
    )
    return replace(site, watched=watched)


@contextlib.asynccontextmanager
async def running(
    folder: Path,
    *,
    speed: float = 1.0,
    record: Path | None = None,
    more: str = "",
    watch_disk: bool = False,
    changes: Mapping[str, Any] | None = None,
    clock: RealClock | None = None,
    edit: Callable[[str], str] = str,
    pace_ms: int = 0,
) -> AsyncIterator[Running]:
    """Farm and daemon until the block is left; then the daemon is stopped as a signal would stop it.

    more: what else stands in the site file. changes: fields of the site that are set past it. clock: the daemon's own,
    where it is not the farm's. edit: what is changed in the text of the site file. pace_ms: coarser
    steps of the farm, for a speed at which its own would take all of a core.
    """
    physics = RealClock(speed)
    clock = clock or physics
    farm = Farm(1, physics.now_ms())
    if pace_ms:
        farm.pace(pace_ms, look_ms=pace_ms)
    async with await serve(farm, physics.now_ms) as server:
        path = write_demo(folder, server.ports, period_of(speed))
        path.write_text(edit(path.read_text(encoding="utf-8")) + more, encoding="utf-8")
        site = replace(load_site(path), console_port=0, **(changes or {}))
        site = site if watch_disk else blind_to_its_disk(site)
        daemon = Daemon(site, clock, Options(build="test", simulated=True, record=record))
        async with asyncio.TaskGroup() as group:
            keeping_up = group.create_task(server.run())
            task = group.create_task(daemon.run())
            ready = group.create_task(daemon.ready.wait())
            await asyncio.wait({task, ready}, return_when=asyncio.FIRST_COMPLETED, timeout=READY_S)
            if daemon.ready.is_set():
                yield Running(daemon, farm, site, clock)
            daemon.stop()
            ready.cancel()
            await asyncio.wait({task})
            keeping_up.cancel()
