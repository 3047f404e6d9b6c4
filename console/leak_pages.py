"""The page of leak tests: a tank's newest quiet hours, and the tests that were signed. Refuses to compute."""

from collections.abc import Callable
from typing import Annotated

from fastapi import APIRouter, Query, Request
from fastapi.responses import HTMLResponse

from console import leak_views, leak_words
from console.facts import Facts, FactsUnavailable
from console.lookup import ID_PATTERN, known_tank
from console.model import Model

Render = Callable[..., HTMLResponse]


class LeakPages:
    """Renders /leak. render: `console.pages.Pages.render`."""

    def __init__(self, facts: Facts, model: Model, render: Render) -> None:
        self._facts, self._model, self._render = facts, model, render
        self.router = APIRouter(default_response_class=HTMLResponse, include_in_schema=False)
        self.router.add_api_route("/leak", self.leak)

    async def leak(
        self, request: Request, tank: Annotated[str | None, Query(pattern=ID_PATTERN)] = None
    ) -> HTMLResponse:
        live = self._facts.live()
        named = self._facts.leak_tanks()
        shown = tank or next(iter(named), live["tanks"][0]["tank"])
        known_tank(live, shown)
        now, zone = live["time"], self._model.zone
        try:
            found = await self._facts.leak(shown, None, None)
            records = await self._facts.leak_tests(None)
        except FactsUnavailable:
            found, records = None, []
        return self._render(
            request,
            "leak.html",
            live,
            tanks=[(entry["tank"], self._model.fixed(entry["tank"])["name"]) for entry in live["tanks"]],
            shown=shown,
            suspected=leak_views.suspected(self._facts.leak_suspected(shown), now, zone),
            test=None if found is None else leak_views.sheet(found, now, zone),
            records=leak_views.signed_rows(records, now, zone),
            leak_words=leak_words.PAGE,
            what_it_is=leak_words.WHAT_IT_IS,
        )
