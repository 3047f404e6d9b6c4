"""The pages: take a path, ask the facts, render. Parts that a page fetches anew are the same templates.

Knows which template shows what; refuses to compute or to decide. Every text goes through Jinja's escaping.
"""

import re
from collections.abc import Mapping
from functools import reduce
from pathlib import Path as FilePath
from typing import Any, Final

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse
from jinja2 import BytecodeCache, Environment, FileSystemLoader, StrictUndefined
from jinja2.bccache import Bucket
from markupsafe import Markup

from console import bus_views, figures, movement_views, tank_views, units, words
from console.assets import Assets
from console.chosen import choice_now
from console.facts import Facts, FactsUnavailable, Json
from console.help import key_of
from console.lookup import TankId, known_tank, time_ms
from console.model import Model
from console.signed import asking

HERE: Final = FilePath(__file__).parent
PAGES: Final = (
    ("/", "Board"),
    ("/alarms", "Alarms"),
    ("/stock", "Stock"),
    ("/due", "Due"),
    ("/trends", "Trends"),
    ("/loops", "Loops"),
    ("/buses", "Lines"),
)
CHART_COLUMNS: Final = (
    "level_m", "tov_m3", "gsv_m3", "rate_m3_per_h", "temperature_degC", "water_m", "volume_percent", "current_mA"
)  # fmt: skip
SOUND_STATES: Final = ("off", "on", "blocked", "calls", "silenced")
FAULT_DAYS: Final = 30
MOVEMENT_DAYS: Final = 7
MOST_MOVEMENTS: Final = 30
DAY_MS: Final = 86_400_000


def walk(message: Json, path: str) -> Any:
    """A value of the message by its path, the same path that the page's own script follows later."""
    return reduce(lambda value, key: value[key], path.split("/"), message)


def words_for(catalogue: Mapping[str, str], *keys: str) -> dict[str, str]:
    """The words that a page's script needs."""
    return {key: catalogue[key] for key in keys}


def paths_in(html: str, place: str) -> Markup:
    """Rendered rows with the paths below `place` written as ``./...``, which bind.js spells out by ``data-in``.

    Lines lose their indent as well: a board of many tanks is mostly such rows."""
    shorter = re.sub(rf'([="!]){re.escape(place)}/', r"\1./", re.sub(r"\n\s+", "\n", str(html)))
    shorter = re.sub(rf'([="!]){re.escape(place)}/', r"\1./", re.sub(r"\n\s+", "\n", str(html)))
    return Markup(shorter)  # noqa: S704 what was escaped when it was rendered stays so


def typed(*kinds: str) -> Json:
    """What a page's script needs to read figures of these kinds as a person types them."""
    return {"kinds": units.for_script(*kinds), "words": dict(words.TYPED)}


class Compiled(BytecodeCache):
    """Templates compiled once a process, however many applications it makes. Keyed by a template's source."""

    def __init__(self) -> None:
        self._compiled: dict[tuple[str, str], bytes] = {}

    def load_bytecode(self, bucket: Bucket) -> None:
        found = self._compiled.get((bucket.key, bucket.checksum))
        if found is not None:
            bucket.bytecode_from_string(found)

    def dump_bytecode(self, bucket: Bucket) -> None:
        self._compiled[bucket.key, bucket.checksum] = bucket.bytecode_to_string()


COMPILED: Final = Compiled()


class Pages:
    """Renders the site's pages. One instance an application."""

    def __init__(self, facts: Facts, model: Model, assets: Assets, build: str) -> None:
        self._facts = facts
        self._model = model
        self._env = Environment(
            loader=FileSystemLoader(HERE / "templates"),
            autoescape=True,
            undefined=StrictUndefined,
            trim_blocks=True,
            lstrip_blocks=True,
            bytecode_cache=COMPILED,
        )
        self._env.globals.update(
            site=facts.site,
            build=build,
            asset=assets.url,
            pages=PAGES,
            lights=words.LIGHTS,
            unit=figures.unit,
            typed=typed,
            unit_choices=words.UNITS,
            number_choices=words.NUMBERS,
            caution=words.CAUTION,
            help_of=key_of,
            page_words=words.PAGE,
            fault_words=words.FAULT_PAGE,
            field_names=words.FAULT_FIELDS,
            sound_words={name: words.PAGE[f"sound_{name}"] for name in SOUND_STATES},
        )
        self._env.filters["words_for"] = words_for
        self._env.filters["paths_in"] = paths_in
        self.router = APIRouter(default_response_class=HTMLResponse, include_in_schema=False)
        self._routes()

    def render(
        self,
        request: Request,
        template: str,
        live: Json,
        status: int = 200,
        moves: Json | None = None,
        **context: Any,
    ) -> HTMLResponse:
        """A page of a state. moves: what moves on a page that does not listen to the pages' common feed."""
        message = self._model.message(live) if moves is None else moves
        light = request.cookies.get("light")
        text = self._env.get_template(template).render(
            m=message,
            at=lambda path: walk(message, path),
            light=light if light in dict(words.LIGHTS) else "day",
            path=request.url.path,
            who=asking(),
            choice=choice_now(),
            **context,
        )
        return HTMLResponse(text, status)

    def apart(self, request: Request, template: str, status: int = 200, **context: Any) -> HTMLResponse:
        """A page that shows nothing of the site's state: who sees it may be anybody."""
        text = self._env.get_template(template).render(light=request.cookies.get("light", "day"), **context)
        return HTMLResponse(text, status)

    def problem(self, request: Request, problem: Json) -> HTMLResponse:
        """A problem for a person. It must come out even where the state itself is what broke, so it asks for none."""
        text = self._env.get_template("problem.html").render(problem=problem, light=request.cookies.get("light", "day"))
        return HTMLResponse(text, problem["status"])

    def _routes(self) -> None:
        route = self.router.add_api_route
        route("/", self.board)
        route("/tank/{tank}", self.tank)
        route("/tank/{tank}/chain", self.chain)
        route("/tank/{tank}/movements", self.movements)
        route("/buses", self.buses)

    async def board(self, request: Request) -> HTMLResponse:
        live = self._facts.live()
        return self.render(request, "board.html", live, tanks=[self._model.fixed(t["tank"]) for t in live["tanks"]])

    async def tank(self, request: Request, tank: TankId) -> HTMLResponse:
        live = self._facts.live()
        known_tank(live, tank)
        return self.render(
            request,
            "tank.html",
            live,
            tank=self._model.fixed(tank),
            steps=tank_views.chain_rows(self._facts.chain(tank)),
            movements=await self._movements(live, tank),
            columns=[(column, words.QUANTITIES[column]) for column in CHART_COLUMNS],
            chart=self.chart(tank, CHART_COLUMNS),
        )

    async def chain(self, request: Request, tank: TankId) -> HTMLResponse:
        live = self._facts.live()
        known_tank(live, tank)
        return self.render(request, "_chain.html", live, steps=tank_views.chain_rows(self._facts.chain(tank)))

    async def movements(self, request: Request, tank: TankId) -> HTMLResponse:
        live = self._facts.live()
        known_tank(live, tank)
        return self.render(request, "_movements.html", live, movements=await self._movements(live, tank))

    async def _movements(self, live: Json, tank: str) -> list[Json] | None:
        """The newest movements of a tank; None where the record book cannot be read now."""
        now = live["time"]
        if now is None:
            return []
        now_ms = time_ms(now)
        try:
            rows = await self._facts.movements(tank, now_ms - MOVEMENT_DAYS * DAY_MS, now_ms + DAY_MS)
        except FactsUnavailable:
            return None
        return [movement_views.movement(row, now, self._model.zone) for row in rows[:MOST_MOVEMENTS]]

    async def buses(self, request: Request) -> HTMLResponse:
        live = self._facts.live()
        lines = [bus_views.fixed(entry) for entry in live["buses"]]
        return self.render(request, "buses.html", live, buses=lines, points=live["points"])

    def chart(self, tank: str, columns: tuple[str, ...], current_lines: list[Json] | None = None) -> Json:
        """What the chart's script must know: units, decimals, limits of each column in shown units."""
        told = self._model.tank_facts(tank)
        drawn: dict[str, list[Json]] = {"level_m": [], "tov_m3": [], "current_mA": current_lines or []}
        for limit in told["limits"]:
            name = words.LIMITS.get(limit["condition"], limit["condition"])
            drawn["level_m"].append({"at": limit["at_m"], "name": name})
            if limit.get("volume_m3") is not None:
                drawn["tov_m3"].append({"at": limit["volume_m3"], "name": name})
        return {
            "tank": tank,
            "zone": self._facts.site.zone,
            "stale_after_s": told["stale_after_s"],
            "columns": {
                column: {
                    **figures.shown(column)._asdict(),
                    "name": words.QUANTITIES[column],
                    "lines": drawn.get(column, []),
                }
                for column in columns
            },
        }
