"""The HTTP API of loop faults: one fault with what people said of it, its trace, figures of its loop, CSV of both."""

import csv
import io
from collections.abc import Iterable, Mapping, Sequence
from typing import Annotated, Any, Final

from fastapi import APIRouter, Path
from fastapi.responses import Response
from pydantic import BaseModel, ConfigDict, Field, StringConstraints

from console.acted import acted
from console.api import NO_END_MS, PRINTABLE, REFUSED, SILENT, UNKNOWN, UNREADABLE, Comment, PersonName
from console.facts import Facts, Json
from console.lookup import InstrumentId, known_loop
from console.problems import Refused, said

NOT_NOW: Final = said(409, "not now, or not so: the detail says why")
HIGHEST_DIP_M: Final = 100.0

Number = Annotated[int, Path(ge=1, le=2**31, description="the number of a fault of this instrument, from 1 on")]
Said = Annotated[str, StringConstraints(strip_whitespace=True, max_length=500, pattern=PRINTABLE)]
Dip = Annotated[float, Field(strict=True, ge=0, le=HIGHEST_DIP_M, allow_inf_nan=False)]

CSV_COLUMNS: Final = (
    "instrument", "start", "end", "class", "min_mA", "max_mA", "status", "number", "entry_mA", "before_mA", "level_m",
    "noise_before_m", "movement", "blinded", "blinded_s", "found_by", "cause", "part", "action", "comment",
    "dip_before_m", "dip_after_m", "closed_by", "closed", "flag", "repeats_30d", "repeats_90d",
)  # fmt: skip
_DECIMALS: Final = {"mA": 4, "m": 5, "s": 3}


class Entry(BaseModel):
    """What a person says of a fault; at least one thing. corrects: the number of the entry that this one replaces."""

    model_config = ConfigDict(extra="forbid")
    by: PersonName
    found_by: Said = ""
    cause: Said = ""
    part: Said = ""
    action: Said = ""
    comment: Comment = ""
    dip_before_m: Dip | None = None
    dip_after_m: Dip | None = None
    close: Annotated[bool, Field(strict=True)] = False
    corrects: Annotated[int, Field(strict=True, ge=1, le=2**31)] | None = None


class FaultApi:
    """The routes below /api/loops/{instrument} that speak of its faults."""

    def __init__(self, facts: Facts) -> None:
        self._facts = facts
        self.router = APIRouter(prefix="/api/loops/{instrument}", responses=REFUSED)
        get, post = self.router.get, self.router.post
        answers = UNKNOWN | SILENT
        get("/figures", responses=answers)(self.figures)
        get("/faults.csv", responses=answers, response_class=Response)(self.faults_csv)
        get("/faults/{number}", responses=answers)(self.fault)
        get("/faults/{number}/causes", responses=answers)(self.causes)
        get("/faults/{number}/trace", responses=answers)(self.trace)
        get("/faults/{number}/trace.csv", responses=answers, response_class=Response)(self.trace_csv)
        post("/faults/{number}/entries", responses=UNREADABLE | NOT_NOW | answers)(self.entry)

    async def figures(self, instrument: InstrumentId) -> list[Json]:
        """Faults, hours watched, hours without a trustworthy signal and availability over 30 and 90 days."""
        known_loop(self._facts.live(), instrument)
        return await self._facts.loop_figures(instrument)

    async def fault(self, instrument: InstrumentId, number: Number) -> Json:
        """One fault, with every entry that people made on it."""
        return await fault_of(self._facts, instrument, number)

    async def causes(self, instrument: InstrumentId, number: Number) -> Json:
        """What may have caused a fault, best first, each with evidence for and against and the test that refutes it."""
        await fault_of(self._facts, instrument, number)
        return await self._facts.fault_causes(instrument, number)

    async def trace(self, instrument: InstrumentId, number: Number) -> list[Json]:
        """The raw samples kept around a fault, oldest first; empty where none is kept."""
        await fault_of(self._facts, instrument, number)
        return await self._facts.fault_trace(instrument, number)

    async def trace_csv(self, instrument: InstrumentId, number: Number) -> Response:
        """The same as a recording that `gaugehouse replay` reads."""
        await fault_of(self._facts, instrument, number)
        samples = await self._facts.fault_trace(instrument, number)
        return _csv(f"{instrument}-fault-{number}.csv", trace_rows(instrument, samples))

    async def faults_csv(self, instrument: InstrumentId) -> Response:
        """Every fault of the loop that the record book holds, oldest first."""
        known_loop(self._facts.live(), instrument)
        rows = await self._facts.faults(instrument, 0, NO_END_MS)
        cells = ([cell(column, row[column]) for column in CSV_COLUMNS] for row in reversed(rows))
        return _csv(f"{instrument}-faults.csv", [CSV_COLUMNS, *cells])

    async def entry(self, instrument: InstrumentId, number: Number, body: Entry) -> Json:
        """Write down what a person says of a fault. To close one that is closed answers who was first."""
        known_loop(self._facts.live(), instrument)
        fields = {"instrument": instrument, "number": number, **body.model_dump()}
        return await acted(self._facts, "fault_entry", fields)


async def fault_of(facts: Facts, instrument: str, number: int) -> Json:
    """One fault of a known loop, whenever it was. Raises `Refused` (404)."""
    known_loop(facts.live(), instrument)
    for row in await facts.faults(instrument, 0, NO_END_MS):
        if row["number"] == number:
            return row
    raise Refused(404, f"{instrument} has no fault {number}")


def cell(column: str, value: Any) -> str:
    """A value as it stands in CSV: fixed decimals by the unit in the column's name, lists with blanks between."""
    if value is None:
        return ""
    if isinstance(value, float):
        return f"{value:.{_DECIMALS[column.rpartition('_')[2]]}f}"
    return " ".join(value) if isinstance(value, list) else str(value)


def trace_rows(instrument: str, samples: Sequence[Mapping[str, Any]]) -> list[Sequence[str]]:
    """A trace as the rows of a recording: empty = no answer, NaN = an answer that is no number."""
    names = list(dict.fromkeys(name for sample in samples for name in sample["values"]))
    out: list[Sequence[str]] = [("time", "instrument", "outcome", *names)]
    for sample in samples:
        values = (sample["values"].get(name, "") for name in names)
        cells = ("NaN" if value is None else str(value) for value in values)
        out.append((sample["time"], instrument, sample["outcome"], *cells))
    return out


def _csv(name: str, rows: Iterable[Sequence[str]]) -> Response:
    out = io.StringIO()
    csv.writer(out, lineterminator="\n").writerows(rows)
    headers = {"Content-Disposition": f'attachment; filename="{name}"'}
    return Response(out.getvalue(), media_type="text/csv; charset=utf-8", headers=headers)
