"""A receipt as the pages, the API and the record book have it: one JSON-ready object, made of the core's state.

What a receipt is decided on is what was shown: the entry of the record book is this object, with the decision beside
it. Volumes in m3, rates in m3/h, times ISO 8601 UTC.
"""

from typing import TYPE_CHECKING, Any, Final

from gaugehouse import receiptwork as work
from gaugehouse.act import Decision, Json
from gaugehouse.days import iso_ms
from gaugehouse.keeper import FILLING
from inventory.dips import Dip
from inventory.moved import Moved
from inventory.movement import Stand
from inventory.receiptcheck import Forecast
from inventory.receiptmatch import Reconciliation, reconcile
from inventory.receiptmeter import NO_READING, WENT_BACK, Metered, Three, three
from inventory.receiptprogress import Progress, progress, prompt_of
from inventory.receipts import DeliveryPaper, LineCheck, Receipt, Stage
from models.density import density_objection
from models.errors import OutOfRange
from models.working import TimeTo

if TYPE_CHECKING:
    from gaugehouse.core import Core
    from models.reading import Instant

KIND: Final = "receipt"
"""The kind of the record book's entries."""

MADE, NOTED, STARTED, FLOW, LINE, DECIDED, OFF, DOCUMENTED = (
    "planned", "noted", "started", "flow seen", "line checked", "decided", "called off", "documented",
)  # fmt: skip
"""What an entry tells, in `event`."""

NOT_READ: Final = {NO_READING: "is not read now", WENT_BACK: "shows less than at the start and turns over nowhere"}

CAUTION: Final = (
    "Watch every delivery in person and follow local codes. "
    "This is a monitoring aid, not an overfill prevention system."
)


def entry(event: str, receipt: Receipt, time_ms: int, **more: Any) -> Decision:
    """An entry of the record book about a receipt."""
    head = {"event": event, "number": receipt.number, "tank": receipt.tank, "product": receipt.product}
    return Decision(KIND, head | {"time": iso_ms(time_ms), **more})


def flow_seen(receipt: Receipt, at: "Instant") -> Decision:
    assert receipt.begun_ms is not None
    return entry(FLOW, receipt, at.time_ms, begun=iso_ms(receipt.begun_ms))


def paper_json(paper: DeliveryPaper) -> Json:
    return {name: getattr(paper, name) for name in paper.__slots__}


def forecast_json(found: Forecast) -> Json:
    return found._asdict() | {
        "fits": found.fits.value,
        "passes": [one._asdict() for one in found.passes],
        "response": found.response._asdict(),
    }


def before_json(core: "Core", tank: str, paper: DeliveryPaper, rate_m3_per_s: float | None) -> Json:
    """What the check before a receipt shows. The tank is known."""
    found = work.forecast_of(core, tank, paper, rate_m3_per_s)
    reading = work.trusted(core, tank)
    product = work.product_of(core, tank)
    density = paper.density_15_kgpm3
    objection = None if density is None else density_objection(product.group, density, 15.0)
    model = core.site.tank(tank)
    return {
        "tank": tank,
        "paper": paper_json(paper),
        "rate_m3_per_h": None if rate_m3_per_s is None else 3600 * rate_m3_per_s,
        "now": None if reading is None else {
            "level_m": reading.level_m, "tov_m3": reading.tov_m3, "temperature_degC": reading.temperature_degC,
            "water_m": reading.water_m, "gsv_m3": reading.gsv_m3,
        },
        "water_source": "signal" if model.water is not None else "dips" if model.water_from_dips else "none",
        "density_objection": objection,
        "paper_error_percent": paper.own_error_percent(product),
        "forecast": forecast_json(found),
        "beside": beside_json(core, tank),
        "checks": [{"what": what, "done": False, "found": "not done"} for what in core.site.receipts.checks],
        "caution": CAUTION,
    }  # fmt: skip


def line_json(check: LineCheck) -> Json:
    return {"time": iso_ms(check.time_ms), **{k: v for k, v in check._asdict().items() if k != "time_ms"}}


def receipt_json(core: "Core", receipt: Receipt) -> Json:
    """A receipt that is open, as it is now."""
    now_ms = core.at.time_ms
    started = receipt.stage is Stage.STARTED
    phase = work.phase_of(core, receipt) if started else receipt.stage.value
    found, moved = None, None
    if started:
        moved = work.received(core, receipt)
        found = None if moved is None else _progress(core, receipt, moved)
    line = work.line_of(core, receipt)
    reconciled, why_not = _reconciliation(core, receipt, moved, phase)
    rules = core.site.receipts
    return {
        "number": receipt.number,
        "tank": receipt.tank,
        "tank_name": core.site.tank(receipt.tank).name,
        "product": receipt.product,
        "product_name": core.site.product(receipt.product).name,
        "stage": receipt.stage.value,
        "phase": phase,
        "by": receipt.by,
        "made": iso_ms(receipt.made_ms),
        "paper": paper_json(receipt.paper),
        "rate_m3_per_h": None if receipt.rate_m3_per_s is None else receipt.rate_m3_per_s * 3600,
        "sender": receipt.sender,
        "stops": receipt.stops,
        "checks": checks_json(core, receipt),
        "beside": beside_json(core, receipt.tank),
        "sample": _sample(receipt),
        "forecast": receipt.forecast,
        "started": None if receipt.started_ms is None else iso_ms(receipt.started_ms),
        "started_by": receipt.started_by,
        "start_note": receipt.start_note,
        "begun": None if receipt.begun_ms is None else iso_ms(receipt.begun_ms),
        "opening": _stand(receipt.opening),
        "closing": _stand(work.stand_of(core, receipt.tank)) if started else None,
        "progress": found,
        "prompt": _prompt(core, receipt, phase, now_ms),
        "meter": None if line is None else meter_json(line),
        "line": [line_json(check) for check in receipt.line],
        "reconciliation": reconciled,
        "why_not": why_not,
        "notes": notes_of(core, receipt),
        "limits": {
            "quantity_percent": 100 * rules.quantity_limit_frac, "paper_percent": 100 * rules.paper_u95_frac,
            "divergence_percent": 100 * rules.divergence_frac, "density_kgpm3": rules.density_limit_kgpm3,
            "temperature_degC": rules.temperature_limit_degC, "source": rules.source,
        },
        "reference_degC": core.site.reference_degC,
        "edition": core.site.volume_correction,
        "decision": None,
        "caution": CAUTION,
    }  # fmt: skip


def checks_json(core: "Core", receipt: Receipt) -> list[Json]:
    """Every check that the site asks for, and those that were done beside them; what was not done stands as such."""
    names = [*core.site.receipts.checks, *(what for what in receipt.done if what not in core.site.receipts.checks)]
    rows = []
    for what in names:
        done = receipt.done.get(what)
        rows.append({
            "what": what, "done": done is not None, "by": "" if done is None else done.by,
            "time": None if done is None else iso_ms(done.time_ms), "found": "not done" if done is None else done.found,
        })  # fmt: skip
    return rows


def beside_json(core: "Core", tank: str) -> list[Json]:
    """What the house itself knows of a tank before a receipt: by whom it was dipped, its water, its status."""

    def dipped(what: str, dip: Dip | None, value_m: float | None) -> Json:
        by, time = ("", None) if dip is None else (dip.by, iso_ms(dip.time_ms))
        return {"what": what, "value_m": value_m, "by": by, "time": time, "status": ""}

    dip, water, status = core.dips.latest(tank), core.dips.latest_water(tank), core.status.get(tank)
    rows = [
        dipped("last dip", dip, None if dip is None else dip.level_m),
        dipped("last water check", water, None if water is None else water.water_m),
    ]
    if status is not None:
        by, time = status.by, None if not status.since_ms else iso_ms(status.since_ms)
        rows.append({"what": "tank status", "value_m": None, "by": by, "time": time, "status": status.status.value})
    return rows


def notes_of(core: "Core", receipt: Receipt) -> list[str]:
    """What whoever reads the figures must know of how they came about."""
    notes = [receipt.start_note] if receipt.start_note else []
    if receipt.opening is None and receipt.stage is Stage.STARTED:
        notes.append("the level before it was not known: the tank cannot tell what it has gained")
    if receipt.started_ms is None:
        return notes
    if receipt.stage is Stage.STARTED and work.meters_of(core, receipt.tank):
        line = work.line_of(core, receipt)
        if line is None:
            notes.append("the line's meter was not read before the flow began: it does not stand beside the others")
        elif line.why_not:
            notes.append(f"the line's meter {NOT_READ[line.why_not]}: it does not stand beside the others now")
    for movement in core.movements.since(receipt.tank, receipt.started_ms):
        if movement.sign < 0:
            notes.append("fuel left the tank meanwhile: what it has gained is what came less what left")
        if movement.blind_s > 0 or movement.faults:
            named = f" ({', '.join(movement.faults)})" if movement.faults else ""
            notes.append(f"the level was not seen for {movement.blind_s:.0f} s of the receipt{named}")
        if movement.rough:
            notes.append("the surface did not become calm: the last figure is a rough one")
    return list(dict.fromkeys(notes))


def _sample(receipt: Receipt) -> Json | None:
    if receipt.sample is None:
        return None
    told = receipt.sample._asdict()
    return told | {"time": iso_ms(told.pop("time_ms"))}


def _stand(stand: Stand | None) -> Json | None:
    if stand is None:
        return None
    return {name: value for name, value in stand._asdict().items() if name != "volume_m3"}


def _progress(core: "Core", receipt: Receipt, moved: Moved) -> Json:
    reading = work.trusted(core, receipt.tank)
    rate = sd = None
    if reading is not None and reading.rate_m3_per_h is not None:
        rate, sd = reading.rate_m3_per_h / 3600, (reading.rate_sd_m3_per_h or 0.0) / 3600
    since = None if receipt.begun_ms is None else core.at.time_ms - receipt.begun_ms
    flows = core.keepers[receipt.tank].flow == FILLING
    temperature = None if reading is None else reading.temperature_degC
    found: Progress = progress(
        moved,
        receipt.paper,
        work.product_of(core, receipt.tank),
        temperature,
        rate if flows else None,
        sd or 0.0,
        receipt.rate_m3_per_s,
        since,
        core.site.receipts,
    )
    body = found._asdict()
    body["finish"] = _times(found.finish)
    body["rate_m3_per_h"] = None if rate is None else 3600 * rate if flows else 0.0
    return body


def _times(times: TimeTo | None) -> Json | None:
    return None if times is None else times._asdict()


def _prompt(core: "Core", receipt: Receipt, phase: str, now_ms: int) -> Json:
    flows = phase in (work.RECEIVING, work.UNSEEN)
    until_ms = now_ms
    if not flows and receipt.begun_ms is not None:
        ended = [m.end_ms for m in core.movements.since(receipt.tank, receipt.begun_ms) if m.sign > 0 and m.end_ms]
        until_ms = max(ended, default=now_ms)
    prompt = prompt_of(receipt.begun_ms, [one.time_ms for one in receipt.line], until_ms, flows, core.site.receipts)
    due = None if prompt.due_ms is None else iso_ms(prompt.due_ms)
    return {"state": prompt.state.value, "due": due, "done": prompt.done, "missed": prompt.missed}


def _reconciliation(core: "Core", receipt: Receipt, moved: Moved | None, phase: str) -> tuple[Json | None, str]:
    """Beside each other only when the surface is calm; else why not yet."""
    if receipt.stage is not Stage.STARTED:
        return None, "it has not been started"
    if phase == work.AWAITS:
        return None, "no flow has been seen yet"
    if phase == work.UNSEEN:
        return None, "the level cannot be trusted now"
    if phase != work.CALM:
        return None, "the surface is not calm yet: a figure taken now would not be the last one"
    return reconciliation_json(core, receipt, moved), ""


def reconciliation_json(core: "Core", receipt: Receipt, moved: Moved | None) -> Json | None:
    try:
        found = reconcile(receipt.paper, work.product_of(core, receipt.tank), moved, receipt.sample, core.site.receipts)
    except OutOfRange:
        return None
    line = work.line_of(core, receipt)
    beside = three(receipt.paper, work.product_of(core, receipt.tank), moved, line, core.site.receipts)
    return _matched(found, moved) | {"three": None if beside is None else _three(beside)}


def meter_json(line: Metered) -> Json:
    """What the line's own meters say: the registers, and the volumes with their uncertainties."""
    return line._asdict() | {"counts": [one._asdict() | {"counted_m3": one.counted_m3} for one in line.counts]}


def _three(beside: Three) -> Json:
    return {
        "basis": beside.basis,
        "figures": [one._asdict() for one in beside.figures],
        "pairs": [one._asdict() | {"verdict": one.verdict.value} for one in beside.pairs],
        "apart": beside.apart,
    }


def _matched(found: Reconciliation, moved: Moved | None) -> Json:
    def quantity(one: Any) -> Json | None:
        return None if one is None else one._asdict() | {"verdict": one.verdict.value, "said": one.said}

    return {
        "standard": quantity(found.quantity),
        "observed": quantity(found.observed),
        "density": found.density._asdict() | {"verdict": found.density.verdict.value},
        "temperature": found.temperature._asdict() | {"verdict": found.temperature.verdict.value},
        "paper_error_percent": found.paper_error_percent,
        "moved": None if moved is None else moved._asdict(),
    }
