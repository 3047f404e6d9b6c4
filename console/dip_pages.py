"""The pages of dips: all tanks at a glance, and one tank with its entry forms, its dips and its gauge.

Knows which template shows what; refuses to compute or to decide.
"""

from collections.abc import Callable
from typing import Final

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse

from console import dip_views, dip_words
from console.api import DAY_MS, NO_END_MS
from console.facts import Facts, FactsUnavailable, Json
from console.lookup import TankId, known_tank, time_ms
from console.model import Model

DAYS: Final = 400
MOST: Final = 60
READINGS: Final = 5

Render = Callable[..., HTMLResponse]


class DipPages:
    """render: `console.pages.Pages.render`."""

    def __init__(self, facts: Facts, model: Model, render: Render) -> None:
        self._facts, self._model, self._render = facts, model, render
        self.router = APIRouter(default_response_class=HTMLResponse, include_in_schema=False)
        self.router.add_api_route("/dips", self.dips)
        self.router.add_api_route("/dips/{tank}", self.tank)
        self.router.add_api_route("/dips/{tank}/state", self.state)
        self.router.add_api_route("/dips/{tank}/now", self.now)

    async def dips(self, request: Request) -> HTMLResponse:
        live = self._facts.live()
        lines = [self._line(live, entry) for entry in live["tanks"]]
        return self._render(request, "dips.html", live, lines=lines, dip_caution=dip_words.CAUTION)

    async def tank(self, request: Request, tank: TankId) -> HTMLResponse:
        live = self._facts.live()
        entry = known_tank(live, tank)
        return self._render(
            request,
            "dip.html",
            live,
            entry=entry,
            readings=range(1, READINGS + 1),
            dip_caution=dip_words.CAUTION,
            dip_words=dict(dip_words.SCRIPT),
            line=self._line(live, entry),
            **await self._changing(live, entry),
        )

    async def state(self, request: Request, tank: TankId) -> HTMLResponse:
        live = self._facts.live()
        return self._render(request, "_dip_state.html", live, line=self._line(live, known_tank(live, tank)))

    async def now(self, request: Request, tank: TankId) -> HTMLResponse:
        live = self._facts.live()
        entry = known_tank(live, tank)
        return self._render(request, "_dip.html", live, **await self._changing(live, entry))

    def _line(self, live: Json, entry: Json) -> Json:
        return dip_views.overview(entry, self._facts.dips.state(entry["tank"]), live["time"], self._model.zone)

    async def _changing(self, live: Json, entry: Json) -> Json:
        """What a dip changes; `told` is None where the store cannot be read now."""
        tank, now, zone = entry["tank"], live["time"], self._model.zone
        from_ms = time_ms(now) - DAYS * DAY_MS
        try:
            told = await self._facts.dips.trend(tank)
            dips = await self._facts.dips.rows(tank, from_ms, NO_END_MS)
            samples = await self._facts.dips.samples(tank, from_ms, NO_END_MS)
        except FactsUnavailable:
            return {"told": None, "dips": [], "samples": []}
        return {
            "told": dip_views.trend(told, now, zone),
            "dips": dip_views.rows(dips[:MOST], told["limit_m"], now, zone),
            "samples": dip_views.sample_rows(samples[:MOST], now, zone),
        }
