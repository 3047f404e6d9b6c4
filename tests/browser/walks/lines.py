"""The simulated farm's gateways alone, in real time, with a hand on its instruments: what a site is commissioned on.

Argument: none. Says ``ready`` and the gateways' ports, then obeys as `tests.browser.walks.serve` does.
"""

import asyncio
import time
from dataclasses import replace

from gaugehouse.demo import SEED
from simulator.demo.layout import DEMO
from simulator.farm import Farm
from simulator.layout import Programme
from simulator.server import serve
from tests.browser.walks.serve import SteeredClock, Steering, obey


async def main() -> None:
    start_ms = time.time_ns() // 1_000_000
    clock = SteeredClock(start_ms, idle=1.0)
    farm = Farm(SEED, start_ms, replace(DEMO, programme=Programme()))
    server = await serve(farm, clock.now_ms)
    async with server, asyncio.TaskGroup() as group:
        moving = group.create_task(server.run(), name="farm")
        print("ready", *server.ports, flush=True)
        await obey(Steering(farm, server, clock))
        moving.cancel()


if __name__ == "__main__":
    asyncio.run(main())
