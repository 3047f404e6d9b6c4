"""The HTTP API of water, forecast and the due list, as JSON and as CSV. SI units; refuses to format for people."""

import csv
import io
from collections.abc import Iterable, Sequence
from typing import Annotated, Any, Final, Literal

from fastapi import APIRouter, Path, Query
from fastapi.responses import Response
from pydantic import BaseModel, ConfigDict, Field, StringConstraints

from console.acted import acted
from console.api import PRINTABLE, REFUSED, SILENT, UNKNOWN, UNREADABLE, Comment, PersonName
from console.facts import Facts, Json
from console.lookup import ID_PATTERN, TankId, known_tank
from console.paging import Paged, by
from console.problems import said

NOT_NOW: Final = said(409, "not so: the detail says why and what would mend it")
MOST_M3: Final = 2.0

Volume = Annotated[float, Field(strict=True, ge=0, le=MOST_M3, allow_inf_nan=False)]
Said = Annotated[str, StringConstraints(strip_whitespace=True, max_length=500, pattern=PRINTABLE)]
Number = Annotated[int, Path(ge=1, le=2**31, description="of the drain check")]
TankFilter = Annotated[str | None, Query(pattern=ID_PATTERN, description="one tank only")]

DUE: Final = ("state", "kind", "about", "what", "from", "until", "who", "last", "note", "rule", "link")
FORECAST: Final = (
    "of", "id", "tanks", "time", "usable_m3", "held_m3", "above", "missing", "days_known", "days_asked",
    "days_by_papers", "days_by_gauge", "mean_m3_per_day", "sd_m3", "by_weekday_m3", "cover_days", "cover_earliest_days",
    "cover_latest_days", "lead_days", "order_point_m3", "order_in_days", "order_by", "order_earliest_in_days",
    "order_now", "why", "notes",
)  # fmt: skip
CHECKS: Final = (
    "number", "tank", "day", "time", "by", "result", "appearance", "water_m3", "fuel_m3", "document", "why", "comment",
)  # fmt: skip


class DrainCheckBody(BaseModel):
    """What came of a look at a drain. Volumes in m3: 250 mL are 0.00025. document: of the water draw that tells the
    same volumes. day: the site day it was done on, none for today."""

    model_config = ConfigDict(extra="forbid")
    by: PersonName
    result: Literal["clear", "water", "not done"]
    appearance: Said = ""
    water_m3: Volume = 0.0
    fuel_m3: Volume = 0.0
    document: Annotated[int, Field(strict=True, ge=1, le=2**31)] | None = None
    why: Said = ""
    comment: Comment = ""
    day: Annotated[str, StringConstraints(pattern=r"^([0-9]{4}-[0-9]{2}-[0-9]{2})?$")] = ""


class Withdrawal(BaseModel):
    """Who takes a drain check back, and what was wrong with it."""

    model_config = ConfigDict(extra="forbid")
    by: PersonName
    comment: Annotated[str, StringConstraints(strip_whitespace=True, min_length=1, max_length=500, pattern=PRINTABLE)]


class WaterApi:
    """The routes of water, forecast and what is due."""

    def __init__(self, facts: Facts) -> None:
        self._facts = facts
        self.router = APIRouter(prefix="/api", responses=REFUSED)
        get, post = self.router.get, self.router.post
        get("/water", responses=SILENT)(self.waters)
        get("/water/{tank}", responses=UNKNOWN | SILENT)(self.water)
        get("/drain-checks", responses=UNKNOWN | SILENT)(self.checks)
        get("/drain-checks.csv", responses=UNKNOWN | SILENT, response_class=Response)(self.checks_csv)
        get("/forecast", responses=SILENT)(self.forecast)
        get("/forecast.csv", responses=SILENT, response_class=Response)(self.forecast_csv)
        get("/due", responses=SILENT)(self.due)
        get("/due.csv", responses=SILENT, response_class=Response)(self.due_csv)
        answers = UNREADABLE | UNKNOWN | NOT_NOW | SILENT
        post("/tanks/{tank}/drain-check", responses=answers)(self.check)
        post("/drain-checks/{number}/withdraw", responses=answers)(self.withdraw)

    async def waters(self) -> list[Json]:
        """The water account of every tank over the site's number of days, in the order of the site file."""
        return await self._facts.water([entry["tank"] for entry in self._facts.live()["tanks"]])

    async def water(self, tank: TankId) -> Json:
        """One tank's account: each way in with its bounds, what was found, the verdict, the trend of the water cut."""
        known_tank(self._facts.live(), tank)
        [told] = await self._facts.water([tank])
        return told

    async def checks(self, page: Paged, tank: TankFilter = None) -> list[Json]:
        """Drain checks, newest first, withdrawn ones with who took them back."""
        return page.rest(await self._checks(tank), by("number"))

    async def _checks(self, tank: str | None) -> list[Json]:
        if tank is not None:
            known_tank(self._facts.live(), tank)
        return await self._facts.drain_checks(tank)

    async def checks_csv(self, tank: TankFilter = None) -> Response:
        """Drain checks that stand, oldest first, as CSV."""
        rows = [row for row in await self._checks(tank) if row["withdrawn"] is None]
        return _csv("drain-checks.csv", CHECKS, reversed(rows))

    async def forecast(self) -> list[Json]:
        """Days of cover and order point of each product and tank, with what they rest on, or why there is none."""
        return await self._facts.forecast()

    async def forecast_csv(self) -> Response:
        """The same as CSV."""
        return _csv("forecast.csv", FORECAST, await self._facts.forecast())

    async def due(self) -> Json:
        """Everything that somebody has to do by a time, overdue first; what was never done has no time."""
        return await self._facts.due()

    async def due_csv(self) -> Response:
        """The same as CSV."""
        return _csv("due.csv", DUE, (await self._facts.due())["dues"])

    async def check(self, tank: TankId, body: DrainCheckBody) -> Json:
        """Write down a drain check; answers with the day on which the next one is due."""
        known_tank(self._facts.live(), tank)
        return await acted(self._facts, "drain_check", {"tank": tank, **body.model_dump()})

    async def withdraw(self, number: Number, body: Withdrawal) -> Json:
        """A drain check that was entered wrongly counts no more; it stays in the record book."""
        return await acted(self._facts, "withdraw_drain_check", {"number": number, **body.model_dump()})


def _csv(name: str, columns: Sequence[str], rows: Iterable[Json]) -> Response:
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(columns)
    writer.writerows([_cell(row[column]) for column in columns] for row in rows)
    headers = {"Content-Disposition": f'attachment; filename="{name}"'}
    return Response(out.getvalue(), media_type="text/csv; charset=utf-8", headers=headers)


def _cell(value: Any) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return f"{value:.6f}"
    return " ".join(map(str, value)) if isinstance(value, list) else str(value)
