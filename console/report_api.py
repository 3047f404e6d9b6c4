"""Reports by HTTP, each as JSON, PDF, CSV or XLSX, and the change of shift."""

from typing import Annotated, Any, Final, Literal, NamedTuple

from fastapi import APIRouter, Depends, Path, Query, Response
from fastapi.responses import JSONResponse
from pydantic import AwareDatetime, BaseModel, ConfigDict, Field, StringConstraints

from console.acted import acted
from console.api import PRINTABLE, REFUSED, SILENT, UNKNOWN, UNREADABLE, PersonName
from console.facts import Facts, Json
from console.problems import Refused, said
from console.signed import asking

FORMATS: Final = "json|pdf|csv|xlsx"
MEDIA: Final = {
    "pdf": "application/pdf",
    "csv": "text/csv; charset=utf-8",
    "xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
}
NAME: Final = rf"^[a-z]{{1,32}}(\.({FORMATS}))?$"
FILES: Final[dict[int | str, dict[str, Any]]] = {
    200: {
        "description": "the report in the form that was asked for",
        "content": {
            "application/json": {"schema": {"type": "object"}},
            **{media.partition(";")[0]: {} for media in MEDIA.values()},
        },
    }
}
Text = Annotated[str, StringConstraints(strip_whitespace=True, max_length=64, pattern=PRINTABLE)]
Notes = Annotated[str, StringConstraints(strip_whitespace=True, max_length=4000)]
ReportName = Annotated[str, Path(pattern=NAME, description="a report, with or without the ending of a form")]


class Question(NamedTuple):
    """What a report is of, in the words of the address; "" for nothing."""

    day: str
    month: str
    start: str
    end: str
    by: str

    def asked(self) -> Json:
        return {"day": self.day, "month": self.month, "from": self.start, "to": self.end}


def question(
    day: Annotated[Text, Query(description="a day of the site, 2026-01-31")] = "",
    month: Annotated[Text, Query(description="a month, 2026-01")] = "",
    start: Annotated[Text, Query(alias="from", description="a time; without an offset the site's own")] = "",
    end: Annotated[Text, Query(alias="to")] = "",
    by: Annotated[Text, Query(description="who makes it; whoever is signed in, if left out")] = "",
) -> Question:
    return Question(day, month, start, end, maker(by))


def maker(by: str) -> str:
    """Who makes a report: whoever is signed in, and nobody else's name."""
    person = asking().person
    if person is None:
        return by
    if by not in ("", person.name):
        raise Refused(422, f"you are signed in as {person.name}; a report bears who makes it")
    return person.name


Asked = Annotated[Question, Depends(question)]


class HandOver(BaseModel):
    """Who hands a shift over, with what notes; `from` and `to` of the shift, without them the last one."""

    model_config = ConfigDict(extra="forbid", populate_by_name=True)
    by: PersonName
    notes: Notes = ""
    start: Annotated[AwareDatetime | None, Field(alias="from")] = None
    end: Annotated[AwareDatetime | None, Field(alias="to")] = None


class TakeOver(BaseModel):
    """Who takes it over."""

    model_config = ConfigDict(extra="forbid")
    by: PersonName
    notes: Notes = ""


class ReportApi:
    """The routes /api/reports and /api/handovers."""

    def __init__(self, facts: Facts) -> None:
        self._facts = facts
        self.router = APIRouter(prefix="/api", responses=REFUSED)
        get, post = self.router.get, self.router.post
        get("/reports")(self.kinds)
        get("/reports/{name}", responses={**UNKNOWN, **SILENT, **FILES}, response_class=Response)(self.report)
        get("/handovers", responses=SILENT)(self.handovers)
        refused = said(409, "it cannot be handed over or taken over so: the detail says why")
        post("/handovers", responses=UNREADABLE | SILENT | refused)(self.hand_over)
        post("/handovers/{number}/take", responses=UNREADABLE | UNKNOWN | SILENT | refused)(self.take_over)

    async def kinds(self) -> list[Json]:
        """Every report there is, and what each is of."""
        return self._facts.reports.kinds()

    async def report(
        self,
        name: ReportName,
        asked: Asked,
        form: Annotated[Literal["", "json", "pdf", "csv", "xlsx"], Query(alias="format")] = "",
        size: Literal["", "A4", "Letter"] = "",
        table: Annotated[Text, Query(description="of a CSV: this table alone")] = "",
    ) -> Any:
        """A report in a form, by `format` or by the ending; JSON without either."""
        kind, _, ending = name.partition(".")
        known(self._facts, kind)
        if form and ending and form != ending:
            raise Refused(422, f"format={form} and .{ending} are two forms; give one of them")
        wanted = form or ending or "json"
        if not asked.by:
            raise Refused(422, "by is missing: a report bears who made it")
        if table and wanted != "csv":
            raise Refused(422, "table goes with CSV: the other forms hold all tables")
        reports = self._facts.reports
        try:
            if wanted == "json":
                return JSONResponse(await reports.report(kind, asked.asked(), asked.by))
            content = await reports.file(kind, asked.asked(), asked.by, wanted, size, table)  # type: ignore[arg-type]
        except ValueError as error:
            raise Refused(422, str(error)) from error
        # The name never holds what was asked in people's words.
        file = f"{self._facts.site.id}-{kind}-{_of(asked)}.{wanted}"
        head = {"Content-Disposition": f'attachment; filename="{file}"'}
        return Response(content, media_type=MEDIA[wanted], headers=head)

    async def handovers(self) -> list[Json]:
        """Shifts that were handed over, newest first."""
        return await self._facts.reports.handovers()

    async def hand_over(self, body: HandOver) -> Json:
        """A named person hands the shift over with notes, as an entry of the record book."""
        start, end = (None if one is None else one.isoformat() for one in (body.start, body.end))
        fields = {"by": body.by, "notes": body.notes, "from": start, "to": end}
        return await acted(self._facts, "hand_over", fields)

    async def take_over(self, number: Annotated[int, Path(ge=1, le=2**31)], body: TakeOver) -> Json:
        """Another person takes over the shift that was handed over last."""
        return await acted(self._facts, "take_over", {"by": body.by, "notes": body.notes, "number": number})


def known(facts: Facts, kind: str) -> Json:
    """Raises `Refused` for a report that there is not."""
    for one in facts.reports.kinds():
        if one["kind"] == kind:
            return one
    raise Refused(404, f"there is no such report; there are {', '.join(one['kind'] for one in facts.reports.kinds())}")


def _of(asked: Question) -> str:
    """What a file's name says of its period."""
    words = [word for word in asked[:4] if word]
    return "".join(sign if sign.isascii() and sign.isalnum() else "-" for sign in "_".join(words)) or "now"
