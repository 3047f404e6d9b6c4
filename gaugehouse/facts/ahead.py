"""What lies ahead: how long the fuel lasts, and what somebody has to do."""

from console.facts import Json
from gaugehouse.duework import due_list, dues_of_book, dues_of_core
from gaugehouse.facts.asking import Asking
from gaugehouse.forecastwork import forecasts, held_of


class DaemonAhead(Asking):
    """See `console.facts.ahead`."""

    async def forecast(self) -> list[Json]:
        core = self._core
        newest = {name: keeper.latest for name, keeper in core.keepers.items()}
        now_ms = self._now_ms()
        held = held_of(core, now_ms)
        rows: list[Json] = await self._ask(forecasts, core.site, self._store, self._book, newest, now_ms, held)
        return rows

    async def due(self) -> Json:
        now_ms = self._now_ms()
        dues = dues_of_core(self._core, now_ms)
        return due_list([*dues, *await self._ask(dues_of_book, self._core.site, self._book, now_ms)], now_ms)
