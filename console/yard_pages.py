"""The yard display: one page for a screen outdoors, and the feed that only such pages listen to."""

from collections.abc import Callable
from typing import Annotated, Final, Literal

from fastapi import APIRouter, Query, Request, WebSocket
from fastapi.responses import HTMLResponse

from console import yard, yard_views, yard_words
from console.chosen import Choice, Feeds, choice_now, chosen
from console.facts import Facts, Json
from console.figures import unit
from console.lookup import ID_PATTERN, known_tank
from console.model import Model
from console.units import FEET_UNIT
from console.yard import YardSetting

Render = Callable[..., HTMLResponse]
USUAL: Final = yard.YardSetting()
HOURS: Final = r"^([01]\d|2[0-3]):[0-5]\d-([01]\d|2[0-3]):[0-5]\d$"

TankId = Annotated[str, Query(pattern=ID_PATTERN)]


class YardPages:
    """Renders /yard and feeds it. render: `console.pages.Pages.render`."""

    def __init__(self, facts: Facts, model: Model, render: Render, build: str) -> None:
        self._facts, self._model, self._render = facts, model, render
        self._feeds = Feeds(facts, build, self._message)
        self.router = APIRouter(default_response_class=HTMLResponse, include_in_schema=False)
        self.router.add_api_route("/yard", self.yard)
        self.router.add_api_websocket_route("/yard/feed", self.feed)

    def _message(self, live: Json, choice: Choice) -> Json:
        with chosen(choice):
            return yard_views.message(self._model, live)

    async def feed(self, socket: WebSocket) -> None:
        """What the yard's screens listen to."""
        await self._feeds.serve(socket)

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
        units: Literal["metric", "us"] | None = None,
        numbers: Literal["space", "comma", "decimal-comma"] | None = None,
    ) -> HTMLResponse:
        asked = choice_now()
        choice = Choice(units or asked.units, numbers or asked.numbers)
        hours = None if night is None else yard.hours(night)
        setting = yard.YardSetting(dist, screen, arc, show, light, hours, turn)
        with chosen(choice):
            return self._page(request, setting, tank, choice)

    def _page(self, request: Request, setting: YardSetting, tank: list[str] | None, choice: Choice) -> HTMLResponse:
        live = self._facts.live()
        for wanted in tank or ():
            known_tank(live, wanted)
        column, label = yard_words.SHOWN[setting.show]
        return self._render(
            request,
            "yard.html",
            live,
            moves=yard_views.message(self._model, live),
            yard=setting,
            tanks=[self._model.fixed(t["tank"]) for t in live["tanks"] if not tank or t["tank"] in tank],
            every=not tank,
            shown_unit=unit(column) if unit(column) != FEET_UNIT else yard_words.FEET,
            label=label.format(unit=unit(column)),
            feed=f"/yard/feed{'?' if choice.query else ''}{choice.query}",
            words=yard_words.PAGE,
        )
