"""The page of a loop check, made for a phone beside the instrument, and its part that is fetched anew.

Knows which template shows what; refuses to compute or to decide.
"""

from collections.abc import Callable
from typing import Final

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse

from console import check_views, check_words
from console.facts import Facts, Json
from console.lookup import InstrumentId, known_loop
from console.model import Model

POINTS_MA: Final = (4, 8, 12, 16, 20)

Render = Callable[..., HTMLResponse]


class CheckPages:
    """Renders the pages of loop checks. render: `console.pages.Pages.render`."""

    def __init__(self, facts: Facts, model: Model, render: Render) -> None:
        self._facts, self._model, self._render = facts, model, render
        self.router = APIRouter(default_response_class=HTMLResponse, include_in_schema=False)
        self.router.add_api_route("/loops/{instrument}/check", self.check)
        self.router.add_api_route("/loops/{instrument}/check/now", self.now)

    async def check(self, request: Request, instrument: InstrumentId) -> HTMLResponse:
        live = self._facts.live()
        changing = await self._changing(live, instrument)
        return self._render(
            request,
            "check.html",
            live,
            l=self._facts.loop_facts(instrument),
            points=POINTS_MA,
            fields=check_words.FIELDS.items(),
            check_caution=check_words.CAUTION,
            check_words=dict(check_words.SCRIPT),
            **changing,
        )

    async def now(self, request: Request, instrument: InstrumentId) -> HTMLResponse:
        live = self._facts.live()
        return self._render(request, "_check.html", live, **await self._changing(live, instrument))

    async def _changing(self, live: Json, instrument: str) -> Json:
        names = {entry["tank"]: entry["name"] for entry in live["tanks"]}
        check, now, zone = known_loop(live, instrument).get("check"), live["time"], self._model.zone
        return {
            "instrument": instrument,
            "check": None if check is None else check_views.sheet(check, names, now, zone),
            "records": check_views.record_rows(await self._facts.check_records(instrument), now, zone),
        }
