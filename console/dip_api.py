"""The HTTP API of dips and density samples: what was measured by hand, and what it says of the gauge."""

from datetime import datetime
from typing import Annotated, Final, Literal

from fastapi import APIRouter, Path, Query
from pydantic import AwareDatetime, BaseModel, ConfigDict, Field, StringConstraints

from console.acted import acted
from console.api import DAY_MS, NO_END_MS, PRINTABLE, REFUSED, SILENT, UNKNOWN, UNREADABLE, Comment, PersonName, iso
from console.facts import Facts, Json
from console.lookup import ID_PATTERN, known_tank, time_ms
from console.paging import Paged, by
from console.problems import said

Tank = Annotated[str, StringConstraints(pattern=ID_PATTERN)]
Text = Annotated[str, StringConstraints(strip_whitespace=True, max_length=64, pattern=PRINTABLE)]
Metres = Annotated[float, Field(strict=True, ge=-1, le=100, allow_inf_nan=False)]
Height = Annotated[float, Field(strict=True, ge=0, le=100, allow_inf_nan=False)]
Degrees = Annotated[float, Field(strict=True, ge=-60, le=100, allow_inf_nan=False)]
Density = Annotated[float, Field(strict=True, ge=400, le=1300, allow_inf_nan=False)]
Number = Annotated[int, Path(ge=1, le=2**31, description="of the dip or sample")]

NOT_SO: Final = said(409, "too early after flow, readings that do not repeat, or a figure that cannot be")
DAYS: Final = 400


class _Body(BaseModel):
    model_config = ConfigDict(extra="forbid")


class DipBody(_Body):
    """A dip as it was read, in m and degC. time: none for now."""

    tank: Tank
    by: PersonName
    time: AwareDatetime | None = None
    purpose: Literal["stock", "verify"] = "stock"
    method: Literal["innage", "ullage"] = "innage"
    readings_m: Annotated[list[Metres], Field(max_length=20)] = []
    water_m: Height | None = None
    temperature_degC: Degrees | None = None
    temperature_kind: Literal["", "spot", "average"] = ""
    tape_degC: Degrees | None = None
    reference_m: Height | None = None
    after_setting: bool = False
    waited: Text = ""
    sure: bool = False
    comment: Comment = ""


class SampleBody(_Body):
    """A density sample as it was read; certificate_kgpm3 at 15 degC."""

    tank: Tank
    by: PersonName
    time: AwareDatetime | None = None
    observed_kgpm3: Density
    observed_degC: Degrees
    meter: Literal["hydrometer", "densitometer"] = "hydrometer"
    place: Text = ""
    certificate_kgpm3: Density | None = None
    rejected: Comment = ""
    waited: Text = ""
    comment: Comment = ""


class WithdrawBody(_Body):
    """Who says that it was wrong, and why."""

    by: PersonName
    why: Annotated[str, StringConstraints(strip_whitespace=True, min_length=1, max_length=500, pattern=PRINTABLE)]


TankQuery = Annotated[str | None, Query(pattern=ID_PATTERN)]
Moment = Annotated[AwareDatetime | None, Query()]
From = Annotated[AwareDatetime | None, Query(alias="from")]


class DipApi:
    """The routes /api/dips and /api/samples."""

    def __init__(self, facts: Facts) -> None:
        self._facts = facts
        self.router = APIRouter(prefix="/api", responses=REFUSED)
        get, post = self.router.get, self.router.post
        acts = UNREADABLE | UNKNOWN | NOT_SO | SILENT
        get("/dips", responses=UNKNOWN | SILENT)(self.dips)
        post("/dips", responses=acts)(self.add)
        get("/dips/trend", responses=UNKNOWN | SILENT)(self.trend)
        post("/dips/verdict", responses=UNREADABLE | UNKNOWN)(self.verdict)
        post("/dips/{number}/withdraw", responses=acts)(self.withdraw)
        get("/samples", responses=UNKNOWN | SILENT)(self.samples)
        post("/samples", responses=acts)(self.add_sample)
        post("/samples/{number}/withdraw", responses=acts)(self.withdraw_sample)

    async def dips(self, page: Paged, tank: TankQuery = None, from_: From = None, to: Moment = None) -> list[Json]:
        """Dips with from <= time < to, newest first, each beside the gauge; without times, the last 400 days."""
        from_ms, to_ms = self._stretch(tank, from_, to)
        return page.rest(await self._facts.dips.rows(tank, from_ms, to_ms), by("number"), **{"from": iso(from_ms)})

    async def samples(self, page: Paged, tank: TankQuery = None, from_: From = None, to: Moment = None) -> list[Json]:
        """Density samples with from <= time < to, newest first, accepted or not."""
        from_ms, to_ms = self._stretch(tank, from_, to)
        rows = await self._facts.dips.samples(tank, from_ms, to_ms)
        return page.rest(rows, by("number"), **{"from": iso(from_ms)})

    async def trend(self, tank: Annotated[str, Query(pattern=ID_PATTERN)]) -> Json:
        """What the dips since the gauge was last set say of it: zero, span, drift, what to have checked, next due."""
        known_tank(self._facts.live(), tank)
        return await self._facts.dips.trend(tank)

    async def verdict(self, body: DipBody) -> Json:
        """What would be said to a dip; nothing is written down."""
        known_tank(self._facts.live(), body.tank)
        return self._facts.dips.verdict(_fields(body))

    async def add(self, body: DipBody) -> Json:
        """Write a dip down."""
        known_tank(self._facts.live(), body.tank)
        return await acted(self._facts, "add_dip", _fields(body))

    async def add_sample(self, body: SampleBody) -> Json:
        """Write a density sample down; an accepted one stands for the tank's product from now on."""
        known_tank(self._facts.live(), body.tank)
        return await acted(self._facts, "add_density_sample", _fields(body))

    async def withdraw(self, number: Number, body: WithdrawBody) -> Json:
        """A dip was wrong: it counts no more."""
        return await acted(self._facts, "withdraw_dip", {"kind": "dip", "number": number, **body.model_dump()})

    async def withdraw_sample(self, number: Number, body: WithdrawBody) -> Json:
        """A sample was wrong: it counts no more."""
        return await acted(self._facts, "withdraw_dip", {"kind": "sample", "number": number, **body.model_dump()})

    def _stretch(self, tank: str | None, from_: datetime | None, to: datetime | None) -> tuple[int, int]:
        live = self._facts.live()
        if tank is not None:
            known_tank(live, tank)
        to_ms = NO_END_MS if to is None else time_ms(to)
        if from_ is not None:
            return time_ms(from_), to_ms
        newest = live["time"] if to is None else to
        return 0 if newest is None else time_ms(newest) - DAYS * DAY_MS, to_ms


def _fields(body: DipBody | SampleBody) -> Json:
    return body.model_dump(exclude={"time"}) | {"time": None if body.time is None else body.time.isoformat()}
