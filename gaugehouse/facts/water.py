"""Water in the tanks: accounts of it, and looks at the drains."""

from collections.abc import Sequence

from console.facts import Json
from gaugehouse.drainrecords import check_rows
from gaugehouse.facts.asking import Asking
from gaugehouse.waterwork import water_json, waters_of


class DaemonWater(Asking):
    """See `console.facts.water`."""

    async def water(self, tanks: Sequence[str]) -> list[Json]:
        air, now_ms = self._core.waterlog.air(), self._now_ms()
        told = await self._ask(waters_of, self._core.site, self._store, self._book, air, tanks, now_ms)
        return [water_json(one) for one in told]

    async def drain_checks(self, tank: str | None) -> list[Json]:
        rows: list[Json] = await self._ask(check_rows, self._book, tank)
        return sorted(rows, key=lambda row: (row["day"], row["number"]), reverse=True)
