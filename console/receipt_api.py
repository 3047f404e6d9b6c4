"""The HTTP API of receipts: the check before one, its acts, its state, the record on paper."""

from typing import Annotated, Final, Literal

from fastapi import APIRouter, Path, Response
from pydantic import BaseModel, ConfigDict, Field, StringConstraints, model_validator

from console.acted import acted
from console.api import PRINTABLE, REFUSED, SILENT, UNREADABLE, PersonName
from console.facts import Facts, Json
from console.lookup import ID_PATTERN
from console.printed import Size, on_paper, printed
from console.problems import Refused, said

Text = Annotated[str, StringConstraints(strip_whitespace=True, max_length=200, pattern=PRINTABLE)]
Short = Annotated[str, StringConstraints(strip_whitespace=True, max_length=64, pattern=PRINTABLE)]
Volume = Annotated[float, Field(strict=True, ge=1e-6, le=1e6, allow_inf_nan=False)]
Degrees = Annotated[float, Field(strict=True, ge=-60, le=90, allow_inf_nan=False)]
Density = Annotated[float, Field(strict=True, ge=500, le=1200, allow_inf_nan=False)]
Number = Annotated[int, Path(ge=1, le=2**31, description="of the receipt")]

NO_RECEIPT: Final = said(404, "there is no such receipt or tank")
NOT_NOW: Final = said(409, "not now, or not so: the detail says why and what would mend it")
PDF: Final = on_paper("the receipt record on paper")


class Delivery(BaseModel):
    """What the papers state. One of the two quantities is needed; density at 15 degC."""

    model_config = ConfigDict(extra="forbid", json_schema_extra={"anyOf": [
        {"required": ["observed_m3"], "properties": {"observed_m3": {"type": "number"}}},
        {"required": ["standard_m3"], "properties": {"standard_m3": {"type": "number"}}},
    ]})  # fmt: skip
    tank: Annotated[str, Field(pattern=ID_PATTERN)]
    observed_m3: Volume | None = None
    standard_m3: Volume | None = None
    temperature_degC: Degrees | None = None
    density_15_kgpm3: Density | None = None
    rate_m3_per_h: Annotated[float | None, Field(gt=1e-5, lt=36_000, allow_inf_nan=False)] = None
    note: Short = ""
    batch: Short = ""
    certificate: Short = ""
    vehicle: Short = ""
    owner: Short = ""
    product: Annotated[str, Field(max_length=32)] = ""

    @model_validator(mode="after")
    def _stated(self) -> "Delivery":
        if self.observed_m3 is None and self.standard_m3 is None:
            raise ValueError("the quantity is missing: observed_m3 or standard_m3")
        return self

    def fields(self) -> Json:
        told = self.model_dump(exclude={"rate_m3_per_h"})
        return told | {"rate_m3_per_s": None if self.rate_m3_per_h is None else self.rate_m3_per_h / 3600}


class PlannedDelivery(Delivery):
    """The same, and who plans it; sender: who delivers; stops: who stops the flow."""

    by: PersonName
    sender: Short = ""
    stops: Short = ""


class _Body(BaseModel):
    model_config = ConfigDict(extra="forbid")
    by: PersonName


class Start(_Body):
    """Who lets it begin."""


class CheckDone(_Body):
    """Which check was done, and what was found."""

    what: Annotated[str, StringConstraints(strip_whitespace=True, min_length=1, max_length=120, pattern=PRINTABLE)]
    found: Text = ""


class Sample(_Body):
    """The sample's density with its own temperature, by hydrometer or densitometer; the delivery's temperature."""

    density_kgpm3: Density | None = None
    density_degC: Degrees | None = None
    meter: Literal["hydrometer", "densitometer"] = "hydrometer"
    temperature_degC: Degrees | None = None


class LineFigure(_Body):
    """What line or vehicle say has been delivered so far; without a figure, what the line's own meters have counted."""

    figure_m3: Annotated[float, Field(strict=True, ge=0, le=1e6, allow_inf_nan=False)] | None = None
    comment: Text = ""


class Decision(_Body):
    """What a person decides. without_tank: though the tank's own figure is not to be had."""

    decision: Literal["accepted", "accepted with protest", "rejected"]
    comment: Text = ""
    without_tank: Annotated[bool, Field(strict=True)] = False


class Documented(_Body):
    """Who makes the delivery note; sure: again, where something was asked."""

    sure: Annotated[bool, Field(strict=True)] = False


class Off(_Body):
    """Why it does not come."""

    reason: Annotated[str, StringConstraints(strip_whitespace=True, min_length=1, max_length=200, pattern=PRINTABLE)]


class ReceiptApi:
    """The routes below /api/receipts."""

    def __init__(self, facts: Facts) -> None:
        self._facts = facts
        self.router = APIRouter(prefix="/api/receipts", responses=REFUSED)
        post, get = self.router.post, self.router.get
        answers = UNREADABLE | NO_RECEIPT | NOT_NOW | SILENT
        get("", responses=SILENT)(self.receipts)
        post("", responses=answers)(self.plan)
        post("/check", responses=answers)(self.check)
        get("/{number}", responses=NO_RECEIPT | SILENT)(self.receipt)
        get("/{number}/paper", responses=NO_RECEIPT | SILENT | PDF, response_class=Response)(self.paper)
        for way, act in (
            ("done", self.done), ("sample", self.sample), ("start", self.start), ("line", self.line),
            ("decide", self.decide), ("off", self.off), ("document", self.document),
        ):  # fmt: skip
            post(f"/{{number}}/{way}", responses=answers)(act)

    async def receipts(self) -> list[Json]:
        """Receipts that are open, then those that are over, newest first."""
        return await self._facts.receipts()

    async def check(self, body: Delivery) -> Json:
        """Would it fit, to which level, when is what passed? Writes nothing down."""
        return await acted(self._facts, "forecast_receipt", body.fields())

    async def plan(self, body: PlannedDelivery) -> Json:
        """Write a delivery down that is to come; its number is in the answer."""
        return await acted(self._facts, "plan_receipt", body.fields())

    async def receipt(self, number: Number) -> Json:
        """One receipt as it is now, or as it was decided."""
        found = await self._facts.receipt(number)
        if found is None:
            raise Refused(404, f"there is no receipt {number}")
        return found

    async def done(self, number: Number, body: CheckDone) -> Json:
        """A check before the receipt was done."""
        return await self._act("note_receipt_check", number, body)

    async def sample(self, number: Number, body: Sample) -> Json:
        """A sample of the delivery."""
        return await self._act("sample_receipt", number, body)

    async def start(self, number: Number, body: Start) -> Json:
        """Let it begin: the tank is gauged and watched from now on."""
        return await self._act("start_receipt", number, body)

    async def line(self, number: Number, body: LineFigure) -> Json:
        """Line or vehicle against the tank, now."""
        return await self._act("check_receipt_line", number, body)

    async def decide(self, number: Number, body: Decision) -> Json:
        """Accept, accept with protest, or reject; only when the surface is calm."""
        return await self._act("decide_receipt", number, body)

    async def off(self, number: Number, body: Off) -> Json:
        """It does not come."""
        return await self._act("call_off_receipt", number, body)

    async def document(self, number: Number, body: Documented) -> Json:
        """Make the delivery note of an accepted receipt, of what its papers state."""
        return await self._act("document_receipt", number, body)

    async def paper(self, number: Number, size: Size = "A4") -> Response:
        """The receipt record of one that is over, as PDF."""
        paper = await self._facts.receipt_paper(number, size)
        return printed(paper, f"receipt-{number}", f"there is no receipt {number} that was decided")

    async def _act(self, name: str, number: int, body: _Body) -> Json:
        return await acted(self._facts, name, {"number": number, **body.model_dump()})
