"""Receipts, from their plan to their decision."""

import asyncio
from typing import Final

from console.facts import Json, PaperSize
from gaugehouse.facts.asking import Asking
from gaugehouse.paper import pdf_of
from gaugehouse.receiptjson import receipt_json
from gaugehouse.receiptpaper import paper_of as receipt_paper_of
from gaugehouse.receiptrecords import receipt_record, receipts_of

MOST_RECEIPTS: Final = 200
"""So many of those that are over are told at once; each is there by its number."""


class DaemonReceipts(Asking):
    """See `console.facts.receipts`."""

    async def receipts(self) -> list[Json]:
        over: list[Json] = await self._ask(receipts_of, self._book, MOST_RECEIPTS)
        return [receipt_json(self._core, one) for one in reversed(self._core.receipts.all())] + over

    async def receipt(self, number: int) -> Json | None:
        open_one = self._core.receipts.get(number)
        if open_one is not None:
            return receipt_json(self._core, open_one)
        found: Json | None = await self._ask(receipt_record, self._book, number)
        return found

    async def receipt_paper(self, number: int, size: PaperSize) -> bytes | None:
        found: Json | None = await self._ask(receipt_record, self._book, number)
        if found is None:
            return None
        paper = receipt_paper_of(found, self._site.name, self._site.zone, size=size)
        return await asyncio.to_thread(pdf_of, paper)
