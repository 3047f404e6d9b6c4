"""The page of reports: which there are, one of them to look at, its files, and the change of shift.

Knows which template shows what; refuses to compute.
"""

from collections.abc import Callable
from datetime import datetime
from typing import Annotated, Final
from urllib.parse import urlencode

from fastapi import APIRouter, Path, Request
from fastapi.responses import HTMLResponse

from console import report_views as views
from console.facts import Facts, FactsUnavailable, Json
from console.model import Model
from console.problems import Refused
from console.report_api import Asked, Question, known

SHOWN: Final = 10
HANDOVER: Final = "handover"

Render = Callable[..., HTMLResponse]
KindName = Annotated[str, Path(pattern=r"^[a-z]{1,32}$")]


class ReportPages:
    """Renders the pages below /reports. render: `console.pages.Pages.render`."""

    def __init__(self, facts: Facts, model: Model, render: Render) -> None:
        self._facts, self._model, self._render = facts, model, render
        self.router = APIRouter(default_response_class=HTMLResponse, include_in_schema=False)
        self.router.add_api_route("/reports", self.reports)
        self.router.add_api_route("/reports/{kind}", self.report)

    async def reports(self, request: Request) -> HTMLResponse:
        live, kinds = self._facts.live(), self._facts.reports.kinds()
        return self._render(request, "reports.html", live, kinds=kinds, one=None, script=views.SCRIPT)

    async def report(self, request: Request, kind: KindName, asked: Asked) -> HTMLResponse:
        live, reports = self._facts.live(), self._facts.reports
        one = known(self._facts, kind)
        shown: Json | None = None
        refused, status, told = "", 200, None
        try:
            told = await reports.report(kind, asked.asked(), asked.by)
            shown = views.view(told)
        except ValueError as error:
            refused, status = str(error), 422
        except FactsUnavailable:
            refused, status = views.UNREAD, 503
        return self._render(
            request, "reports.html", live, status, kinds=reports.kinds(), one=one, shown=shown, refused=refused,
            form=self._form(one, asked, told), query=_query(asked), handovers=await self._handovers(kind, live),
            script=views.SCRIPT,
        )  # fmt: skip

    def _form(self, one: Json, asked: Question, told: Json | None) -> Json:
        """What stands in the fields: what was asked, else what the report took by itself."""
        period = {} if told is None else told["period"]
        name = period.get("name", "")
        given = bool(asked.day or asked.month or asked.start or asked.end)
        return {
            "takes": one["takes"],
            "by": asked.by,
            "day": asked.day or (name if one["takes"] == "day" else ""),
            "month": asked.month or (name if one["takes"] == "month" else ""),
            "from": asked.start if given else self._local(period.get("from")),
            "to": asked.end if given else self._local(period.get("to")),
        }

    def _local(self, text: str | None) -> str:
        """A time as a field for it takes it, on the site's clock."""
        if text is None:
            return ""
        return f"{datetime.fromisoformat(text).astimezone(self._model.zone):%Y-%m-%dT%H:%M}"

    async def _handovers(self, kind: str, live: Json) -> list[Json] | None:
        """The newest ones, None where they do not belong on the page or cannot be read."""
        if kind != HANDOVER:
            return None
        try:
            rows = await self._facts.reports.handovers()
        except (FactsUnavailable, Refused):
            return None
        return [views.handed(row, self._model.zone) for row in rows[:SHOWN]]


def _query(asked: Question) -> str:
    """The same question for the addresses of the files."""
    return urlencode({name: value for name, value in (*asked.asked().items(), ("by", asked.by)) if value})
