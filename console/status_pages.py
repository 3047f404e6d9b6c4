"""The release page: what each tank is ready for, and the forms by which people say so.

Knows which template shows what; refuses to compute or to decide.
"""

from collections.abc import Callable
from typing import Final

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse

from console import status_views, status_words
from console.facts import Facts, FactsUnavailable, Json
from console.lookup import time_ms
from console.model import Model

HISTORY_DAYS: Final = 7
MOST_ROWS: Final = 40
DAY_MS: Final = 86_400_000

Render = Callable[..., HTMLResponse]


class StatusPages:
    """Renders /status and its part that is fetched anew. render: `console.pages.Pages.render`."""

    def __init__(self, facts: Facts, model: Model, render: Render) -> None:
        self._facts, self._model, self._render = facts, model, render
        self.router = APIRouter(default_response_class=HTMLResponse, include_in_schema=False)
        self.router.add_api_route("/status", self.status)
        self.router.add_api_route("/status/now", self.now)

    async def status(self, request: Request) -> HTMLResponse:
        live = self._facts.live()
        chosen = request.query_params.get("tank", "")
        return self._render(
            request,
            "status.html",
            live,
            chosen=chosen,
            status_acts=status_words.ACTS,
            status_caution=status_words.CAUTION,
            status_words=dict(status_words.SCRIPT),
            no_status=status_words.STATUS["no_status"],
            **await self._changing(live),
        )

    async def now(self, request: Request) -> HTMLResponse:
        live = self._facts.live()
        return self._render(request, "_status.html", live, **await self._changing(live))

    async def _changing(self, live: Json) -> Json:
        zone, now = self._model.zone, live["time"]
        tanks = {entry["tank"]: entry for entry in live["tanks"]}
        now_ms = time_ms(now)
        try:
            batches = {one["tank"]: one for one in await self._facts.batches(None)}
            past = await self._facts.status_rows(None, now_ms - HISTORY_DAYS * DAY_MS, now_ms + DAY_MS)
        except FactsUnavailable:
            batches, past = {}, None
        rows = [
            status_views.row(tanks[one["tank"]], one, batches.get(one["tank"]), now, zone)
            for one in self._facts.tank_status()
        ]
        names = {tank: entry["name"] for tank, entry in tanks.items()}
        history = None if past is None else status_views.history(past[:MOST_ROWS], names, now, zone)
        return {"rows": rows, "history": history}
