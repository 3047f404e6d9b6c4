"""What people do to receipts: plan, check, start, hold the line against the tank, take a sample, decide.

Each decides by the core's state alone; what is decided becomes an entry `receipt` of the record book. Nothing here
makes a delivery note: what the paper says goes into the book by a person's own act.
"""

from typing import TYPE_CHECKING, Final, NamedTuple

from gaugehouse import receiptjson as told
from gaugehouse import receiptwork as work
from gaugehouse.act import Answer, Decision, Json, Outcome, Taken, no_tank, refused, unknown
from gaugehouse.days import iso_ms
from gaugehouse.documentacts import add_of
from gaugehouse.planacts import PlanMovement, plan_over
from gaugehouse.plans import BY_PERSON, RECEIPT
from inventory.receiptmeter import Metered
from inventory.receiptprogress import line_check
from inventory.receipts import DeliveryPaper, DeliverySample, Done, Receipt, Stage
from models.density import DensityMeter, base_density_of_sample, rebased_kgpm3
from models.errors import OutOfRange
from models.reading import Instant

if TYPE_CHECKING:
    from gaugehouse.core import Core

MOST_OPEN: Final = 100


class ForecastReceipt(NamedTuple):
    """A question: would it fit, and what would it do? Decides nothing."""

    tank: str
    paper: DeliveryPaper
    rate_m3_per_s: float | None
    product: str

    def apply(self, core: "Core", at: Instant) -> Outcome:
        wrong = _objection(core, self.tank, self.product, self.paper)
        if wrong is not None:
            return wrong
        return Outcome(Answer(Taken.DONE, "", told.before_json(core, self.tank, self.paper, self.rate_m3_per_s)))


class PlanReceipt(NamedTuple):
    """A person writes down a delivery that is to come: what its papers say, and at which rate it is agreed."""

    tank: str
    paper: DeliveryPaper
    rate_m3_per_s: float | None
    product: str
    by: str
    sender: str = ""
    stops: str = ""

    def apply(self, core: "Core", at: Instant) -> Outcome:
        wrong = _objection(core, self.tank, self.product, self.paper)
        if wrong is not None:
            return wrong
        if self.paper.note:
            for other in core.receipts.all():
                if other.tank == self.tank and other.paper.note == self.paper.note:
                    text = f"delivery note {self.paper.note} is planned for tank {self.tank} as receipt {other.number}"
                    return Outcome(Answer(Taken.ALREADY, text, told.receipt_json(core, other)))
        if len(core.receipts.all()) >= MOST_OPEN:
            return refused(f"{MOST_OPEN} receipts are open; decide or call off those that are over")
        forecast = told.before_json(core, self.tank, self.paper, self.rate_m3_per_s)["forecast"]
        receipt = Receipt(
            core.receipts.next_number, self.tank, core.site.tank(self.tank).product, self.paper, self.rate_m3_per_s,
            self.by, at.time_ms, forecast=forecast, sender=self.sender, stops=self.stops,
        )  # fmt: skip
        core.receipts.add(receipt)
        body = told.receipt_json(core, receipt)
        entry = told.entry(
            told.MADE, receipt, at.time_ms, by=self.by, paper=body["paper"], rate_m3_per_h=body["rate_m3_per_h"],
            forecast=receipt.forecast, sender=self.sender, stops=self.stops,
        )  # fmt: skip
        return Outcome(Answer(Taken.DONE, "", body), [entry])


class NoteCheck(NamedTuple):
    """A person says that a check was done, and what was found."""

    number: int
    what: str
    found: str
    by: str

    def apply(self, core: "Core", at: Instant) -> Outcome:
        receipt = core.receipts.get(self.number)
        if receipt is None:
            return _no_receipt(self.number)
        names = [one for one in core.site.receipts.checks if one.casefold().startswith(self.what.casefold())]
        if len(names) > 1 and self.what not in names:
            return refused(f"{self.what!r} could be {' or '.join(names)}; write more of it")
        what = names[0] if len(names) == 1 else self.what
        receipt.done[what] = Done(what, self.by, at.time_ms, self.found)
        core.receipts.changed(receipt)
        entry = told.entry(told.NOTED, receipt, at.time_ms, by=self.by, what=what, found=self.found)
        return Outcome(Answer(Taken.DONE, "", told.receipt_json(core, receipt)), [entry])


class TakeSample(NamedTuple):
    """A sample of what is delivered: its density at its own temperature, the temperature of the delivery."""

    number: int
    density_kgpm3: float | None
    density_degC: float | None
    meter: str
    temperature_degC: float | None
    by: str

    def apply(self, core: "Core", at: Instant) -> Outcome:
        receipt = core.receipts.get(self.number)
        if receipt is None:
            return _no_receipt(self.number)
        product = work.product_of(core, receipt.tank)
        at_15, how = None, ""
        if self.density_kgpm3 is not None and self.density_degC is not None:
            how = f"{self.density_kgpm3:.1f} kg/m3 at {self.density_degC:.1f} degC by {self.meter}"
            try:
                base = base_density_of_sample(
                    product.group, self.density_kgpm3, self.density_degC, DensityMeter(self.meter),
                    base_degC=product.base_degC, edition=product.edition, alpha60_per_degF=product.alpha60_per_degF,
                )  # fmt: skip
                at_15 = rebased_kgpm3(product.group, base, product.base_degC, 15.0, product.alpha60_per_degF)
            except OutOfRange as error:
                return refused(f"the sample is none of {receipt.product}: {error}")
        receipt.sample = DeliverySample(self.by, at.time_ms, at_15, self.temperature_degC, how)
        core.receipts.changed(receipt)
        body = told.receipt_json(core, receipt)
        entry = told.entry(told.NOTED, receipt, at.time_ms, by=self.by, what="sample", sample=body["sample"])
        return Outcome(Answer(Taken.DONE, "", body), [entry])


class StartReceipt(NamedTuple):
    """A person lets it begin: the tank is gauged, the movement is ordered, and watched from now on."""

    number: int
    by: str

    def apply(self, core: "Core", at: Instant) -> Outcome:
        receipt = core.receipts.get(self.number)
        if receipt is None:
            return _no_receipt(self.number)
        if receipt.stage is Stage.STARTED:
            text = f"receipt {self.number} was started by {receipt.started_by}"
            return Outcome(Answer(Taken.ALREADY, text, told.receipt_json(core, receipt)))
        wrong = _objection(core, receipt.tank, receipt.product, receipt.paper)
        if wrong is not None:  # the site file says other things of the tank by now
            return wrong
        found = work.forecast_of(core, receipt.tank, receipt.paper, receipt.rate_m3_per_s)
        ordered = PlanMovement(
            receipt.tank, RECEIPT, found.incoming_m3, receipt.rate_m3_per_s, receipt.product, self.by
        ).apply(core, at)
        if ordered.answer.status is not Taken.DONE:  # also for one that is ordered already: it is somebody else's
            return refused(ordered.answer.text)
        plan = core.plans.get(receipt.tank)
        assert plan is not None
        plan.receipt = receipt.number
        receipt.stage, receipt.started_ms, receipt.started_by = Stage.STARTED, at.time_ms, self.by
        receipt.forecast, receipt.start_note = told.forecast_json(found), ordered.answer.text
        _open(core, receipt, at)
        core.receipts.changed(receipt)
        body = told.receipt_json(core, receipt)
        entry = told.entry(
            told.STARTED, receipt, at.time_ms, by=self.by, opening=body["opening"], forecast=receipt.forecast,
            checks=body["checks"], note=receipt.start_note,
        )  # fmt: skip
        return Outcome(Answer(Taken.DONE, receipt.start_note, body), [*ordered.decisions, entry])


class CheckLine(NamedTuple):
    """The check of every 15 to 20 minutes: what line or vehicle say, against what the tank has gained.

    figure_m3: None for what the line's own meters have counted.
    """

    number: int
    figure_m3: float | None
    by: str
    comment: str = ""

    def apply(self, core: "Core", at: Instant) -> Outcome:
        receipt = core.receipts.get(self.number)
        if receipt is None:
            return _no_receipt(self.number)
        if receipt.stage is not Stage.STARTED:
            return refused(f"receipt {self.number} was not started; start it first")
        line, figure_m3 = None, self.figure_m3
        if figure_m3 is None:
            line = work.line_of(core, receipt)
            if line is None or line.why_not:
                return refused(_no_meter(core, receipt, line))
            figure_m3 = line.observed_m3 if line.observed_m3 is not None else line.standard_m3
            assert figure_m3 is not None
        whole = receipt.paper.observed_m3 or receipt.paper.standard_m3 or 0.0
        if figure_m3 > 2 * whole and line is None:
            text = (
                f"{figure_m3:.3f} m3 are more than twice the {whole:.3f} m3 of the paper; the figure is what has "
                "been delivered so far, not the reading of a totaliser"
            )
            return refused(text)
        check = line_check(
            at.time_ms, self.by, figure_m3, work.received(core, receipt), receipt.paper,
            work.product_of(core, receipt.tank), core.site.receipts, self.comment, line,
        )  # fmt: skip
        receipt.line.append(check)
        core.receipts.changed(receipt)
        entry = told.entry(told.LINE, receipt, at.time_ms, **told.line_json(check))
        return Outcome(Answer(Taken.DONE, "", told.receipt_json(core, receipt)), [entry])


class DecideReceipt(NamedTuple):
    """A named person accepts it, accepts with protest, or rejects it. without_tank: though the tank could not tell."""

    number: int
    decision: Stage
    comment: str
    by: str
    without_tank: bool = False

    def apply(self, core: "Core", at: Instant) -> Outcome:
        receipt = core.receipts.get(self.number)
        if receipt is None:
            return _no_receipt(self.number)
        body = told.receipt_json(core, receipt)
        if self.decision is not Stage.ACCEPTED and not self.comment:
            return refused(f"{self.decision.value}: say why in the comment")
        before = receipt.stage is Stage.PLANNED
        if before and self.decision is not Stage.REJECTED:
            return refused(f"receipt {self.number} was not started; it can be rejected only")
        if not before and body["reconciliation"] is None and not self.without_tank:
            text = f"receipt {self.number}: {body['why_not']}; wait, or decide without the tank and say why"
            return refused(text)
        if self.without_tank and not self.comment:
            return refused("without the tank's own figure: say why in the comment")
        return _over(core, at, receipt, self.decision, self.by, self.comment, body)


class DocumentReceipt(NamedTuple):
    """A person makes the delivery note of a receipt that was accepted: what its papers state, never what the tank says.

    sure: said again, where a guard of the documents has asked.
    """

    number: int
    by: str
    sure: bool

    def apply(self, core: "Core", at: Instant) -> Outcome:
        fields = core.receipts.paper(self.number)
        if fields is None:
            text = (
                f"receipt {self.number} has no papers that wait for a document: it was not accepted, or its delivery "
                "note is in the book already"
            )
            return unknown(text)
        outcome = add_of(fields | {"by": self.by, "sure": self.sure}).apply(core, at)
        if outcome.answer.status is not Taken.DONE:
            return outcome
        core.receipts.keep_paper(self.number, None)
        document = outcome.answer.body["documents"][0]["number"]
        body = {"event": told.DOCUMENTED, "number": self.number, "tank": fields["tank"], "document": document}
        entry = Decision(told.KIND, {**body, "by": self.by, "time": iso_ms(at.time_ms)})
        return Outcome(Answer(Taken.DONE, outcome.answer.text, body), [*outcome.decisions, entry])


class CallOff(NamedTuple):
    """It does not come."""

    number: int
    reason: str
    by: str

    def apply(self, core: "Core", at: Instant) -> Outcome:
        receipt = core.receipts.get(self.number)
        if receipt is None:
            return _no_receipt(self.number)
        if receipt.begun_ms is not None:
            text = (
                f"fuel of receipt {self.number} has come in: decide it (accept, protest or reject), it cannot be undone"
            )
            return refused(text)
        return _over(core, at, receipt, Stage.OFF, self.by, self.reason, told.receipt_json(core, receipt))


def _no_meter(core: "Core", receipt: Receipt, line: Metered | None) -> str:
    """Why the line's own meters give no figure."""
    if not work.meters_of(core, receipt.tank):
        return f"no totaliser fills tank {receipt.tank}; write what line or vehicle say has been delivered so far"
    said = "was not read when the receipt was started" if line is None else told.NOT_READ[line.why_not]
    return f"receipt {receipt.number}: the line's meter {said}; write what line or vehicle say was delivered so far"


def _open(core: "Core", receipt: Receipt, at: Instant) -> None:
    """Gauge the tank before it: at rest, or as it stood before the flow that runs already."""
    receipt.opening, receipt.opening_ms = work.stand_of(core, receipt.tank), at.time_ms
    receipt.opening_air_degC = work.air_degC(core, receipt.tank)
    receipt.meters = work.registers_of(core, receipt.tank)
    runs = core.movements.running(receipt.tank)
    if runs is not None and runs.sign > 0:
        receipt.meters = {}  # what they counted before is not known
        receipt.opening, receipt.opening_ms, receipt.begun_ms = runs.start, runs.start_ms, runs.start_ms
        receipt.opening_air_degC = runs.ambient_degC[0]
        receipt.start_note += " It flowed already when it was started: counted from the start of that flow."
    elif runs is not None:
        receipt.start_note += " Fuel was leaving the tank when it was started."
    receipt.start_note = receipt.start_note.strip()


def _over(core: "Core", at: Instant, receipt: Receipt, stage: Stage, by: str, comment: str, body: Json) -> Outcome:
    receipt.stage = stage
    decisions: list[Decision] = []
    plan = core.plans.get(receipt.tank)
    if plan is not None and plan.receipt == receipt.number:
        decisions.append(plan_over(core.plans.end(at, receipt.tank, BY_PERSON), at, by))
    core.receipts.leave(receipt)
    if stage in (Stage.ACCEPTED, Stage.PROTEST):
        core.receipts.keep_paper(receipt.number, _delivery_note(core, receipt))
    event = told.OFF if stage is Stage.OFF else told.DECIDED
    whole = body | {"stage": stage.value, "phase": stage.value, "decision": stage.value}
    entry = told.entry(event, receipt, at.time_ms, **whole | {"decided_by": by, "comment": comment})
    return Outcome(Answer(Taken.DONE, "", dict(entry.body)), [*decisions, entry])


def _delivery_note(core: "Core", receipt: Receipt) -> Json:
    """What the papers state, as the fields of a document."""
    paper, product = receipt.paper, work.product_of(core, receipt.tank)
    density = paper.density_15_kgpm3
    if density is not None:
        density = rebased_kgpm3(product.group, density, 15.0, product.base_degC, product.alpha60_per_degF)
    stated = {
        "paper": paper.note, "observed_m3": paper.observed_m3, "standard_m3": paper.standard_m3,
        "temperature_degC": paper.temperature_degC, "density_kg_m3": density, "batch": paper.batch,
        "certificate": paper.certificate, "owner": paper.owner,
    }  # fmt: skip
    note = {name: value for name, value in stated.items() if value not in (None, "")}
    return {"kind": "delivery note", "tank": receipt.tank, "comment": f"receipt {receipt.number}", **note}


def _no_receipt(number: int) -> Outcome:
    return unknown(f"there is no open receipt {number}; `gaugehouse receipt list` shows them")


def _objection(core: "Core", tank: str, product: str, paper: DeliveryPaper) -> Outcome | None:
    """Why a delivery cannot be for this tank."""
    if tank not in core.keepers:
        return no_tank(tank)
    held = core.site.tank(tank).product
    if product and product != held:
        return refused(f"tank {tank}: it holds {held}, not {product}; plan another tank")
    model = work.product_of(core, tank)
    try:
        paper.ctl(model)(model.base_degC if paper.temperature_degC is None else paper.temperature_degC)
    except OutOfRange as error:
        return refused(f"tank {tank}: the paper's figures are none of {held}: {error}")
    return None
