"""The page of documents: the list by day and tank, the form to write one down, a file to bring.

Knows which template shows what; refuses to compute or to decide.
"""

from collections.abc import Callable
from datetime import date, timedelta
from typing import Annotated, Final
from urllib.parse import urlencode

from fastapi import APIRouter, Query, Request
from fastapi.responses import HTMLResponse
from pydantic import AfterValidator, BaseModel, Field

from console import document_views
from console import document_words as words
from console.document_api import DAY, question, real_day
from console.facts import Facts, Json
from console.model import Model
from console.units import VOLUMES

DAYS: Final = 31
"""So far back papers are looked for where no first day is asked for."""

MOST: Final = 50
"""A page of papers holds whole days until there are so many; one day at the least."""

Render = Callable[..., HTMLResponse]


class Filter(BaseModel):
    """What the list is to show, as a form sends it: empty for all."""

    first: Annotated[str, Field(pattern=f"^$|{DAY}"), AfterValidator(real_day)] = ""
    before: Annotated[str, Field(pattern=f"^$|{DAY}"), AfterValidator(real_day)] = ""
    tank: str = ""
    kind: str = ""
    undone: bool = False


Asked = Annotated[Filter, Query()]


class DocumentPages:
    """Renders the pages below /documents. render: `console.pages.Pages.render`."""

    def __init__(self, facts: Facts, model: Model, render: Render) -> None:
        self._facts, self._model, self._render = facts, model, render
        self.router = APIRouter(default_response_class=HTMLResponse, include_in_schema=False)
        self.router.add_api_route("/documents", self.documents)
        self.router.add_api_route("/documents/list", self.rows)

    async def documents(self, request: Request, asked: Asked) -> HTMLResponse:
        live, facts = self._facts.live(), self._facts.document_facts()
        return self._render(
            request,
            "documents.html",
            live,
            facts=facts,
            form=document_views.form(facts, {one["tank"]: one["product"] for one in live["tanks"]}),
            units=words.UNITS,
            volumes={name: one._asdict() for name, one in VOLUMES.items()},
            document_caution=words.CAUTION,
            field_words=dict(words.FIELDS),
            script=dict(words.SCRIPT),
            **await self._listed(live, facts, asked),
        )

    async def rows(self, request: Request, asked: Asked) -> HTMLResponse:
        live, facts = self._facts.live(), self._facts.document_facts()
        return self._render(request, "_documents.html", live, **await self._listed(live, facts, asked))

    async def _listed(self, live: Json, facts: Json, asked: Filter) -> Json:
        """The newest papers of the days asked for, by whole days, beside what the gauges saw of these days."""
        before = asked.before or _plus(facts["today"], 1)
        first = asked.first or _plus(before, -DAYS)
        wanted = question(self._facts, first, before, asked.tank or None, asked.kind or None, asked.undone)
        found = await self._facts.documents(wanted)
        moves = [] if asked.kind else await self._facts.document_moves(first, before, asked.tank or None)
        shown, more = document_views.newest_days(found, moves, MOST)
        names, zone = document_views.names_of(facts), self._model.zone
        days = document_views.days(shown, found, moves, names, live["time"], zone)
        older = shown[-1] if more else "" if asked.first or not shown else first
        return {
            "days": days,
            "asked": asked,
            "papers": sum(day["count"] for day in days),
            "compared": not asked.kind,
            "older": _link(asked, older) if older else "",
            "newest": _link(asked, "") if asked.before else "",
            "title": document_views.span_title(shown, first, before),
        }


def _plus(day: str, days: int) -> str:
    return (date.fromisoformat(day) + timedelta(days=days)).isoformat()


def _link(asked: Filter, before: str) -> str:
    """The same question for the papers before a day."""
    told = asked.model_dump() | {"before": before, "undone": "true" if asked.undone else ""}
    return f"/documents?{urlencode({name: value for name, value in told.items() if value})}"
