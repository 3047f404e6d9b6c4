"""The yard display: one page for a screen outdoors, and the feed that only such pages listen to."""

from collections.abc import Callable
from typing import Annotated, Final

from fastapi import APIRouter, Query, Request, WebSocket
from fastapi.responses import HTMLResponse

from console import yard, yard_views, yard_words
from console.facts import Facts
from console.live import Feed
from console.lookup import ID_PATTERN, known_tank
from console.model import Model

Render = Callable[..., HTMLResponse]
USUAL: Final = yard.YardSetting()
HOURS: Final = r"^([01]\d|2[0-3]):[0-5]\d-([01]\d|2[0-3]):[0-5]\d$"

TankId = Annotated[str, Query(pattern=ID_PATTERN)]


class YardPages:
    """Renders /yard and feeds it. render: `console.pages.Pages.render`."""

    def __init__(self, facts: Facts, model: Model, render: Render, build: str) -> None:
        self._facts, self._model, self._render = facts, model, render
        self._feed = Feed(facts, build, lambda live: yard_views.message(model, live))
        self.router = APIRouter(default_response_class=HTMLResponse, include_in_schema=False)
        self.router.add_api_route("/yard", self.yard)
        self.router.add_api_websocket_route("/yard/feed", self.feed)

    async def feed(self, socket: WebSocket) -> None:
        """What the yard's screens listen to."""
        await self._feed.serve(socket)

    async def yard(
        self,
        request: Request,
        dist: Annotated[float, Query(ge=1, le=100, allow_inf_nan=False)] = USUAL.distance_m,
        screen: Annotated[float, Query(ge=5, le=300, allow_inf_nan=False)] = USUAL.screen_inch,
        arc: Annotated[float, Query(ge=yard.LEAST_ARC_MIN, le=yard.MOST_ARC_MIN)] = USUAL.arc_min,
        show: yard.Shown = USUAL.show,
        light: yard.Light = USUAL.light,
        night: Annotated[str | None, Query(pattern=HOURS)] = None,
        turn: Annotated[int, Query(ge=3, le=120)] = USUAL.turn_s,
        tank: Annotated[list[TankId] | None, Query()] = None,
    ) -> HTMLResponse:
        live = self._facts.live()
        for wanted in tank or ():
            known_tank(live, wanted)
        hours = None if night is None else yard.hours(night)
        _, unit, label = yard_words.SHOWN[show]
        return self._render(
            request,
            "yard.html",
            live,
            moves=yard_views.message(self._model, live),
            yard=yard.YardSetting(dist, screen, arc, show, light, hours, turn),
            tanks=[self._model.fixed(t["tank"]) for t in live["tanks"] if not tank or t["tank"] in tank],
            every=not tank,
            unit=unit,
            label=label,
            words=yard_words.PAGE,
        )
