"""The HTTP API of documents: papers of the stock book, listed, written down, undone, put right, in and out as files."""

from datetime import date
from typing import Annotated, Any, Final

from fastapi import APIRouter, Path, Query, Response
from pydantic import AfterValidator, BaseModel, ConfigDict, Field, StringConstraints

from console.acted import ACTED, NOT_ACTED
from console.api import PRINTABLE, REFUSED, SILENT, UNREADABLE, Comment, PersonName
from console.facts import Facts, Json
from console.lookup import ID_PATTERN
from console.paging import Paged, by
from console.problems import Refused, said

DAY: Final = r"^[0-9]{4}-(0[1-9]|1[0-2])-(0[1-9]|[12][0-9]|3[01])$"
LONGEST_FILE: Final = 900_000


def real_day(text: str) -> str:
    """A day of the calendar that a paper can have, or none at all. Raises ValueError for 30 February and the year 0."""
    if text:
        try:
            year = date.fromisoformat(text).year
        except ValueError:
            raise ValueError(f"{text} is no day of the calendar") from None
        if not 1900 <= year <= 2999:
            raise ValueError(f"{text} is no day of these times; give one from 1900 to 2999")
    return text


Text = Annotated[str, StringConstraints(strip_whitespace=True, max_length=500, pattern=PRINTABLE)]
Paper = Annotated[str, StringConstraints(strip_whitespace=True, max_length=60, pattern=PRINTABLE)]
Id = Annotated[str, StringConstraints(max_length=32)]
Written = Annotated[str, StringConstraints(strip_whitespace=True, max_length=40, pattern=PRINTABLE)]
Volume = Annotated[float, Field(strict=True, ge=-1e6, le=1e6, allow_inf_nan=False)]
Number = Annotated[int, Path(ge=1, le=2**31, description="of the document")]
Day = Annotated[str, Query(pattern=DAY, description="a day of the site, YYYY-MM-DD"), AfterValidator(real_day)]
TankFilter = Annotated[str | None, Query(pattern=ID_PATTERN, description="documents that touch one tank")]
KindFilter = Annotated[str | None, Query(max_length=32, description='such as "delivery note"')]

NO_DOCUMENT: Final = said(404, "there is no such document, tank or kind")
NOT_SO: Final = said(409, "it is asked about (`questions`; say it again with `sure`), or cannot be done now")
WRONG: Final = said(422, "it cannot be so: `mistakes` has each with column, found, allowed and mend")
CSV: Final[dict[int | str, dict[str, Any]]] = {200: {"content": {"text/csv": {}}, "description": "one row a document"}}


class Fields(BaseModel):
    """What a paper says. A quantity is a number in SI (`observed_m3`) or a text with its unit (`observed`)."""

    model_config = ConfigDict(extra="forbid")
    by: PersonName
    sure: Annotated[bool, Field(strict=True)] = False
    day: Annotated[str, StringConstraints(max_length=10)] | None = None
    tank: Id | None = None
    product: Id | None = None
    owner: Id | None = None
    paper: Paper | None = None
    observed: Written | None = None
    observed_m3: Volume | None = None
    standard: Written | None = None
    standard_m3: Volume | None = None
    temperature: Written | None = None
    temperature_degC: Annotated[float, Field(strict=True, ge=-150, le=150, allow_inf_nan=False)] | None = None
    density: Written | None = None
    density_kg_m3: Annotated[float, Field(strict=True, ge=0, le=2000, allow_inf_nan=False)] | None = None
    place: Id | None = None
    from_place: Id | None = None
    to_tank: Id | None = None
    returned: Annotated[bool, Field(strict=True)] | None = None
    meter: Id | None = None
    meter_opening: Written | None = None
    meter_opening_m3: Volume | None = None
    meter_closing: Written | None = None
    meter_closing_m3: Volume | None = None
    meter_factor: Annotated[float, Field(strict=True, ge=0.5, le=1.5, allow_inf_nan=False)] | None = None
    rolled_over: Annotated[bool, Field(strict=True)] | None = None
    water: Written | None = None
    water_m3: Volume | None = None
    fuel: Written | None = None
    fuel_m3: Volume | None = None
    went_to: Text | None = None
    batch: Paper | None = None
    certificate: Paper | None = None
    customer: Text | None = None
    authorised_by: Text | None = None
    comment: Comment | None = None

    def said(self) -> Json:
        return {name: value for name, value in self.model_dump().items() if value is not None}


class NewDocument(Fields):
    """A paper to write down."""

    kind: Annotated[str, StringConstraints(max_length=32)]


class Corrected(Fields):
    """What is to be other than it is; `nothing`: it is taken out with nothing in its place."""

    nothing: Annotated[bool, Field(strict=True)] = False


class Undo(BaseModel):
    """Who takes it out, and why."""

    model_config = ConfigDict(extra="forbid")
    by: PersonName
    comment: Comment = ""


class File(BaseModel):
    """A file of papers as text, who brings it, and whether what is asked about is so."""

    model_config = ConfigDict(extra="forbid")
    csv: Annotated[str, Field(min_length=1, max_length=LONGEST_FILE)]
    by: PersonName
    sure: Annotated[bool, Field(strict=True)] = False


class DocumentApi:
    """The routes below /api/documents."""

    def __init__(self, facts: Facts) -> None:
        self._facts = facts
        self.router = APIRouter(prefix="/api", responses=REFUSED)
        post, get = self.router.post, self.router.get
        answers = UNREADABLE | NO_DOCUMENT | NOT_SO | WRONG | SILENT
        get("/documents", responses=NO_DOCUMENT | SILENT)(self.documents)
        get("/documents.csv", responses=NO_DOCUMENT | SILENT | CSV, response_class=Response)(self.documents_csv)
        get("/documents/facts")(self.offered)
        get("/documents/movements", responses=NO_DOCUMENT | SILENT)(self.moves)
        post("/documents", responses=answers)(self.add)
        post("/documents/import", responses=answers)(self.bring)
        post("/documents/{number}/undo", responses=answers)(self.undo)
        post("/documents/{number}/correct", responses=answers)(self.correct)

    async def documents(
        self,
        page: Paged,
        from_: Annotated[Day | None, Query(alias="from")] = None,
        to: Day | None = None,
        tank: TankFilter = None,
        kind: KindFilter = None,
        undone: bool = False,
    ) -> list[Json]:
        """Documents of from <= day < to, by day and number; those that were undone only where they are asked for."""
        rows = await self._facts.documents(question(self._facts, from_, to, tank, kind, undone))
        return page.rest(rows, by("number"))

    async def documents_csv(
        self,
        from_: Annotated[Day | None, Query(alias="from")] = None,
        to: Day | None = None,
        tank: TankFilter = None,
        kind: KindFilter = None,
    ) -> Response:
        """The same as a file that `POST /api/documents/import` takes."""
        text = await self._facts.documents_csv(question(self._facts, from_, to, tank, kind, False))
        headers = {"Content-Disposition": 'attachment; filename="documents.csv"'}
        return Response(text, media_type="text/csv; charset=utf-8", headers=headers)

    async def moves(self, from_: Annotated[Day, Query(alias="from")], to: Day, tank: TankFilter = None) -> list[Json]:
        """Of from <= day < to each tank's day: its papers, the movements that the gauge saw, and how far they differ.

        A check of the papers: it is in no sum of the book.
        """
        asked = question(self._facts, from_, to, tank, None, False)
        return await self._facts.document_moves(asked["first"], asked["before"], asked["tank"])

    async def offered(self) -> Json:
        """What papers may say here: tanks, owners, places, meters, the fields of each kind, the last closed days."""
        return self._facts.document_facts()

    async def add(self, body: NewDocument) -> Json:
        """Write a paper down."""
        return await taken(self._facts, "add_document", body.said())

    async def bring(self, body: File) -> Json:
        """Take a file of papers: all of its rows, or none."""
        return await taken(self._facts, "import_documents", body.model_dump())

    async def undo(self, number: Number, body: Undo) -> Json:
        """Take a document of an open day out."""
        return await taken(self._facts, "undo_document", {"number": number, **body.model_dump()})

    async def correct(self, number: Number, body: Corrected) -> Json:
        """Put a document right: on an open day in its place, else by new documents of an open day."""
        old = await self._facts.document(number)
        fields = {"number": number, **body.said()}
        return await taken(self._facts, "correct_document", fields | ({} if old is None else {"old": old}))


def question(
    facts: Facts, first: str | None, before: str | None, tank: str | None, kind: str | None, undone: bool
) -> Json:
    """What is asked of the documents. Raises `Refused` (404) for a tank or a kind that there is not."""
    offered = facts.document_facts()
    tanks = [one["id"] for one in offered["tanks"]]
    if tank is not None and tank not in tanks:
        raise Refused(404, f"this site has no tank {tank}; it has: {', '.join(tanks)}")
    if kind is not None and kind not in offered["kinds"]:
        raise Refused(404, f"there is no kind of document {kind!r}; there are: {', '.join(offered['kinds'])}")
    return {"first": first, "before": before, "tank": tank, "kind": kind, "undone": undone}


async def taken(facts: Facts, name: str, fields: Json) -> Json:
    """What an act on documents tells, or the problem with all mistakes (422) or questions (409) as its members."""
    answer = await facts.act(name, fields)
    if answer.status in ACTED:
        return {"status": answer.status, **answer.body}
    mistakes, questions = answer.body.get("mistakes", []), answer.body.get("questions", [])
    status = 422 if mistakes else NOT_ACTED[answer.status]
    raise Refused(status, answer.text, mistakes=mistakes, questions=questions)
