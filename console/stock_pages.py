"""The stock pages: what the tanks hold and the stock book. Knows which template shows what; refuses to compute."""

from collections.abc import Callable

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse

from console import stock_views
from console.facts import Facts
from console.model import Model

Render = Callable[..., HTMLResponse]


class StockPages:
    """Renders the pages below /stock. render: `console.pages.Pages.render`."""

    def __init__(self, facts: Facts, model: Model, render: Render) -> None:
        self._facts, self._model, self._render = facts, model, render
        self.router = APIRouter(default_response_class=HTMLResponse, include_in_schema=False)
        self.router.add_api_route("/stock", self.stock)

    async def stock(self, request: Request) -> HTMLResponse:
        live = self._facts.live()
        sheet = stock_views.sheet(self._facts.stock(), live["time"], self._model.zone)
        return self._render(request, "stock.html", live, sheet=sheet)
