"""The HTTP API: what scripts rely on. Parses, asks the facts, answers in SI units under the names of readings.csv.

Knows paths and bounds; refuses to format for people (`console.model` does) and to decide who may ask
(`console.security` does).
"""

from datetime import UTC, datetime
from typing import Annotated, Final, Literal

from fastapi import APIRouter, Query, WebSocket
from pydantic import AwareDatetime, BaseModel, ConfigDict, Field, StringConstraints

from console import alarm_views
from console.acted import acted
from console.alarm_performance import Performance
from console.facts import AckStatus, Facts, Json
from console.live import Feed
from console.lookup import (
    FIRST_MS,
    ID_PATTERN,
    LAST_MS,
    AlarmId,
    InstrumentId,
    TankId,
    known_loop,
    known_tank,
    stretch_ms,
    time_ms,
)
from console.paging import Paged, by
from console.problems import Refused, said
from console.signed import PRINTABLE as PRINTABLE
from console.signed import PersonName as PersonName
from models.reading import QUANTITY

DAY_MS: Final = 86_400_000
NO_END_MS: Final = LAST_MS
"""The last millisecond of the year 9999."""
LONGEST_SPAN_S: Final = 3660 * 86400
Comment = Annotated[str, StringConstraints(strip_whitespace=True, max_length=500, pattern=PRINTABLE)]
Quantity = Annotated[str, Query(pattern=f"^({'|'.join(QUANTITY)})$", description="a column of readings.csv")]


class Acknowledgement(BaseModel):
    """Who acknowledges which occurrence, and what they have to say about it."""

    model_config = ConfigDict(extra="forbid")
    occurrence: Annotated[int, Field(strict=True, ge=0, le=2**53)]
    by: PersonName
    comment: Comment = ""


class ExtremesReset(BaseModel):
    """Who starts the lowest and highest level anew."""

    model_config = ConfigDict(extra="forbid")
    by: PersonName


class MovementPlan(BaseModel):
    """A movement that a person orders; the rate where one was agreed."""

    model_config = ConfigDict(extra="forbid")
    kind: Literal["receipt", "issue"] = "receipt"
    quantity_m3: Annotated[float, Field(gt=0, lt=1e6, allow_inf_nan=False)]
    rate_m3_per_h: Annotated[float | None, Field(gt=0, lt=1e5, allow_inf_nan=False)] = None
    product: Annotated[str, Field(max_length=32)] = ""
    by: PersonName


UNKNOWN: Final = said(404, "the site does not know this id")
SILENT: Final = said(503, "the store does not answer now")
UNREADABLE: Final = said(400, "the body is not JSON")


REFUSED: Final = (
    said(401, "sign in first")
    | said(403, "not for this role, or from a page of another site")
    | said(422, "out of bounds")
)


class Api:
    """The routes below /api for one site."""

    def __init__(self, facts: Facts, feed: Feed) -> None:
        self._facts = facts
        self._feed = feed
        self.router = APIRouter(prefix="/api", responses=REFUSED)
        self._routes()

    def _routes(self) -> None:
        get, post = self.router.get, self.router.post
        get("/site")(self.site)
        get("/live")(self.live)
        get("/tanks")(self.tanks)
        get("/tanks/{tank}", responses=UNKNOWN)(self.tank)
        get("/tanks/{tank}/facts", responses=UNKNOWN)(self.tank_facts)
        get("/tanks/{tank}/chain", responses=UNKNOWN)(self.chain)
        get("/tanks/{tank}/trend", responses=UNKNOWN | SILENT)(self.trend)
        post("/tanks/{tank}/extremes/reset", responses=UNREADABLE | UNKNOWN | SILENT)(self.reset_extremes)
        refused = said(409, "it does not fit, or is faster than the tank's limits allow for")
        post("/tanks/{tank}/plan", responses=UNREADABLE | UNKNOWN | refused | SILENT)(self.plan)
        post("/tanks/{tank}/plan/end", responses=UNREADABLE | UNKNOWN | SILENT)(self.end_plan)
        get("/buses")(self.buses)
        get("/points")(self.points)
        get("/loops")(self.loops)
        get("/loops/{instrument}", responses=UNKNOWN)(self.loop)
        get("/loops/{instrument}/budget", responses=UNKNOWN)(self.loop_budget)
        get("/alarms")(self.alarms)
        get("/alarms/history", responses=SILENT)(self.history)
        get("/notify")(self.channels)
        get("/servers")(self.servers)
        get("/alarms/performance", responses=SILENT)(self.performance)
        outdated = said(409, "this occurrence is not the newest one, or waits for no acknowledgement")
        post("/alarms/{alarm}/acknowledge", responses=UNREADABLE | UNKNOWN | outdated | SILENT)(self.acknowledge)
        get("/faults", responses=UNKNOWN | SILENT)(self.faults)
        get("/movements", responses=UNKNOWN | SILENT)(self.movements)
        self.router.add_api_websocket_route("/live/feed", self.live_feed)

    async def site(self) -> Json:
        """The site's id, name, time zone and whether its data are simulated."""
        site = self._facts.site
        return {"id": site.id, "name": site.name, "zone": site.zone, "simulated": site.simulated, "build": site.build}

    async def live(self) -> Json:
        """The newest state, as the feed sends it."""
        return self._facts.live()

    async def live_feed(self, socket: WebSocket) -> None:
        """The newest state once a second; the first message is the build."""
        await self._feed.serve(socket)

    async def tanks(self) -> list[Json]:
        """Every tank's newest reading."""
        return list(self._facts.live()["tanks"])

    async def tank(self, tank: TankId) -> Json:
        """One tank's newest reading, and under `facts` what is fixed about it."""
        return {**known_tank(self._facts.live(), tank), "facts": self._facts.tank_facts(tank)}

    async def tank_facts(self, tank: TankId) -> Json:
        """What is fixed about a tank: limits, capacity, reach, profile."""
        known_tank(self._facts.live(), tank)
        return self._facts.tank_facts(tank)

    async def chain(self, tank: TankId) -> Json:
        """Every step of the newest reading, from the raw register to mass."""
        known_tank(self._facts.live(), tank)
        return self._facts.chain(tank)

    async def trend(
        self,
        tank: TankId,
        quantity: Quantity,
        start: Annotated[AwareDatetime, Query(description="ISO 8601 with an offset or Z")],
        span: Annotated[float, Query(gt=0, le=LONGEST_SPAN_S, allow_inf_nan=False, description="seconds")],
        points: Annotated[int, Query(ge=10, le=2000)] = 500,
    ) -> Json:
        """Lowest, mean and highest value of each stretch; null where there is none."""
        known_tank(self._facts.live(), tank)
        start_ms, span_ms = stretch_ms(start, span, points)
        answer = await self._facts.trend(tank, quantity, start_ms, span_ms, points)
        return {**answer, "t": [iso(ms) for ms in answer["t"]]}

    async def buses(self) -> list[Json]:
        """Every bus and how its instruments answer, counted since the daemon started."""
        return list(self._facts.live()["buses"])

    async def points(self) -> list[Json]:
        """Meters and other signals that belong to no tank, with their newest value."""
        return list(self._facts.live()["points"])

    async def loops(self) -> list[Json]:
        """Every instrument's loop."""
        return list(self._facts.live()["loops"])

    async def loop(self, instrument: InstrumentId) -> Json:
        """One loop, and under `facts` what is fixed about it."""
        return {**known_loop(self._facts.live(), instrument), "facts": self._facts.loop_facts(instrument)}

    async def loop_budget(self, instrument: InstrumentId) -> list[Json]:
        """The supplies that feed a loop and its output, with spare volts, load and what to change; empty for none."""
        known_loop(self._facts.live(), instrument)
        return self._facts.loop_budget(instrument)

    async def alarms(self) -> list[Json]:
        """The standing alarms: not acknowledged first, then by priority, then by age."""
        return alarm_views.ordered(self._facts.live()["alarms"])

    async def history(
        self,
        page: Paged,
        source: Annotated[str | None, Query(pattern=ID_PATTERN)] = None,
        from_: Annotated[AwareDatetime | None, Query(alias="from")] = None,
        to: Annotated[AwareDatetime | None, Query()] = None,
    ) -> list[Json]:
        """Alarm transitions with from <= time < to, newest first; without times, the last 30 days."""
        from_ms, to_ms = self._stretch(from_, to)
        rows = await self._facts.alarm_rows(source, from_ms, to_ms, page.limit + 1, page.before)
        return page.first(rows, by("entry"), **{"from": iso(from_ms)})

    async def channels(self) -> list[Json]:
        """The channels by which people are told of alarms, and how each fares."""
        return self._facts.channels()

    async def servers(self) -> list[Json]:
        """The time-series servers that hold the readings too, and how each is served."""
        return self._facts.servers()

    async def performance(
        self,
        from_: Annotated[AwareDatetime | None, Query(alias="from")] = None,
        to: Annotated[AwareDatetime | None, Query()] = None,
    ) -> Performance:
        """Alarm rates, floods, chattering, fleeting and stale alarms beside their aims.

        Without times, of the last 30 days. By day, by month and for the whole of from <= time < to.
        """
        from_ms, to_ms = self._stretch(from_, to)
        return Performance.model_validate(await self._facts.performance(from_ms, to_ms))

    async def movements(
        self,
        page: Paged,
        tank: Annotated[str | None, Query(pattern=ID_PATTERN)] = None,
        from_: Annotated[AwareDatetime | None, Query(alias="from")] = None,
        to: Annotated[AwareDatetime | None, Query()] = None,
    ) -> list[Json]:
        """Movements that touch from <= t < to, newest first; without times, the last 30 days."""
        if tank is not None:
            known_tank(self._facts.live(), tank)
        from_ms, to_ms = self._stretch(from_, to)
        rows = await self._facts.movements(tank, from_ms, to_ms)
        return page.rest(rows, by("tank", "number"), **{"from": iso(from_ms)})

    async def faults(
        self,
        page: Paged,
        tank: Annotated[str | None, Query(pattern=ID_PATTERN)] = None,
        instrument: Annotated[str | None, Query(pattern=ID_PATTERN)] = None,
        from_: Annotated[AwareDatetime | None, Query(alias="from")] = None,
        to: Annotated[AwareDatetime | None, Query()] = None,
    ) -> list[Json]:
        """Loop faults that touch from <= t < to, newest first; without times, the last 30 days."""
        if tank is not None:
            known_tank(self._facts.live(), tank)
            own = str(self._facts.tank_facts(tank)["instrument"])
            if instrument not in (None, own):
                raise Refused(422, f"tank {tank} is measured by {own}, not by {instrument}; give one of the two")
            instrument = own
        elif instrument is not None:
            known_loop(self._facts.live(), instrument)
        from_ms, to_ms = self._stretch(from_, to)
        rows = await self._facts.faults(instrument, from_ms, to_ms)
        return page.rest(rows, by("instrument", "number"), **{"from": iso(from_ms)})

    async def acknowledge(self, alarm: AlarmId, body: Acknowledgement) -> Json:
        """Acknowledge one occurrence. The same one again is answered with who was first."""
        answer = await self._facts.acknowledge(alarm, body.occurrence, body.by, body.comment)
        match answer.status:
            case AckStatus.UNKNOWN:
                raise Refused(404, answer.text or f"there is no alarm {alarm}")
            case AckStatus.OUTDATED:
                raise Refused(
                    409,
                    f"occurrence {body.occurrence} of {alarm} is not the newest one; look at it again",
                    occurrence=answer.occurrence,
                )
            case AckStatus.REFUSED:
                raise Refused(409, answer.text)
        return {
            "id": alarm,
            "occurrence": body.occurrence,
            "status": answer.status.value,
            "acknowledged_by": answer.by,
            "time": answer.time,
        }

    async def reset_extremes(self, tank: TankId, body: ExtremesReset) -> Json:
        """Start the lowest and highest level since reset anew."""
        known_tank(self._facts.live(), tank)
        return await self._acted("reset_extremes", {"tank": tank, "by": body.by})

    async def plan(self, tank: TankId, body: MovementPlan) -> Json:
        """Order a movement of a tank, so that it is watched."""
        known_tank(self._facts.live(), tank)
        fields = {"tank": tank, **body.model_dump(exclude={"rate_m3_per_h"})}
        fields["rate_m3_per_s"] = None if body.rate_m3_per_h is None else body.rate_m3_per_h / 3600
        return await self._acted("plan_movement", fields)

    async def end_plan(self, tank: TankId, body: ExtremesReset) -> Json:
        """An ordered movement is over, or will not be."""
        known_tank(self._facts.live(), tank)
        return await self._acted("end_plan", {"tank": tank, "by": body.by})

    async def _acted(self, name: str, fields: Json) -> Json:
        """A person's act: what it tells, or the problem that stands in its way."""
        return await acted(self._facts, name, fields)

    def _stretch(self, from_: datetime | None, to: datetime | None) -> tuple[int, int]:
        """From <= t < to in UTC ms; without an end, up to the newest entry (which may be newer than the live state)."""
        to_ms = NO_END_MS if to is None else time_ms(to)
        if from_ is not None:
            return time_ms(from_), to_ms
        newest = self._facts.live()["time"] if to is None else to
        return 0 if newest is None else max(FIRST_MS, time_ms(newest) - 30 * DAY_MS), to_ms


def iso(time_ms_: int) -> str:
    """UTC milliseconds as ``2026-01-31T08:00:00.000Z``."""
    whole, ms = divmod(time_ms_, 1000)
    return f"{datetime.fromtimestamp(whole, UTC):%Y-%m-%dT%H:%M:%S}.{ms:03d}Z"
