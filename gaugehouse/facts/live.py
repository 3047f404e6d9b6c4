"""The newest state, made anew once a second."""

import asyncio

from console.facts import Json
from gaugehouse.facts.asking import Asking, House


class DaemonLive(Asking):
    """See `console.facts.live`."""

    def __init__(self, house: House) -> None:
        super().__init__(house)
        self._live = self._view.build(0, self._clock.now_ms())
        self._newer = asyncio.Event()

    async def pulse(self) -> None:
        """Make a new live object once a real second, for as long as the daemon runs."""
        seq = 0
        while True:
            seq += 1
            building = self._view.building(seq, self._clock.now_ms())
            while True:
                try:
                    next(building)
                except StopIteration as done:
                    self._live = done.value
                    break
                await asyncio.sleep(0)
            waiting, self._newer = self._newer, asyncio.Event()
            waiting.set()
            await asyncio.sleep(1.0)

    def live(self) -> Json:
        return self._live

    async def newer_live(self, seq: int) -> Json:
        while self._live["seq"] == seq:
            await self._newer.wait()
        return self._live
