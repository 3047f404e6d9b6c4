"""Leak tests of quiet tanks."""

import asyncio

from console.facts import Json, PaperSize
from gaugehouse.facts.asking import Asking
from gaugehouse.leakacts import leak_tests, suspected_json
from gaugehouse.leakpaper import paper_of as leak_paper_of
from gaugehouse.leakwork import leak, outcome_json
from gaugehouse.paper import pdf_of


class DaemonLeak(Asking):
    """See `console.facts.leak`."""

    def leak_tanks(self) -> list[str]:
        return list(self._core.site.leak.tanks)

    async def leak(self, tank: str, from_ms: int | None, to_ms: int | None) -> Json:
        site, now_ms = self._core.site, self._now_ms()
        outcome = await self._ask(leak, site, self._store, self._book, tank, now_ms, from_ms, to_ms)
        return outcome_json(site, outcome)

    def leak_suspected(self, tank: str) -> Json | None:
        stands = self._core.leaks.get(tank)
        return None if stands is None else suspected_json(stands)

    async def leak_tests(self, tank: str | None) -> list[Json]:
        records: list[Json] = await self._ask(leak_tests, self._book, tank)
        return records

    async def leak_paper(self, number: int, size: PaperSize) -> bytes | None:
        site = self._core.site
        record = next((one for one in await self.leak_tests(None) if one["number"] == number), None)
        if record is None:
            return None
        paper = leak_paper_of(record, site.name, site.zone, site.volume_correction, size=size)
        return await asyncio.to_thread(pdf_of, paper)
