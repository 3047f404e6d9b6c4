"""The HTTP API of the trends: several tanks and quantities over one span, as JSON and CSV, and the marks on their axis.

Knows paths and bounds; refuses to compute.
"""

import asyncio
import csv
import io
from typing import Annotated, Final

from fastapi import APIRouter, Query
from fastapi.responses import Response
from pydantic import AwareDatetime

from console import trend_views
from console.api import LONGEST_SPAN_S, REFUSED, SILENT, UNKNOWN, iso
from console.facts import Facts, Json
from console.lookup import known_tank, stretch_ms
from console.problems import Refused
from models.reading import QUANTITY

MOST_TANKS: Final = 6
MOST_QUANTITIES: Final = 2
DAY_MS: Final = 86_400_000
ALARMS_BEFORE_MS: Final = 31 * DAY_MS
MOST_ALARM_ROWS: Final = 5000
ID: Final = "[A-Za-z0-9_-]{1,32}"
QUANTITY_PATTERN: Final = f"({'|'.join(QUANTITY)})"
CSV_HEAD: Final = ("tank", "quantity", "unit", "time", "min", "mean", "max", "good")

Tanks = Annotated[
    str, Query(pattern=f"^{ID}(,{ID}){{0,{MOST_TANKS - 1}}}$", description="tank ids, up to six, with commas between")
]
Quantities = Annotated[
    str,
    Query(
        pattern=f"^{QUANTITY_PATTERN}(,{QUANTITY_PATTERN}){{0,{MOST_QUANTITIES - 1}}}$",
        description="one or two columns of readings.csv, with a comma between",
    ),
]
Start = Annotated[AwareDatetime, Query(description="ISO 8601 with an offset or Z")]
Span = Annotated[float, Query(gt=0, le=LONGEST_SPAN_S, allow_inf_nan=False, description="seconds")]
Points = Annotated[int, Query(ge=10, le=2000)]


class TrendApi:
    """The routes that tell of several tanks at once."""

    def __init__(self, facts: Facts) -> None:
        self._facts = facts
        self.router = APIRouter(prefix="/api", responses=REFUSED)
        get = self.router.get
        get("/trends", responses=UNKNOWN | SILENT)(self.trends)
        text: dict[int | str, Json] = {200: {"content": {"text/csv": {}}, "description": "one row a stretch of time"}}
        get("/trends.csv", responses=text | UNKNOWN | SILENT, response_class=Response)(self.trends_csv)
        get("/trends/marks", responses=UNKNOWN | SILENT)(self.marks)

    async def trends(
        self, tanks: Tanks, quantities: Quantities, start: Start, span: Span, points: Points = 500
    ) -> Json:
        """Lowest, mean and highest value of each stretch for every tank and quantity; null where there is none."""
        start_ms, span_ms = stretch_ms(start, span, points)
        series = await self._series(tanks, quantities, start_ms, span_ms, points)
        return {"start": iso(start_ms), "span_s": span_ms / 1000, "series": series}

    async def trends_csv(
        self, tanks: Tanks, quantities: Quantities, start: Start, span: Span, points: Points = 2000
    ) -> Response:
        """The same as CSV in SI units; stretches without a reading are left out."""
        start_ms, span_ms = stretch_ms(start, span, points)
        series = await self._series(tanks, quantities, start_ms, span_ms, points)
        name = f"trend-{iso(start_ms)[:10]}.csv"
        head = {"Content-Disposition": f'attachment; filename="{name}"'}
        return Response(as_csv(series), media_type="text/csv; charset=utf-8", headers=head)

    async def _series(self, tanks: str, quantities: str, start_ms: int, span_ms: int, points: int) -> list[Json]:
        wanted = [(tank, quantity) for quantity in split(quantities) for tank in self._known(tanks)]
        answers = await asyncio.gather(
            *(self._facts.trend(tank, quantity, start_ms, span_ms, points) for tank, quantity in wanted)
        )
        return [
            {"tank": tank, "quantity": quantity, **answer, "t": [iso(ms) for ms in answer["t"]]}
            for (tank, quantity), answer in zip(wanted, answers, strict=True)
        ]

    async def marks(self, tanks: Tanks, start: Start, span: Span) -> Json:
        """Alarms, movements and loop faults of the tanks that touch the span, and how many were left out.

        Each mark: tank, kind, start (null: before what is known of it), end (null: it goes on), words, priority (of
        alarms), id. An alarm is found where it was raised at most 31 days before the span, or still stands.
        """
        start_ms, span_ms = stretch_ms(start, span)
        return await marks_of(self._facts, self._known(tanks), start_ms, start_ms + span_ms)

    def _known(self, tanks: str) -> list[str]:
        live = self._facts.live()
        return [known_tank(live, tank)["tank"] for tank in split(tanks)]


async def marks_of(facts: Facts, tanks: list[str], start_ms: int, end_ms: int) -> Json:
    """See `TrendApi.marks`."""
    live = facts.live()
    tanks_of = {
        loop["instrument"]: [tank for tank in loop["tanks"] if tank in tanks]
        for loop in live["loops"]
        if set(loop["tanks"]) & set(tanks)
    }
    tank_of = {tank: tank for tank in tanks} | {loop: found[0] for loop, found in tanks_of.items()}
    rows, moved, faults = await asyncio.gather(
        facts.alarm_rows(None, start_ms - ALARMS_BEFORE_MS, end_ms, MOST_ALARM_ROWS),
        facts.movements(None, start_ms, end_ms),
        facts.faults(None, start_ms, end_ms),
    )
    marks = [
        *trend_views.alarm_marks(rows, live["alarms"], tank_of),
        *trend_views.movement_marks(row for row in moved if row["tank"] in tanks),
        *trend_views.fault_marks(faults, tanks_of),
    ]
    return trend_views.in_view(marks, iso(start_ms), iso(end_ms))


def split(text: str) -> list[str]:
    """What stands between commas, each once; a doubled one is refused, since its line would hide the other."""
    parts = text.split(",")
    if len(set(parts)) < len(parts):
        raise Refused(422, f"{text}: name each only once")
    return parts


def as_csv(series: list[Json]) -> str:
    """One row a stretch with a reading: decimals of readings.csv, `good` from 0 to 1, empty where there is no value."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(CSV_HEAD)
    for one in series:
        quantity = QUANTITY[one["quantity"]]
        for t, low, mean, high, good in zip(one["t"], one["min"], one["mean"], one["max"], one["good"], strict=True):
            if good is None:
                continue
            figures = ("" if value is None else f"{value:.{quantity.decimals}f}" for value in (low, mean, high))
            writer.writerow((one["tank"], quantity.column, quantity.unit, t, *figures, f"{good:.3f}"))
    return out.getvalue()
