"""The stock page: what the tanks hold, and the stock book of a day or a month with its close.

Knows which template shows what; refuses to compute.
"""

from collections.abc import Callable

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse

from console import stock_views
from console.facts import Facts, FactsUnavailable, Json
from console.model import Model
from console.stock_api import DayName, MonthName, book_of
from console.stock_words import BOOK_PAGE

Render = Callable[..., HTMLResponse]


class StockPages:
    """Renders the pages below /stock. render: `console.pages.Pages.render`."""

    def __init__(self, facts: Facts, model: Model, render: Render) -> None:
        self._facts, self._model, self._render = facts, model, render
        self.router = APIRouter(default_response_class=HTMLResponse, include_in_schema=False)
        self.router.add_api_route("/stock", self.stock)
        self.router.add_api_route("/stock/book", self.book)

    async def stock(self, request: Request, day: DayName = None, month: MonthName = None) -> HTMLResponse:
        live = self._facts.live()
        sheet = stock_views.sheet(self._facts.stock(), live["time"], self._model.zone)
        book = await self._book(live, day, month)
        return self._render(request, "stock.html", live, sheet=sheet, book=book, book_words=BOOK_PAGE)

    async def book(self, request: Request, day: DayName = None, month: MonthName = None) -> HTMLResponse:
        """The part of the page that changes when something is closed."""
        live = self._facts.live()
        book = await self._book(live, day, month)
        return self._render(request, "_stock_book.html", live, book=book, book_words=BOOK_PAGE)

    async def _book(self, live: Json, day: str | None, month: str | None) -> Json | None:
        """None where the record book or the readings cannot be read now."""
        try:
            answer = await book_of(self._facts, day, month, None, None)
        except FactsUnavailable:
            return None
        return stock_views.book(answer, live["time"], self._model.zone)
