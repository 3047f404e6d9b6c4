"""Leak tests by HTTP: what was found, signing it, and the signed ones as JSON and on paper. SI units."""

from datetime import datetime
from typing import Annotated, Final

from fastapi import APIRouter, Path, Query, Response
from pydantic import AwareDatetime, BaseModel, ConfigDict, StringConstraints

from console.acted import acted
from console.api import PRINTABLE, REFUSED, SILENT, UNKNOWN, UNREADABLE, PersonName
from console.facts import Facts, Json
from console.lookup import TankId, known_tank, time_ms
from console.printed import Size, on_paper, printed
from console.problems import Refused, said

Text = Annotated[str, StringConstraints(strip_whitespace=True, max_length=500, pattern=PRINTABLE)]
Reason = Annotated[str, StringConstraints(strip_whitespace=True, min_length=1, max_length=500, pattern=PRINTABLE)]
Number = Annotated[int, Path(ge=1, le=2**31, description="of the record")]
LEAST_MS: Final = 3_600_000
MOST_MS: Final = 31 * 86_400_000

NOT_SO: Final = said(409, "there was no test to sign: the detail says why")
PDF: Final = on_paper("the record on paper")


class Sign(BaseModel):
    """Who signs the test of which time, as the test itself told it."""

    model_config = ConfigDict(extra="forbid")
    by: PersonName
    start: AwareDatetime
    end: AwareDatetime
    comment: Text = ""


class Decide(BaseModel):
    """Who decides that a suspected loss is none, or is dealt with, and why."""

    model_config = ConfigDict(extra="forbid")
    by: PersonName
    reason: Reason


class LeakApi:
    """The routes below /api/leak."""

    def __init__(self, facts: Facts) -> None:
        self._facts = facts
        self.router = APIRouter(prefix="/api/leak", responses=REFUSED)
        get = self.router.get
        get("", responses=SILENT)(self.all)
        get("/tests", responses=SILENT)(self.tests)
        get("/tests/{number}/paper", responses=UNKNOWN | SILENT | PDF, response_class=Response)(self.paper)
        get("/{tank}", responses=UNKNOWN | SILENT)(self.one)
        self.router.post("/{tank}/sign", responses=UNREADABLE | UNKNOWN | NOT_SO | SILENT)(self.sign)
        self.router.post("/{tank}/decide", responses=UNREADABLE | UNKNOWN | SILENT)(self.decide)

    async def all(self) -> list[Json]:
        """The newest quiet hours of every tank that the site names for tests."""
        return [await self._found(tank, None, None) for tank in self._facts.leak_tanks()]

    async def one(
        self,
        tank: TankId,
        start: Annotated[AwareDatetime | None, Query()] = None,
        end: Annotated[AwareDatetime | None, Query()] = None,
    ) -> Json:
        """A tank's newest quiet hours, or the time from start to end."""
        known_tank(self._facts.live(), tank)
        if (start is None) != (end is None):
            raise Refused(422, "start and end go together; give both or neither")
        if start is None or end is None:
            return await self._found(tank, None, None)
        return await self._found(tank, *_span(start, end))

    async def _found(self, tank: str, from_ms: int | None, to_ms: int | None) -> Json:
        """The test, and beside it the signed one that found a loss, while that stands."""
        return await self._facts.leak(tank, from_ms, to_ms) | {"suspected": self._facts.leak_suspected(tank)}

    async def sign(self, tank: TankId, body: Sign) -> Json:
        """A named person keeps the test of a time in the record book: it is made again, then written down."""
        known_tank(self._facts.live(), tank)
        result = await self._facts.leak(tank, *_span(body.start, body.end))
        fields = {"result": result, "by": body.by, "comment": body.comment}
        return await acted(self._facts, "sign_leak_test", fields)

    async def decide(self, tank: TankId, body: Decide) -> Json:
        """A named person says that the loss a signed test found is none, or is dealt with: the alarm ends."""
        known_tank(self._facts.live(), tank)
        return await acted(self._facts, "decide_leak", {"tank": tank, "by": body.by, "reason": body.reason})

    async def tests(self) -> list[Json]:
        """The tests that were signed, newest first."""
        return await self._facts.leak_tests(None)

    async def paper(self, number: Number, size: Size = "A4") -> Response:
        """One signed test as PDF."""
        paper = await self._facts.leak_paper(number, size)
        return printed(paper, f"leak-test-{number}", f"there is no signed leak test {number}")


def _span(start: datetime, end: datetime) -> tuple[int, int]:
    from_ms, to_ms = time_ms(start), time_ms(end)
    if not LEAST_MS <= to_ms - from_ms <= MOST_MS or from_ms < 0:
        raise Refused(422, "from start to end must be an hour to 31 days")
    return from_ms, to_ms
