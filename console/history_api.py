"""The HTTP API of the history: aggregates of a tank's figures over equal intervals, and stretches found bad afterwards.

Knows paths and bounds; refuses to compute.
"""

from typing import Annotated, Final, Literal

from fastapi import APIRouter, Query
from pydantic import AwareDatetime, BaseModel, ConfigDict, Field, StringConstraints

from console.acted import acted
from console.api import (
    LONGEST_SPAN_S,
    PRINTABLE,
    REFUSED,
    SILENT,
    UNKNOWN,
    UNREADABLE,
    PersonName,
    Quantity,
    iso,
)
from console.facts import Facts, Json
from console.lookup import TankId, known_tank, stretch_ms, time_ms
from console.problems import Refused, said

Name = Literal[
    "Interpolative", "Average", "TimeAverage", "TimeAverage2", "Total", "Total2", "Minimum", "Maximum", "Range",
    "Start", "End", "Delta", "Count", "DurationGood", "DurationBad", "PercentGood", "PercentBad", "WorstQuality",
]  # fmt: skip
Seconds = Annotated[float, Query(gt=0, le=LONGEST_SPAN_S, allow_inf_nan=False, description="seconds")]
MOST_INTERVALS: Final = 2000


class Requalification(BaseModel):
    """Who says what of the readings of a stretch, and why. quality `as_measured` takes earlier entries back."""

    model_config = ConfigDict(extra="forbid", populate_by_name=True)
    start: Annotated[AwareDatetime, Field(alias="from")]
    end: Annotated[AwareDatetime, Field(alias="to")]
    quality: Literal["bad", "uncertain", "as_measured"]
    reason: Annotated[str, Field(max_length=64, pattern="^[A-Za-z]*$")] = ""
    comment: Annotated[str, StringConstraints(strip_whitespace=True, min_length=1, max_length=500, pattern=PRINTABLE)]
    by: PersonName


class HistoryApi:
    """The routes that speak of what was."""

    def __init__(self, facts: Facts) -> None:
        self._facts = facts
        self.router = APIRouter(prefix="/api", responses=REFUSED)
        self.router.get("/history/files")(self.files)
        self.router.get("/tanks/{tank}/aggregate", responses=UNKNOWN | SILENT)(self.aggregate)
        not_yet = said(409, "the stretch reaches into the future")
        self.router.post("/tanks/{tank}/requalify", responses=UNREADABLE | UNKNOWN | not_yet | SILENT)(self.requalify)

    async def files(self) -> Json:
        """Whether the daemon's files were closed in order, and what is damaged in them."""
        return self._facts.files()

    async def aggregate(
        self,
        tank: TankId,
        quantity: Quantity,
        aggregate: Annotated[Name, Query(description="by its name in OPC UA Part 13")],
        start: Annotated[AwareDatetime, Query(description="ISO 8601 with an offset or Z")],
        span: Seconds,
        interval: Seconds,
        stepped: Annotated[bool, Query(description="a value holds until the next one")] = False,
        uncertain: Annotated[Literal["bad", "usable"], Query(description="how Uncertain readings are taken")] = "bad",
    ) -> Json:
        """One figure for each interval, its status and how much of the interval was Good; null where there is none."""
        known_tank(self._facts.live(), tank)
        (start_ms, span_ms), interval_ms = stretch_ms(start, span), max(1, round(interval * 1000))
        if -(-span_ms // interval_ms) > MOST_INTERVALS:
            raise Refused(422, f"query.interval: at most {MOST_INTERVALS} intervals at once; ask for a longer one")
        asked = {
            "quantity": quantity, "aggregate": aggregate, "start_ms": start_ms, "end_ms": start_ms + span_ms,
            "interval_ms": interval_ms, "stepped": stepped, "uncertain_is_bad": uncertain == "bad",
        }  # fmt: skip
        try:
            answer = await self._facts.aggregate(tank, asked)
        except ValueError as error:
            raise Refused(422, str(error)) from error
        times = [iso(ms) for ms in answer.pop("start_ms")]
        return {"tank": tank, "quantity": quantity, "aggregate": aggregate, "t": times, **answer}

    async def requalify(self, tank: TankId, body: Requalification) -> Json:
        """Say that readings were bad or doubtful, by name; answered after it is in the record book."""
        known_tank(self._facts.live(), tank)
        fields = {"tank": tank, "from": iso(time_ms(body.start)), "to": iso(time_ms(body.end))}
        fields |= {name: getattr(body, name) for name in ("quality", "reason", "comment", "by")}
        return await acted(self._facts, "requalify", fields)
