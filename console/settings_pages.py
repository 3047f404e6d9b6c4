"""The settings: a page and its JSON twin. Read-only: the site file is the only truth, and is read at a start."""

from collections.abc import Callable
from typing import Final

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse

from console import settings_views
from console.api import NO_END_MS, REFUSED, SILENT
from console.facts import Facts, FactsUnavailable, Json
from console.lookup import time_ms
from console.model import Model
from console.words import LIMITS

Render = Callable[..., HTMLResponse]
MOST_CHANGES: Final = 1000


class SettingsPages:
    """Renders /settings and answers /api/settings. render: `console.pages.Pages.render`."""

    def __init__(self, facts: Facts, model: Model, render: Render) -> None:
        self._facts, self._model, self._render = facts, model, render
        self.router = APIRouter(default_response_class=HTMLResponse, include_in_schema=False)
        self.router.add_api_route("/settings", self.page)
        self.api = APIRouter(prefix="/api/settings", responses=REFUSED)
        self.api.get("", responses=SILENT)(self.settings)

    async def page(self, request: Request) -> HTMLResponse:
        live, told = self._facts.live(), self._facts.settings()
        try:
            started, rows = await self._last_start()
        except FactsUnavailable:
            last = None
        else:
            last = settings_views.changed(started, rows, live["time"], self._model.zone)
        return self._render(
            request,
            "settings.html",
            live,
            tanks=[settings_views.tank_row(self._model.tank_facts(entry["tank"])) for entry in live["tanks"]],
            limits=list(LIMITS.values()),
            parts=settings_views.parts(told["settings"]),
            files=told["files"],
            warnings=[settings_views.masked(line) for line in told["warnings"]],
            fingerprint=told["fingerprint"],
            last=last,
        )

    async def settings(self) -> Json:
        """The settings as the daemon runs them, flat, in SI; what could be a secret is left out. `changes`: what its
        newest start, at `started`, found changed since the one before."""
        told = self._facts.settings()
        started, rows = await self._last_start()
        return {
            **told,
            "settings": settings_views.safe(told["settings"]),
            "warnings": [settings_views.masked(line) for line in told["warnings"]],
            "started": None if started is None else started["time"],
            "changes": [] if started is None else settings_views.changes(started, rows),
        }

    async def _last_start(self) -> tuple[Json | None, list[Json]]:
        found = await self._facts.record_rows("started", 0, NO_END_MS, 1)
        if not found:
            return None, []
        since = time_ms(found[0]["time"])
        return found[0], await self._facts.record_rows("setting_changed", since, NO_END_MS, MOST_CHANGES)
