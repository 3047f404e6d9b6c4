"""Stock by HTTP: what every tank holds now, the stock book, and its close. Answers in SI units, formats for nobody."""

from typing import Annotated, Literal

from fastapi import APIRouter, Query, Response
from pydantic import BaseModel, ConfigDict, Field

from console.acted import ACTED, NOT_ACTED
from console.api import REFUSED, SILENT, UNKNOWN, UNREADABLE, Comment, PersonName
from console.facts import Facts, Json
from console.lookup import ID_PATTERN
from console.problems import Refused, said
from console.stock_csv import book_csv

DAY_PATTERN = r"^\d{4}-\d{2}-\d{2}$"
MONTH_PATTERN = r"^\d{4}-\d{2}$"

DayName = Annotated[str | None, Query(pattern=DAY_PATTERN, description="a day of the site, 2026-01-31")]
MonthName = Annotated[str | None, Query(pattern=MONTH_PATTERN, description="a month, 2026-01")]
Id = Annotated[str | None, Query(pattern=ID_PATTERN)]


class StockClose(BaseModel):
    """Who signs which period of which product; `seal` as the book told it, so that what was seen is what is signed."""

    model_config = ConfigDict(extra="forbid")
    period: Literal["day", "month"]
    name: Annotated[str, Field(pattern=r"^\d{4}-\d{2}(-\d{2})?$", examples=["2026-01"])]
    product: Annotated[str, Field(pattern=ID_PATTERN)]
    by: PersonName
    comment: Comment = ""
    seal: Annotated[str | None, Field(pattern=r"^[0-9a-f]{16}$")] = None


class StockApi:
    """The routes below /api/stock."""

    def __init__(self, facts: Facts) -> None:
        self._facts = facts
        self.router = APIRouter(prefix="/api/stock", responses=REFUSED)
        self.router.get("")(self.stock)
        self.router.get("/book", responses=SILENT)(self.book)
        csv: dict[int | str, Json] = {200: {"content": {"text/csv": {}}, "description": "a row a tank and day"}}
        self.router.get("/book.csv", responses={**csv, **SILENT}, response_class=Response)(self.book_csv)
        refused = said(409, "something stands in the way of signing, or the figures have changed")
        self.router.post("/close", responses=UNREADABLE | UNKNOWN | refused | SILENT)(self.close)

    async def stock(self) -> Json:
        """What every tank holds now, and the sum of each product; null where it is not known, with why."""
        return self._facts.stock()

    async def book(self, day: DayName = None, month: MonthName = None, product: Id = None, tank: Id = None) -> Json:
        """The stock book of a day or a month; without either, of the day that goes on."""
        return await book_of(self._facts, day, month, product, tank)

    async def book_csv(
        self, day: DayName = None, month: MonthName = None, product: Id = None, tank: Id = None
    ) -> Response:
        """The same as CSV; read in again it gives the same sums."""
        answer = await book_of(self._facts, day, month, product, tank)
        name = f"{self._facts.site.id}-stock-{answer['period']}.csv"
        head = {"Content-Disposition": f'attachment; filename="{name}"'}
        return Response(book_csv(answer), media_type="text/csv", headers=head)

    async def close(self, body: StockClose) -> Json:
        """Sign a day or a month of a product, which locks its documents. The same again says who was first."""
        try:
            answer = await self._facts.close_stock(
                body.period, body.name, body.product, body.by, body.comment, body.seal
            )
        except ValueError as error:
            raise Refused(422, str(error)) from error
        if answer.status in ACTED:
            return {"status": answer.status, **answer.body}
        raise Refused(NOT_ACTED[answer.status], answer.text)


async def book_of(facts: Facts, day: str | None, month: str | None, product: str | None, tank: str | None) -> Json:
    """Raises `Refused` for what cannot be asked."""
    if day is not None and month is not None:
        raise Refused(422, "day and month are two questions; give one of them")
    kind = "day" if month is None else "month"
    try:
        return await facts.stock_book(kind, day or month or "", product, tank)
    except ValueError as error:
        raise Refused(422, str(error)) from error
