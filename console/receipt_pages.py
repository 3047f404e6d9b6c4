"""The pages of receipts: the list with the check before one, and each receipt's own, which an operator follows.

Knows which template shows what; refuses to compute or to decide.
"""

from collections.abc import Callable
from typing import Annotated, Final

from fastapi import APIRouter, Path, Query, Request
from fastapi.responses import HTMLResponse

from console import receipt_views, receipt_words
from console.facts import Facts, Json
from console.model import Model
from console.problems import Refused

Render = Callable[..., HTMLResponse]
Number = Annotated[int, Path(ge=1, le=2**31)]
Figure = Annotated[float | None, Query(ge=-100, le=1e9, allow_inf_nan=False)]

MOST_LISTED: Final = 60


class ReceiptPages:
    """Renders the pages below /receipts. render: `console.pages.Pages.render`."""

    def __init__(self, facts: Facts, model: Model, render: Render) -> None:
        self._facts, self._model, self._render = facts, model, render
        self.router = APIRouter(default_response_class=HTMLResponse, include_in_schema=False)
        route = self.router.add_api_route
        route("/receipts", self.receipts)
        route("/receipts/list", self.rows)
        route("/receipts/check", self.check)
        route("/receipts/{number}", self.receipt)
        route("/receipts/{number}/now", self.now)
        route("/receipts/{number}/checks", self.checks)
        route("/receipts/{number}/more", self.more)

    async def receipts(self, request: Request) -> HTMLResponse:
        live = self._facts.live()
        tanks = [(entry["tank"], f"{entry['name']} · {entry['product']}") for entry in live["tanks"]]
        return self._render(
            request,
            "receipts.html",
            live,
            tanks=tanks,
            chosen=request.query_params.get("tank", ""),
            rows=await self._rows(live),
            script=dict(receipt_words.SCRIPT),
        )

    async def rows(self, request: Request) -> HTMLResponse:
        live = self._facts.live()
        return self._render(request, "_receipts.html", live, rows=await self._rows(live))

    async def check(
        self,
        request: Request,
        tank: str,
        observed_m3: Figure = None,
        standard_m3: Figure = None,
        temperature_degC: Figure = None,
        density_15_kgpm3: Figure = None,
        rate_m3_per_h: Figure = None,
    ) -> HTMLResponse:
        """The check before a receipt, as a part of the page."""
        live = self._facts.live()
        fields = {
            "tank": tank, "observed_m3": observed_m3, "standard_m3": standard_m3, "temperature_degC": temperature_degC,
            "density_15_kgpm3": density_15_kgpm3,
            "rate_m3_per_s": None if rate_m3_per_h is None else rate_m3_per_h / 3600,
        }  # fmt: skip
        answer = await self._facts.act("forecast_receipt", fields)
        found = receipt_views.before(answer.body, live["time"], self._model.zone) if answer.status == "done" else None
        return self._render(request, "_receipt_check.html", live, found=found, why=answer.text)

    async def receipt(self, request: Request, number: Number) -> HTMLResponse:
        live = self._facts.live()
        row = await self._row(number)
        return self._render(
            request,
            "receipt.html",
            live,
            r=receipt_views.view(row, live["time"], self._model.zone),
            script=dict(receipt_words.SCRIPT),
        )

    async def now(self, request: Request, number: Number) -> HTMLResponse:
        live = self._facts.live()
        row = await self._row(number)
        return self._render(request, "_receipt.html", live, r=receipt_views.view(row, live["time"], self._model.zone))

    async def checks(self, request: Request, number: Number) -> HTMLResponse:
        live = self._facts.live()
        row = await self._row(number)
        view = receipt_views.view(row, live["time"], self._model.zone)
        return self._render(request, "_receipt_checks.html", live, r=view)

    async def more(self, request: Request, number: Number) -> HTMLResponse:
        live = self._facts.live()
        row = await self._row(number)
        return self._render(
            request, "_receipt_more.html", live, r=receipt_views.view(row, live["time"], self._model.zone)
        )

    async def _row(self, number: int) -> Json:
        row = await self._facts.receipt(number)
        if row is None:
            raise Refused(404, f"there is no receipt {number}")
        return row

    async def _rows(self, live: Json) -> list[Json]:
        rows = await self._facts.receipts()
        return [receipt_views.listed(row, live["time"], self._model.zone) for row in rows[:MOST_LISTED]]
