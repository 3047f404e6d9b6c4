"""The HTTP API of the record book: its head, its entries, and corrections as new entries that point at the old ones."""

from typing import Annotated

from fastapi import APIRouter, Path, Query
from pydantic import AwareDatetime, BaseModel, ConfigDict, StringConstraints

from console.acted import acted
from console.api import NO_END_MS, PRINTABLE, REFUSED, SILENT, UNKNOWN, UNREADABLE, PersonName
from console.facts import Facts, Json
from console.lookup import time_ms
from console.paging import RecordsPaged, by
from console.problems import Refused

KIND = r"^[a-z_]{1,40}$"
EntryNumber = Annotated[int, Path(ge=1, le=2**53, description="the number of an entry")]
CorrectionText = Annotated[
    str, StringConstraints(strip_whitespace=True, min_length=1, max_length=2000, pattern=PRINTABLE)
]


class Correction(BaseModel):
    """Who corrects an entry, and what is right."""

    model_config = ConfigDict(extra="forbid")
    by: PersonName
    text: CorrectionText


class RecordApi:
    """The routes below /api/records."""

    def __init__(self, facts: Facts) -> None:
        self._facts = facts
        self.router = APIRouter(prefix="/api/records", responses=REFUSED)
        self.router.get("", responses=SILENT)(self.entries)
        self.router.get("/head", responses=SILENT)(self.head)
        self.router.post("/{n}/correct", responses=UNREADABLE | UNKNOWN | SILENT)(self.correct)

    async def head(self) -> Json:
        """How many entries there are and the hash of the last: `verify --against` takes `head` later."""
        return {"head": await self._facts.record_head()}

    async def entries(
        self,
        page: RecordsPaged,
        kind: Annotated[str | None, Query(pattern=KIND)] = None,
        from_: Annotated[AwareDatetime | None, Query(alias="from")] = None,
        to: Annotated[AwareDatetime | None, Query()] = None,
    ) -> list[Json]:
        """Entries with from <= time < to, newest first; `corrected_by`: the numbers of those that correct one."""
        start, end = (0 if from_ is None else time_ms(from_)), (NO_END_MS if to is None else time_ms(to))
        rows = await self._facts.record_rows(kind, start, end, page.limit + 1, page.before)
        return page.first(rows, by("n"))

    async def correct(self, n: EntryNumber, body: Correction) -> Json:
        """A new entry that points at entry n by its number and its hash. The old one stays as it is."""
        found = await self._facts.pointing_at(n)
        if isinstance(found, str):
            raise Refused(404, found)
        return await acted(self._facts, "correct", {**found, **body.model_dump()})
