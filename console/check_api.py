"""The HTTP API of loop checks: its acts below a loop's address, and the records that are kept, as JSON and on paper."""

from typing import Annotated, Final, Literal

from fastapi import APIRouter, Path, Response
from pydantic import BaseModel, ConfigDict, Field, StringConstraints

from console.acted import acted
from console.api import PRINTABLE, REFUSED, SILENT, UNKNOWN, UNREADABLE, PersonName
from console.facts import Facts, Json
from console.lookup import InstrumentId, known_loop
from console.printed import Size, on_paper, printed
from console.problems import Refused, said

Text = Annotated[str, StringConstraints(strip_whitespace=True, max_length=500, pattern=PRINTABLE)]
MilliAmpere = Annotated[float, Field(strict=True, ge=0, le=25, allow_inf_nan=False)]
Number = Annotated[int, Path(ge=1, le=2**31, description="of the record")]

NOT_NOW: Final = said(409, "not now, or not so: the detail says why and what would mend it")
NO_CHECK: Final = said(404, "no such loop, or no check of it is under way")
PDF: Final = on_paper("the record on paper")


class _Body(BaseModel):
    model_config = ConfigDict(extra="forbid")
    by: PersonName


class Start(_Body):
    """Who begins it. minutes: none for the longest that the site allows."""

    minutes: Annotated[float, Field(strict=True, gt=0, le=480, allow_inf_nan=False)] | None = None
    covered_by: Text = ""
    at_rest: Text = ""
    permit: Text = ""


class Step(_Body):
    """Which step (none: the next one), what was applied (none: the point), what was read (none: live)."""

    run: Literal["", "as_found", "as_left"] = ""
    point_mA: MilliAmpere | None = None
    direction: Literal["", "up", "down"] = ""
    applied_mA: MilliAmpere | None = None
    shown_mA: MilliAmpere | None = None


class Finish(_Body):
    """What the record may tell beside the steps."""

    organisation: Text = ""
    customer: Text = ""
    condition: Text = ""
    reference: Text = ""
    reference_certificate: Text = ""
    reference_due: Annotated[str, StringConstraints(pattern=r"^([0-9]{4}-[0-9]{2}-[0-9]{2})?$")] = ""
    reference_uncertainty: Text = ""
    ambient: Text = ""
    adjusted: Text = ""
    witness: Text = ""
    remarks: Text = ""


class Abort(_Body):
    """Who gives it up, and why."""

    why: Text = ""


class CheckApi:
    """The routes below /api/loops/ID that have to do with loop checks."""

    def __init__(self, facts: Facts) -> None:
        self._facts = facts
        self.router = APIRouter(prefix="/api/loops/{instrument}", responses=REFUSED)
        post, get = self.router.post, self.router.get
        answers = UNREADABLE | NO_CHECK | NOT_NOW | SILENT
        post("/check/start", responses=answers)(self.start)
        post("/check/step", responses=answers)(self.step)
        post("/check/finish", responses=answers)(self.finish)
        post("/check/abort", responses=answers)(self.abort)
        get("/checks", responses=UNKNOWN | SILENT)(self.records)
        get("/checks/{number}", responses=UNKNOWN | SILENT)(self.record)
        get("/checks/{number}/paper", responses=UNKNOWN | SILENT | PDF, response_class=Response)(self.paper)

    async def start(self, instrument: InstrumentId, body: Start) -> Json:
        """Begin a loop check: from now on the level is out of service, with the alarms that it blinds."""
        return await acted(self._facts, "start_loop_check", {"instrument": instrument, **body.model_dump()})

    async def step(self, instrument: InstrumentId, body: Step) -> Json:
        """Take a step: live, or as it was read by hand."""
        return await acted(self._facts, "take_loop_step", {"instrument": instrument, **body.model_dump()})

    async def finish(self, instrument: InstrumentId, body: Finish) -> Json:
        """End a whole check: its record is kept, the loop measures again."""
        return await acted(self._facts, "finish_loop_check", {"instrument": instrument, **body.model_dump()})

    async def abort(self, instrument: InstrumentId, body: Abort) -> Json:
        """Give a check up: what was taken is kept, the loop measures again."""
        return await acted(self._facts, "abort_loop_check", {"instrument": instrument, **body.model_dump()})

    async def records(self, instrument: InstrumentId) -> list[Json]:
        """The records of a loop, newest first."""
        known_loop(self._facts.live(), instrument)
        return await self._facts.check_records(instrument)

    async def record(self, instrument: InstrumentId, number: Number) -> Json:
        """One record, whole."""
        known_loop(self._facts.live(), instrument)
        found = await self._facts.check_record(instrument, number)
        if found is None:
            raise Refused(404, f"{instrument} has no loop check record {number}")
        return found

    async def paper(self, instrument: InstrumentId, number: Number, size: Size = "A4") -> Response:
        """One record as PDF."""
        known_loop(self._facts.live(), instrument)
        paper = await self._facts.check_paper(instrument, number, size)
        return printed(paper, f"loop-check-{number}", f"{instrument} has no loop check record {number}")
