"""The demo's farm, daemon and console with a hand on the clock and on the pumps: what the walks are done on.

It is the demo: the same farm, past, people and site file. Only its clock is steered (it runs at `IDLE` times real time,
and fast through the stretches that a walk waits through), it begins at a time that was given, and what happens on
the farm is told by whoever walks. Arguments: port, folder, begin (ISO time, UTC), days of past. Says ``ready`` and
the link that signs the first person in; then it takes one JSON object a line on stdin and answers each with one.
"""

import asyncio
import json
import sys
import threading
import time
from collections.abc import Mapping
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import Any, Final

from gaugehouse import __version__
from gaugehouse.daemon import Daemon, Options
from gaugehouse.demo import SEED
from gaugehouse.demopast import PERIOD, Past, past_farm
from gaugehouse.demousers import let_in
from gaugehouse.service import stop_on_signals
from gaugehouse.site import load_site
from gaugehouse.stores import open_stores
from simulator.demo import write_demo
from simulator.farm import Farm
from simulator.layout import Act, Planned, Programme
from simulator.server import FarmServer, serve

IDLE: Final = 8.0
FAST: Final = 240.0
POLL: Final = "10 s"
"""How often the buses are asked, on the site's clock: about once a second while nobody is in a hurry."""

_NAP_S: Final = 0.02
_LONGEST_MS: Final = 30_000
"""The site's time passes by no more than this, three polls, from one look at the clock to the next."""


class SteeredClock:
    """A site's clock whose pace can be changed while it runs; it never goes back.

    While the machine gives this process no turn it stands: a second lost would be minutes on the farm at its fast pace,
    in which no instrument answered.
    """

    def __init__(self, start_utc_ms: int, idle: float = IDLE) -> None:
        self._start_utc_ms, self.idle = start_utc_ms, idle
        self._lock = threading.Lock()
        self._looked_s = time.monotonic()
        self._elapsed_ms = 0.0
        self.speed = idle

    def elapsed_ms(self) -> int:
        with self._lock:
            now_s = time.monotonic()
            self._elapsed_ms += min((now_s - self._looked_s) * 1000 * self.speed, _LONGEST_MS)
            self._looked_s = now_s
            return int(self._elapsed_ms)

    def now_ms(self) -> int:
        return self._start_utc_ms + self.elapsed_ms()

    def both_ms(self) -> tuple[int, int]:
        elapsed_ms = self.elapsed_ms()
        return self._start_utc_ms + elapsed_ms, elapsed_ms

    async def sleep_until_elapsed(self, elapsed_ms: int) -> None:
        await asyncio.sleep(0)
        while (left_ms := elapsed_ms - self.elapsed_ms()) > 0:
            await asyncio.sleep(min(_NAP_S, left_ms / 1000 / self.speed))

    def run_at(self, speed: float) -> None:
        self.elapsed_ms()
        self.speed = speed


class PastOfAWalk(Past):
    """The demo's past; but on the day that it ends with nothing happens by itself."""

    def _lay_out(self, time_ms: int) -> None:
        super()._lay_out(time_ms)
        if time_ms >= self.end_ms:
            self.farm.plan(Programme())


class Steering:
    """Does what a walk says: time passes, pumps run, instruments break."""

    def __init__(self, farm: Farm, server: FarmServer, clock: SteeredClock) -> None:
        self._farm, self._server, self._clock = farm, server, clock

    async def do(self, said: Mapping[str, Any]) -> dict[str, Any]:
        await self._server.catch_up()
        match said["do"]:
            case "pass":
                await self._pass(float(said["minutes"]), float(said.get("speed", FAST)))
            case "receive" | "issue":
                act = Act.RECEIVE if said["do"] == "receive" else Act.ISSUE
                self._farm.start(Planned(0, act, said["tank"], said["m3_per_h"], volume_m3=said["m3"]))
            case "stop":
                self._farm.stop(said["tank"])
            case "break":
                self._farm.inject(said["instrument"], said["kind"], None, value=said.get("value"))
            case "mend":
                self._farm.clear(said["instrument"])
            case "look":
                truth = self._farm.truth()[said["tank"]]
                return {"level_m": truth.level_m, "received_m3": truth.received_m3, "issued_m3": truth.issued_m3}
        return {}

    async def _pass(self, minutes: float, speed: float) -> None:
        until_ms = self._clock.elapsed_ms() + round(minutes * 60_000)
        self._clock.run_at(speed)
        await self._clock.sleep_until_elapsed(until_ms)
        self._clock.run_at(self._clock.idle)


async def obey(steering: Steering) -> None:
    loop = asyncio.get_running_loop()
    reader = asyncio.StreamReader()
    await loop.connect_read_pipe(lambda: asyncio.StreamReaderProtocol(reader), sys.stdin)
    while line := await reader.readline():
        print(json.dumps(await steering.do(json.loads(line))), flush=True)


async def main(port: int, folder: Path, start_ms: int, days: int) -> None:
    farm = past_farm(SEED, start_ms, days)
    clock: SteeredClock | None = None
    server = await serve(farm, lambda: start_ms if clock is None else clock.now_ms())
    async with server:
        site = load_site(write_demo(folder, server.ports, PERIOD, stock=True))
        with open_stores(site) as stores:
            for _ in PastOfAWalk(site, stores, farm, start_ms, __version__).run():
                await asyncio.sleep(0)
        clock = SteeredClock(start_ms)
        site = load_site(write_demo(folder, server.ports, POLL, stock=True))
        daemon = Daemon(replace(site, console_port=port), clock, Options(__version__, simulated=True))
        stop_on_signals(daemon)

        async def open_the_door() -> None:
            await daemon.ready.wait()
            print("ready", await let_in(daemon.submit, daemon.url), flush=True)
            await obey(Steering(farm, server, clock))

        async with asyncio.TaskGroup() as group:
            beside = [group.create_task(server.run(), name="farm"), group.create_task(open_the_door(), name="door")]
            await daemon.run()
            for task in beside:
                task.cancel()


if __name__ == "__main__":
    _, given_port, given_folder, begin, given_days = sys.argv
    begin_ms = round(datetime.fromisoformat(begin).timestamp() * 1000)
    asyncio.run(main(int(given_port), Path(given_folder), begin_ms, int(given_days)))
