"""The trends page: several tanks and quantities in one chart. Knows what its address may ask for; refuses to compute.

What is in view stands in the address (`tanks`, `quantities`, `start`, `span`), so that a link shows the same again;
without a `start` the chart follows the newest data. What an address asks for and the site has not is left out.
"""

from collections.abc import Callable
from datetime import datetime
from typing import Any, Final

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse

from console import words
from console.api import LONGEST_SPAN_S
from console.facts import Facts, Json
from console.lookup import time_ms
from console.trend_api import MOST_QUANTITIES, MOST_TANKS
from console.trend_words import TRENDS

COLUMNS: Final = (
    "level_m", "tov_m3", "gov_m3", "gsv_m3", "mass_kg", "rate_m3_per_h", "temperature_degC", "water_m", "ullage_m",
    "volume_percent", "level_percent", "current_mA",
)  # fmt: skip
SPANS: Final = (
    (3600, "1 h"), (28_800, "8 h"), (86_400, "1 day"), (604_800, "7 days"), (2_678_400, "31 days"),
    (31_622_400, "1 year"), (158_112_000, "5 years"),
)  # fmt: skip
FIRST_SPAN_S: Final = 28_800


class TrendPages:
    """Renders /trends. chart: `console.pages.Pages.chart`, what a chart must know of a tank's columns."""

    def __init__(self, facts: Facts, render: Callable[..., HTMLResponse], chart: Callable[..., Json]) -> None:
        self._facts, self._render, self._chart = facts, render, chart
        self.router = APIRouter(default_response_class=HTMLResponse, include_in_schema=False)
        self.router.add_api_route("/trends", self.trends)

    async def trends(self, request: Request) -> HTMLResponse:
        live, asked = self._facts.live(), dict(request.query_params)
        ids = [entry["tank"] for entry in live["tanks"]]
        chosen = _of(asked.get("tanks", ""), ids, MOST_TANKS) or ids[:1]
        shown = _of(asked.get("quantities", ""), COLUMNS, MOST_QUANTITIES) or ["level_m"]
        site = self._facts.site
        return self._render(
            request,
            "trends.html",
            live,
            tanks=[(entry["tank"], entry["name"], entry["product"]) for entry in live["tanks"]],
            chosen=chosen,
            shown=shown,
            columns=[(column, words.QUANTITIES[column]) for column in COLUMNS],
            spans=SPANS,
            span_s=_span(asked.get("span", "")),
            start=_start(asked.get("start", "")),
            chart=self._facts_of_chart(live) | {"site": site.name, "zone": site.zone, "simulated": site.simulated},
            script={**TRENDS, "most_tanks": MOST_TANKS},
        )

    def _facts_of_chart(self, live: Json) -> Json:
        """Columns with unit and decimals once, and what belongs to each tank: name, limits, when it counts as old."""
        tanks, columns = [], {}
        for entry in live["tanks"]:
            told = self._chart(entry["tank"], COLUMNS)
            columns = {name: {**column, "lines": []} for name, column in told["columns"].items()}
            lines = {name: column["lines"] for name, column in told["columns"].items() if column["lines"]}
            old = {"stale_after_s": told["stale_after_s"]}
            tanks.append({"id": entry["tank"], "name": entry["name"], "lines": lines, **old})
        return {"tanks": tanks, "columns": columns}


def _of(text: str, known: Any, most: int) -> list[str]:
    """Those of a list with commas that are known, each once, in their order."""
    return [name for name in dict.fromkeys(text.split(",")) if name in known][:most]


def _span(text: str) -> float:
    try:
        asked = float(text)
    except ValueError:
        return FIRST_SPAN_S
    return min(max(asked, 10.0), LONGEST_SPAN_S) if asked == asked else FIRST_SPAN_S


def _start(text: str) -> int | None:
    """UTC ms of a time with an offset; None for what is no such time."""
    try:
        moment = datetime.fromisoformat(text)
    except ValueError:
        return None
    return time_ms(moment) if moment.tzinfo is not None else None
