"""The alarm pages: what stands, every alarm of the site, how they perform. Parts that a page fetches anew as well.

Knows which template shows what; refuses to compute or to decide.
"""

from collections.abc import Callable
from typing import Annotated, Final

from fastapi import APIRouter, Query, Request
from fastapi.responses import HTMLResponse

from console import alarm_views, performance_views, words
from console.facts import Facts, Json
from console.lookup import time_ms
from console.model import Model

DAY_MS: Final = 86_400_000
HISTORY_DAYS: Final = 7
MOST_ROWS: Final = 200

Render = Callable[..., HTMLResponse]


class AlarmPages:
    """Renders the pages below /alarms. render: `console.pages.Pages.render`."""

    def __init__(self, facts: Facts, model: Model, render: Render) -> None:
        self._facts, self._model, self._render = facts, model, render
        self.router = APIRouter(default_response_class=HTMLResponse, include_in_schema=False)
        route = self.router.add_api_route
        route("/alarms", self.standing)
        route("/alarms/list", self.standing_list)
        route("/alarms/history", self.history)
        route("/alarms/every", self.every)
        route("/alarms/every/list", self.every_list)
        route("/alarms/performance", self.performance)

    async def standing(self, request: Request) -> HTMLResponse:
        live = self._facts.live()
        return self._render(
            request,
            "alarms.html",
            live,
            groups=self._model.alarm_list(live),
            rows=await self._history(live),
            days=HISTORY_DAYS,
            spans=self._spans(),
        )

    async def standing_list(self, request: Request) -> HTMLResponse:
        live = self._facts.live()
        return self._render(request, "_alarm_list.html", live, groups=self._model.alarm_list(live))

    async def history(self, request: Request) -> HTMLResponse:
        live = self._facts.live()
        return self._render(request, "_history.html", live, rows=await self._history(live), days=HISTORY_DAYS)

    async def every(self, request: Request) -> HTMLResponse:
        live = self._facts.live()
        return self._render(request, "every_alarm.html", live, alarms=self._every(live), spans=self._spans())

    async def every_list(self, request: Request) -> HTMLResponse:
        live = self._facts.live()
        return self._render(request, "_every_alarm.html", live, alarms=self._every(live))

    async def performance(self, request: Request, days: Annotated[int, Query(ge=1, le=3660)] = 30) -> HTMLResponse:
        live = self._facts.live()
        now_ms = time_ms(live["time"])
        figures = await self._facts.performance(now_ms - days * DAY_MS, now_ms + 1)
        places, names = self._model.places(live), {a["id"]: a for a in self._facts.every_alarm()}
        shown = performance_views.view(figures, names, places, live["time"], self._model.zone)
        return self._render(request, "alarm_performance.html", live, p=shown, days=days, spans=(1, 7, 30, 365))

    def _every(self, live: Json) -> list[Json]:
        places, now = self._model.places(live), live["time"]
        return [alarm_views.view(alarm, places, now, self._model.zone) for alarm in self._facts.every_alarm()]

    def _spans(self) -> list[tuple[int, str]]:
        return [span for span in words.SPANS if span[0] <= self._facts.site.longest_shelf_s]

    async def _history(self, live: Json) -> list[Json]:
        now_ms = time_ms(live["time"])
        rows = await self._facts.alarm_rows(None, now_ms - HISTORY_DAYS * DAY_MS, now_ms + DAY_MS, MOST_ROWS)
        places = self._model.places(live)
        return [alarm_views.history_view(row, places, live["time"], self._model.zone) for row in rows]
