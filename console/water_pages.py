"""The pages of water, forecast and the due list. Knows which template shows what; refuses to compute or to decide."""

from collections.abc import Awaitable, Callable
from typing import Any, Final

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse

from console import forecast_views, water_views, water_words
from console.facts import Facts, FactsUnavailable, Json
from console.model import Model
from inventory.draincheck import APPEARANCES, CAUTION

MOST_CHECKS: Final = 40
Render = Callable[..., HTMLResponse]


class WaterPages:
    """Renders /water, /forecast and /due with their parts. render: `console.pages.Pages.render`."""

    def __init__(self, facts: Facts, model: Model, render: Render) -> None:
        self._facts, self._model, self._render = facts, model, render
        self.router = APIRouter(default_response_class=HTMLResponse, include_in_schema=False)
        route = self.router.add_api_route
        route("/water", self.water)
        route("/water/checks", self.checks)
        route("/forecast", self.forecast)
        route("/due", self.due)
        route("/due/list", self.due_list)

    async def water(self, request: Request) -> HTMLResponse:
        live = self._facts.live()
        names, zone = self._names(live), self._model.zone
        told = await self._or_none(self._accounts, live)
        return self._render(
            request,
            "water.html",
            live,
            accounts=None
            if told is None
            else [water_views.account(one, names[one["tank"]], live["time"], zone) for one in told],
            checks=await self._checks(live),
            tanks=[(entry["tank"], entry["name"]) for entry in live["tanks"]],
            appearances=APPEARANCES,
            drain_caution=CAUTION,
            w=water_words.WATER,
            script=water_words.SCRIPT,
        )

    async def checks(self, request: Request) -> HTMLResponse:
        live = self._facts.live()
        rows = await self._checks(live)
        return self._render(request, "_drain_checks.html", live, checks=rows, w=water_words.WATER)

    async def forecast(self, request: Request) -> HTMLResponse:
        live = self._facts.live()
        told = await self._or_none(self._facts.forecast)
        rows = (
            None if told is None else forecast_views.forecast(told, self._names(live), live["time"], self._model.zone)
        )
        return self._render(request, "forecast.html", live, rows=rows, w=water_words.FORECAST)

    async def due(self, request: Request) -> HTMLResponse:
        live = self._facts.live()
        return self._render(request, "due.html", live, due=await self._due(live), w=water_words.DUE)

    async def due_list(self, request: Request) -> HTMLResponse:
        live = self._facts.live()
        return self._render(request, "_due_list.html", live, due=await self._due(live), w=water_words.DUE)

    async def _accounts(self, live: Json) -> list[Json]:
        return await self._facts.water([entry["tank"] for entry in live["tanks"]])

    async def _checks(self, live: Json) -> list[Json] | None:
        rows = await self._or_none(self._facts.drain_checks, None)
        if rows is None:
            return None
        return water_views.checks(rows[:MOST_CHECKS], self._names(live), live["time"], self._model.zone)

    async def _due(self, live: Json) -> Json | None:
        told = await self._or_none(self._facts.due)
        return None if told is None else water_views.due(told, self._names(live), live["time"], self._model.zone)

    def _names(self, live: Json) -> dict[str, str]:
        alarms = {alarm["id"]: alarm["name"] for alarm in self._facts.every_alarm()}
        places = self._model.places(live)
        products = {entry["tank"]: entry["product"] for entry in live["tanks"]}
        held = {one["product"]: products.get(one["id"], "") for one in self._facts.document_facts()["tanks"]}
        return held | {key: f"{places.get(key.partition('.')[0], '')}: {name}" for key, name in alarms.items()} | places

    @staticmethod
    async def _or_none(ask: Callable[..., Awaitable[Any]], *args: object) -> Any:
        """None where the store or the record book cannot be read now."""
        try:
            return await ask(*args)
        except FactsUnavailable:
            return None
