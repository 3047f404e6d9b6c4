"""The page of documents: the list by day and tank, the form to write one down, a file to bring.

Knows which template shows what; refuses to compute or to decide.
"""

from collections.abc import Callable
from datetime import date, timedelta
from typing import Annotated, Final

from fastapi import APIRouter, Query, Request
from fastapi.responses import HTMLResponse
from pydantic import BaseModel, Field

from console import document_views
from console import document_words as words
from console.document_api import DAY, question
from console.facts import Facts, Json
from console.model import Model

DAYS: Final = 31
MOST: Final = 500

Render = Callable[..., HTMLResponse]


class Filter(BaseModel):
    """What the list is to show, as a form sends it: empty for all."""

    first: Annotated[str, Field(pattern=f"^$|{DAY}")] = ""
    before: Annotated[str, Field(pattern=f"^$|{DAY}")] = ""
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
            form=document_views.form(facts),
            units=words.UNITS,
            document_caution=words.CAUTION,
            field_words=dict(words.FIELDS),
            script=dict(words.SCRIPT),
            **await self._listed(live, facts, asked),
        )

    async def rows(self, request: Request, asked: Asked) -> HTMLResponse:
        live, facts = self._facts.live(), self._facts.document_facts()
        return self._render(request, "_documents.html", live, **await self._listed(live, facts, asked))

    async def _listed(self, live: Json, facts: Json, asked: Filter) -> Json:
        """The newest documents of the days asked for, newest first; without days those of the last month."""
        first = asked.first
        if not first and not asked.before:
            first = (date.fromisoformat(facts["today"]) - timedelta(days=DAYS - 1)).isoformat()
        wanted = question(
            self._facts, first or None, asked.before or None, asked.tank or None, asked.kind or None, asked.undone
        )
        found = await self._facts.documents(wanted)
        names, zone = document_views.names_of(facts), self._model.zone
        rows = [document_views.row(one, names, live["time"], zone) for one in reversed(found[-MOST:])]
        return {"rows": rows, "asked": wanted, "left_out": max(0, len(found) - MOST)}
