"""What people do to plans: order a movement of a tank, and say that it is over.

A receipt that does not fit, or that is faster than the tank's limits were set for, is refused: the free volume is
checked before a transfer (40 CFR 280.30 (a)). Decides by the core's state alone: no clock, no I/O.
"""

from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING, Any, Final, NamedTuple

from gaugehouse.act import Act, Answer, Decision, Json, Outcome, Taken, no_tank, refused, text_of, unknown
from gaugehouse.actfields import is_number
from gaugehouse.days import iso_ms
from gaugehouse.errors import CallError
from gaugehouse.keeper import EMPTYING, FILLING
from gaugehouse.loopcover import uncovered
from gaugehouse.plans import BY_PERSON, KINDS, RECEIPT, Ended, Plan
from models.reading import BAD, Instant
from models.working import room_m3

if TYPE_CHECKING:
    from gaugehouse.core import Core

KIND: Final = "plan"
"""The kind of the record book's entries."""


class PlanMovement(NamedTuple):
    """A person orders a movement: so much into or out of a tank, at a rate where that is agreed."""

    tank: str
    kind: str
    quantity_m3: float
    rate_m3_per_s: float | None
    product: str
    by: str

    def apply(self, core: "Core", at: Instant) -> Outcome:
        if self.tank not in core.keepers:
            return no_tank(self.tank)
        standing = core.plans.get(self.tank)
        if standing is not None:
            text = f"tank {self.tank} has a plan by {standing.by} already; end it first"
            same = (standing.kind, standing.quantity_m3, standing.rate_m3_per_s) == (
                self.kind, self.quantity_m3, self.rate_m3_per_s,
            )  # fmt: skip
            return Outcome(Answer(Taken.ALREADY if same else Taken.REFUSED, text, plan_json(standing)))
        why = _objection(core, self)
        if why:
            return refused(f"tank {self.tank}: {why}")
        plan = Plan(
            self.tank, self.kind, self.quantity_m3, self.rate_m3_per_s,
            self.product or core.site.tank(self.tank).product, self.by, at.time_ms, at.elapsed_ms,
        )  # fmt: skip
        core.plans.make(plan)
        body = plan_json(plan)
        note = _unjudged(core, self)
        answer = Answer(Taken.DONE, note, {**body, "note": note} if note else body)
        return Outcome(answer, [Decision(KIND, {"event": "made", **body})])


class EndPlan(NamedTuple):
    """A person says that an ordered movement is over, or will not be."""

    tank: str
    by: str

    def apply(self, core: "Core", at: Instant) -> Outcome:
        if core.plans.get(self.tank) is None:
            return unknown(f"tank {self.tank!r} has no plan to end")
        decision = plan_over(core.plans.end(at, self.tank, BY_PERSON), at, self.by)
        return Outcome(Answer(Taken.DONE, "", decision.body), [decision])


def plan_over(ended: Ended, at: Instant, by: str = "") -> Decision:
    """The entry for a plan that is over."""
    return Decision(KIND, {"event": ended.why, **plan_json(ended.plan), "time": iso_ms(at.time_ms), "ended_by": by})


def plan_json(plan: Plan) -> Json:
    """A plan as the pages, the API and the record book have it."""
    return {
        "tank": plan.tank,
        "kind": plan.kind,
        "product": plan.product,
        "quantity_m3": plan.quantity_m3,
        "rate_m3_per_h": None if plan.rate_m3_per_s is None else plan.rate_m3_per_s * 3600,
        "by": plan.by,
        "made": iso_ms(plan.made_ms),
        "begun": plan.begun,
        "moved_m3": plan.moved_m3,
        "receipt": plan.receipt,
    }


def _objection(core: "Core", wanted: PlanMovement) -> str:
    """Why a movement must not be ordered so; empty where nothing speaks against it."""
    site, keeper = core.site, core.keepers[wanted.tank]
    product = site.tank(wanted.tank).product
    if wanted.product and wanted.product != product:
        return f"it holds {product}, not {wanted.product}; plan another tank"
    check = core.checks.get(site.tank(wanted.tank).instrument)
    movement = FILLING if wanted.kind == RECEIPT else EMPTYING
    if check is not None and (
        not check.covered_by or uncovered(core, check.instrument, wanted.tank, movement, check.covered_by)
    ):
        return (
            f"a loop check of {check.instrument} is under way by {check.by}, until {iso_ms(check.until_ms)}: its level "
            "cannot be seen; wait until the check is over"
        )
    response = site.extras[wanted.tank].response
    rate = wanted.rate_m3_per_s
    if wanted.kind != RECEIPT:
        level_m = _level_m(core, wanted.tank)
        content = None if level_m is None else keeper.tank.table.volume_m3(keeper.tank.table.nearest_m(level_m))
        if content is not None and wanted.quantity_m3 > content:
            return f"{wanted.quantity_m3:.3f} m3 are more than the {content:.3f} m3 that are in it; write what is meant"
        return ""
    if rate is not None and response is not None and rate > response.max_fill_m3_per_s * (1 + 1e-9):
        return (
            f"{60_000 * rate:.0f} L/min is more than the {60_000 * response.max_fill_m3_per_s:.0f} L/min that its "
            "limits were set for; agree a lower rate, or have the limits set anew"
        )
    level_m = _level_m(core, wanted.tank)
    if level_m is None:
        return ""
    table = keeper.tank.table
    room = room_m3(table, table.nearest_m(level_m), _top_m(core, wanted.tank))
    if wanted.quantity_m3 > room:
        return (
            f"{wanted.quantity_m3:.3f} m3 do not fit: {max(room, 0.0):.3f} m3 are left below the maximum working level"
        )
    return ""


def _unjudged(core: "Core", wanted: PlanMovement) -> str:
    """What the person who ordered must know: nobody could judge whether the tank can take or give it."""
    if _level_m(core, wanted.tank) is not None:
        return ""
    can = "whether it fits" if wanted.kind == RECEIPT else "whether so much is in the tank"
    return f"{can} was not judged: the level is not known now; gauge the tank by hand before anything moves"


def _level_m(core: "Core", tank: str) -> float | None:
    """The level that an order is held against; None where nobody knows it."""
    reading = core.keepers[tank].latest
    return None if reading is None or reading.quality is BAD else reading.level_m


def _top_m(core: "Core", tank: str) -> float:
    """Up to where a tank is filled: its maximum working level, else the next limit above it, else its table's end."""
    at = {limit.condition: limit.at for limit in core.site.alarms_of(tank).limits}
    return next((at[name] for name in ("high", "high_high", "critical_high") if name in at),
                core.keepers[tank].tank.table.top_m)  # fmt: skip


def plan_of(fields: Json) -> PlanMovement:
    kind = text_of(fields, "kind", RECEIPT)
    if kind not in KINDS:
        raise CallError(f"kind is {kind!r}; write {' or '.join(KINDS)}")
    return PlanMovement(
        text_of(fields, "tank"), kind, _number(fields, "quantity_m3"),
        _number(fields, "rate_m3_per_s") if fields.get("rate_m3_per_s") is not None else None,
        text_of(fields, "product", ""), text_of(fields, "by"),
    )  # fmt: skip


def end_of(fields: Json) -> EndPlan:
    return EndPlan(text_of(fields, "tank"), text_of(fields, "by"))


def _number(fields: Json, name: str) -> float:
    value: Any = fields.get(name)
    if not is_number(value) or not 0 < value < 1e6:
        raise CallError(f"{name} is {value!r}; write a number above 0")
    return float(value)


PLAN_ACTS: Final[Mapping[str, Callable[[Json], Act]]] = {"plan_movement": plan_of, "end_plan": end_of}
"""By their names; see `gaugehouse.acts.ACTS`."""
