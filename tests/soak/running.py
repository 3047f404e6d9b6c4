"""Farm and mishaps in this process, the daemon in its own, real Modbus TCP between them, pages asked meanwhile."""

import asyncio
import contextlib
import json
import signal
import sys
import time
from collections import Counter
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any, Final

import httpx
import websockets

from simulator.demo import write_demo
from simulator.demo.layout import DEMO
from simulator.farm import Farm
from simulator.server import FarmServer
from tests.fault.lives import ROOT
from tests.soak.child import SharedClock
from tests.soak.gateways import Gateway, Noted, Served
from tests.soak.growth import Look
from tests.soak.mishaps import WIRE, Mishap, mishaps

SEED: Final = 20260105
START_MS: Final = 1_767_571_200_000
"""2026-01-05 00:00 UTC: the site's clock at the beginning."""
POLLS_PER_S: Final = 6
"""Polls of an instrument in a real second."""
TIMEOUT_MS: Final = 100
PATIENCE_S: Final = 300.0
"""For the daemon to begin and to end, on a machine that is busy with other work."""
FEWEST_LOOKS: Final = 12
"""Of which growth can be told."""
LOOKS: Final = 400
"""How often the daemon looks at itself at the most."""
PAGES: Final = (
    "/", "/alarms", "/alarms/performance", "/buses", "/loops", "/stock", "/tank/north", "/yard", "/api/live",
    "/metrics", "/api/alarms", "/api/movements", "/healthz",
)  # fmt: skip


@dataclass(slots=True)
class Soaked:
    """What came of it. `ended`: the child's last word."""

    hours: float
    speed: float
    period_ms: int
    took_s: float = 0.0
    mishaps: int = 0
    served: list[Served] = field(default_factory=list)
    looks: list[Look] = field(default_factory=list)
    ended: dict[str, Any] = field(default_factory=dict)
    asked: Counter[str] = field(default_factory=Counter)
    heard: int = 0
    site: Path = Path()
    status: int | None = None
    log: str = ""


async def soak(folder: Path, hours: float, speed: float, seed: int = SEED) -> Soaked:
    """So many simulated hours at that many times the speed of real time."""
    period_ms = max(1, round(speed / POLLS_PER_S)) * 1000
    done = Soaked(hours, speed, period_ms)
    clock = SharedClock(speed, time.monotonic(), START_MS)
    farm = Farm(seed, START_MS, replace(DEMO, programme=replace(DEMO.programme, faults=())))
    gateways = {
        g.id: Gateway(Noted(farm, g.id, clock.now_ms), done.served, 1.5 * TIMEOUT_MS / 1000, seed)
        for g in DEMO.gateways
    }
    for gateway in gateways.values():
        await gateway.open()
    done.site = write_demo(folder, [gateway.port for gateway in gateways.values()], f"{period_ms // 1000} s")
    text = done.site.read_text(encoding="utf-8")
    done.site.write_text(text.replace('timeout = "400 ms"', f'timeout = "{TIMEOUT_MS} ms"'), encoding="utf-8")
    with (folder / "daemon.log").open("w") as log:
        child = await asyncio.create_subprocess_exec(
            sys.executable, "-m", "tests.soak.child", str(done.site), str(speed), repr(clock._start_s), str(START_MS),
            str(max(0.5, hours * 3600 / speed / LOOKS)), stdout=asyncio.subprocess.PIPE, stderr=log, cwd=ROOT,
        )  # fmt: skip
    url: asyncio.Future[str] = asyncio.get_running_loop().create_future()
    began_s = time.monotonic()
    try:
        async with asyncio.TaskGroup() as group:
            beside = [group.create_task(FarmServer(farm, clock.now_ms).run())]
            reading = group.create_task(_read(child, done, url))
            async with asyncio.timeout(PATIENCE_S):
                address = await url
            begun_ms = clock.now_ms()
            beside += [group.create_task(_ask(address, done)), group.create_task(_listen(address, done))]
            for one in mishaps(seed, hours, period_ms):
                await clock.sleep_until_elapsed(begun_ms - START_MS + one.at_ms)
                if child.returncode is not None:
                    break
                done.mishaps += 1
                _happen(one, farm, gateways, clock, group)
            if child.returncode is None:
                await clock.sleep_until_elapsed(begun_ms - START_MS + round(hours * 3_600_000))
            while child.returncode is None and len(done.looks) < FEWEST_LOOKS:
                await asyncio.sleep(0.2)  # a busy machine looks more seldom
            for task in beside[1:]:
                task.cancel()
            if child.returncode is None:
                child.send_signal(signal.SIGTERM)
            async with asyncio.timeout(PATIENCE_S):
                done.status = await child.wait()
            await reading
            beside[0].cancel()
    finally:
        if child.returncode is None:
            child.kill()
            await child.wait()
        for gateway in gateways.values():
            await gateway.aclose()
        done.took_s = time.monotonic() - began_s
        done.log = (folder / "daemon.log").read_text(encoding="utf-8")
    return done


def _happen(
    one: Mishap, farm: Farm, gateways: dict[str, Gateway], clock: SharedClock, group: asyncio.TaskGroup
) -> None:
    """Let it begin, and see to its end."""
    if one.kind in WIRE:
        group.create_task(_misbehave(gateways[one.where], one, clock))
    else:
        farm.inject(one.where, one.kind, one.lasts_ms / 1000)


async def _misbehave(gateway: Gateway, one: Mishap, clock: SharedClock) -> None:
    until_ms = clock.elapsed_ms() + one.lasts_ms
    await gateway.turn(one.kind)
    await clock.sleep_until_elapsed(until_ms)
    await gateway.turn("")


async def _read(child: asyncio.subprocess.Process, done: Soaked, url: "asyncio.Future[str]") -> None:
    assert child.stdout is not None
    while line := await child.stdout.readline():
        told = json.loads(line)
        if "url" in told:
            url.set_result(told["url"])
        elif "rss_mb" in told:
            done.looks.append(Look(**told))
        else:
            done.ended = told
    if not url.done():
        url.set_exception(RuntimeError("the daemon did not begin"))


async def _ask(url: str, done: Soaked) -> None:
    """Somebody looks at the pages."""
    async with httpx.AsyncClient(base_url=url, timeout=30) as client:
        while True:
            for path in PAGES:
                try:
                    answer = await client.get(path)
                    done.asked[str(answer.status_code)] += 1
                except httpx.HTTPError as error:
                    done.asked[type(error).__name__] += 1
                await asyncio.sleep(0.5)


async def _listen(url: str, done: Soaked) -> None:
    """A page stays open, and comes back where a machine that is held up cut it off."""
    async for feed in websockets.connect(url.replace("http", "ws") + "feed", origin=url.rstrip("/")):
        with contextlib.suppress(websockets.ConnectionClosed):
            async for _ in feed:
                done.heard += 1
