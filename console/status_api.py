"""The HTTP API of tank status and batches: what each tank is ready for, and what people say of it."""

from typing import Annotated, Final, Literal

from fastapi import APIRouter, Query
from pydantic import AwareDatetime, BaseModel, ConfigDict, Field, StringConstraints

from console.acted import acted
from console.api import PRINTABLE, REFUSED, SILENT, UNKNOWN, UNREADABLE, PersonName
from console.facts import Facts, Json
from console.lookup import ID_PATTERN, TankId, known_tank, time_ms
from console.paging import Paged
from console.problems import said

Text = Annotated[str, StringConstraints(strip_whitespace=True, max_length=500, pattern=PRINTABLE)]
Reason = Annotated[str, StringConstraints(strip_whitespace=True, min_length=1, max_length=500, pattern=PRINTABLE)]
Density = Annotated[float, Field(strict=True, ge=600, le=1100, allow_inf_nan=False)]
Conductivity = Annotated[float, Field(strict=True, ge=0, le=10_000, allow_inf_nan=False)]
WantedTank = Annotated[str | None, Query(pattern=ID_PATTERN, description="one tank only")]
From = Annotated[AwareDatetime | None, Query(alias="from", description="from this time on; with offset or Z")]
To = Annotated[AwareDatetime | None, Query(description="before this time; with offset or Z")]

NOT_NOW: Final = said(409, "not now, or not so: the detail says why and what would mend it")
FAR_MS: Final = 4_102_444_800_000


class _Body(BaseModel):
    model_config = ConfigDict(extra="forbid")
    by: PersonName


class Release(_Body):
    """Who releases it, and what the sample showed; what is left out was not done. Density at 15 degC."""

    appearance: Literal["", "clear and bright", "not clear"] = ""
    water_test: Literal["", "passed", "failed"] = ""
    density_kg_m3: Density | None = None
    conductivity_pS_m: Conductivity | None = None
    certificate: Text = ""
    comment: Text = ""


class Said(_Body):
    """Who says it, and why."""

    reason: Reason


class StatusApi:
    """The routes of tank status."""

    def __init__(self, facts: Facts) -> None:
        self._facts = facts
        self.router = APIRouter(prefix="/api", responses=REFUSED)
        get, post = self.router.get, self.router.post
        get("/status")(self.status)
        get("/status/history", responses=UNKNOWN | SILENT)(self.history)
        get("/batches", responses=UNKNOWN | SILENT)(self.batches)
        answers = UNREADABLE | UNKNOWN | NOT_NOW | SILENT
        post("/tanks/{tank}/release", responses=answers)(self.release)
        post("/tanks/{tank}/quarantine", responses=answers)(self.quarantine)
        post("/tanks/{tank}/quarantine/lift", responses=answers)(self.lift)
        post("/tanks/{tank}/service/remove", responses=answers)(self.remove)
        post("/tanks/{tank}/service/return", responses=answers)(self.back)

    async def status(self) -> list[Json]:
        """What each tank is ready for; empty where the site keeps no status."""
        return self._facts.tank_status()

    async def history(self, page: Paged, tank: WantedTank = None, start: From = None, to: To = None) -> list[Json]:
        """What became of the tanks' status, newest first."""
        if tank is not None:
            known_tank(self._facts.live(), tank)
        from_ms = 0 if start is None else time_ms(start)
        rows = await self._facts.status_rows(tank, from_ms, FAR_MS if to is None else time_ms(to))
        return page.rest(rows, _moment)

    async def batches(self, tank: WantedTank = None) -> list[Json]:
        """Which receipts make up what is in each tank."""
        if tank is not None:
            known_tank(self._facts.live(), tank)
        return await self._facts.batches(tank)

    async def release(self, tank: TankId, body: Release) -> Json:
        """Release what is in a tank; 409 while it settles or receives, or where the sample result does not do."""
        return await acted(self._facts, "release_tank", {"tank": tank, **body.model_dump()})

    async def quarantine(self, tank: TankId, body: Said) -> Json:
        """Set a tank aside."""
        return await acted(self._facts, "quarantine_tank", {"tank": tank, **body.model_dump()})

    async def lift(self, tank: TankId, body: Said) -> Json:
        """A quarantine is over; the tank is not released by that."""
        return await acted(self._facts, "lift_quarantine", {"tank": tank, **body.model_dump()})

    async def remove(self, tank: TankId, body: Said) -> Json:
        """Take a tank out of service."""
        return await acted(self._facts, "remove_tank", {"tank": tank, **body.model_dump()})

    async def back(self, tank: TankId, body: Said) -> Json:
        """Return a tank to service; it is not released by that."""
        return await acted(self._facts, "return_tank", {"tank": tank, **body.model_dump()})


def _moment(row: Json) -> str:
    """What tells one change of a tank's status from every other."""
    return f"{row['tank']}.{row['time']}.{str(row['event']).replace(' ', '_')}"
