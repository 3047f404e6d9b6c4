"""The stock sheet of now, and the stock book."""

from console.facts import ActAnswer, Json
from gaugehouse.bookview import Closing, book_json, closing
from gaugehouse.errors import CallError
from gaugehouse.facts.acts import DaemonActs
from gaugehouse.stocksheet import sheet_now, stock_json


class DaemonStock(DaemonActs):
    """See `console.facts.stock`."""

    def stock(self) -> Json:
        now_ms = self._now_ms()
        return stock_json(sheet_now(self._core, now_ms), now_ms)

    async def stock_book(self, kind: str, name: str, product: str | None, tank: str | None) -> Json:
        site, now_ms = self._core.site, self._now_ms()
        try:
            answer: Json = await self._ask(book_json, site, self._store, self._book, now_ms, kind, name, product, tank)
        except CallError as error:
            raise ValueError(str(error)) from error
        return answer

    async def close_stock(
        self, kind: str, name: str, product: str, by: str, comment: str, seal: str | None
    ) -> ActAnswer:
        site, now_ms, invented = self._core.site, self._now_ms(), self._site.simulated
        try:
            found: Closing = await self._ask(
                closing, site, self._store, self._book, now_ms, kind, name, product, by, comment, invented
            )
        except CallError as error:
            raise ValueError(str(error)) from error
        refused = found.refusal(seal)
        return ActAnswer("refused", refused) if refused else await self.act("close_stock", found.fields)
