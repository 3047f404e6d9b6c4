"""The loop pages: every loop, one loop with its faults, checks and budget, and one fault with its trace.

Knows which template shows what; refuses to compute or to decide. Parts that a page fetches anew are the same templates.
"""

from collections.abc import Callable
from typing import Final

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse

from console import check_views, fault_views, figures, loop_views, words
from console.facts import Facts, Json
from console.fault_api import Number, fault_of
from console.lookup import InstrumentId, known_loop, time_ms
from console.model import Model

DAY_MS: Final = 86_400_000
FAULT_DAYS: Final = 90

Render = Callable[..., HTMLResponse]


class LoopPages:
    """Renders the pages below /loops. render: `console.pages.Pages.render`; chart: what a chart's script must know."""

    def __init__(self, facts: Facts, model: Model, render: Render, chart: Callable[..., Json]) -> None:
        self._facts, self._model, self._render, self._chart = facts, model, render, chart
        self.router = APIRouter(default_response_class=HTMLResponse, include_in_schema=False)
        route = self.router.add_api_route
        route("/loops", self.loops)
        route("/loops/{instrument}", self.loop)
        route("/loops/{instrument}/last", self.last)
        route("/loops/{instrument}/faults", self.faults)
        route("/loops/{instrument}/faults/{number}", self.fault)
        route("/loops/{instrument}/faults/{number}/facts", self.facts)
        route("/loops/{instrument}/faults/{number}/entries", self.entries)

    async def loops(self, request: Request) -> HTMLResponse:
        live = self._facts.live()
        loops = [self._loop(entry["instrument"]) for entry in live["loops"]]
        rows, now, zone = await self._rows(live, None), live["time"], self._model.zone
        lasts = {
            loop["instrument"]: fault_views.last_fault(
                [row for row in rows if row["instrument"] == loop["instrument"]], now, zone
            )
            for loop in loops
        }
        return self._render(request, "loops.html", live, loops=loops, lasts=lasts, legend=words.BAND_LEGEND)

    async def last(self, request: Request, instrument: InstrumentId) -> HTMLResponse:
        live = self._facts.live()
        known_loop(live, instrument)
        last = fault_views.last_fault(await self._rows(live, instrument), live["time"], self._model.zone)
        return self._render(request, "_last_fault.html", live, last=last, instrument=instrument)

    async def loop(self, request: Request, instrument: InstrumentId) -> HTMLResponse:
        live = self._facts.live()
        entry = known_loop(live, instrument)
        ne43 = self._facts.loop_facts(instrument)["ne43"]
        lines = [{"at": ne43[key], "name": f"{figures.number(ne43[key], 1)} mA"} for key in ne43]
        measured = entry["tanks"][0] if entry["tanks"] else ""
        rows = await self._rows(live, instrument)
        chart = None
        if measured:
            chart = self._chart(measured, ("current_mA",), current_lines=lines)
            chart["columns"]["current_mA"]["bands"] = fault_views.bands(ne43)
        return self._render(
            request,
            "loop.html",
            live,
            l=self._loop(instrument),
            instrument=instrument,
            tank=measured,
            legend=words.BAND_LEGEND,
            chart=chart,
            figures=fault_views.figures(await self._facts.loop_figures(instrument)),
            checks=check_views.record_rows(await self._facts.check_records(instrument), live["time"], self._model.zone),
            supplies=fault_views.budget(self._facts.loop_budget(instrument), instrument),
            **self._listed(live, rows),
        )

    async def faults(self, request: Request, instrument: InstrumentId) -> HTMLResponse:
        live = self._facts.live()
        known_loop(live, instrument)
        rows = await self._rows(live, instrument)
        return self._render(request, "_faults.html", live, instrument=instrument, **self._listed(live, rows))

    async def fault(self, request: Request, instrument: InstrumentId, number: Number) -> HTMLResponse:
        live = self._facts.live()
        row = await fault_of(self._facts, instrument, number)
        fixed = self._facts.loop_facts(instrument)
        samples = await self._facts.fault_trace(instrument, number)
        why = await self._facts.fault_causes(instrument, number)
        column, points = fault_views.traced(samples, fixed["ne43"])
        names = {entry["tank"]: entry["name"] for entry in live["tanks"]}
        return self._render(
            request,
            "fault.html",
            live,
            l=fixed,
            tanks=[(tank, names[tank]) for tank in known_loop(live, instrument)["tanks"]],
            f=fault_views.fault(row, live["time"], self._model.zone),
            causes=words.CAUSES,
            why=fault_views.why(why),
            trace={
                "zone": self._facts.site.zone,
                "column": column,
                "points": points,
                "marks": fault_views.marks([row]),
            },
        )

    async def facts(self, request: Request, instrument: InstrumentId, number: Number) -> HTMLResponse:
        """What moves of a fault while it goes on."""
        live = self._facts.live()
        row = await fault_of(self._facts, instrument, number)
        shown = fault_views.fault(row, live["time"], self._model.zone)
        return self._render(request, "_fault_facts.html", live, f=shown)

    async def entries(self, request: Request, instrument: InstrumentId, number: Number) -> HTMLResponse:
        live = self._facts.live()
        row = await fault_of(self._facts, instrument, number)
        shown = fault_views.fault(row, live["time"], self._model.zone)
        return self._render(request, "_fault_entries.html", live, f=shown)

    def _loop(self, instrument: str) -> Json:
        fixed = self._facts.loop_facts(instrument)
        return {**fixed, "strip": loop_views.strip(fixed["ne43"]), "width": loop_views.WIDTH}

    def _listed(self, live: Json, rows: list[Json]) -> Json:
        """The fault list, with what it is headed by."""
        now, zone = live["time"], self._model.zone
        return {
            "rows": [fault_views.fault(row, now, zone) for row in rows],
            "last": fault_views.last_fault(rows, now, zone),
            "marks": fault_views.marks(rows),
            "days": FAULT_DAYS,
        }

    async def _rows(self, live: Json, instrument: str | None) -> list[Json]:
        now_ms = time_ms(live["time"])
        return await self._facts.faults(instrument, now_ms - FAULT_DAYS * DAY_MS, now_ms + DAY_MS)
