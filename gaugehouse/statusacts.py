"""What people do to a tank's status: release it, quarantine it, take it out of service, and take either back.

Each is an act of a named person and an entry of the record book. Decides by the core's state alone: no clock, no I/O.
"""

from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING, Final, NamedTuple

from gaugehouse.act import Act, Answer, Json, Outcome, Taken, no_tank, refused, text_of
from gaugehouse.actfields import is_number
from gaugehouse.errors import CallError
from gaugehouse.statusroom import status_json
from inventory.status import Event, NoMove, S
from inventory.tankstate import APPEARANCES, WATER_TESTS, SampleResult
from models.reading import Instant

if TYPE_CHECKING:
    from gaugehouse.core import Core

NOT_KEPT: Final = "this site keeps no tank status; name its rule in the site file under [stock.settling]"

DENSITY_kgpm3: Final = (600.0, 1100.0)
CONDUCTIVITY_pS_m: Final = (0.0, 10_000.0)


class ReleaseTank(NamedTuple):
    """A named person releases what is in a tank, with what the sample showed."""

    tank: str
    by: str
    result: SampleResult
    comment: str = ""

    def apply(self, core: "Core", at: Instant) -> Outcome:
        refusal = _nothing_of(core, self.tank)
        if refusal is not None:
            return refusal
        state, settling = core.status.state(self.tank), core.site.settling
        assert settling is not None, "the tank's status is kept"
        early = self.by in settling.early_release_by
        why = state.why_not(self.result, settling.needed, self.comment, early=early)
        why = why or _density_objection(core, self.tank, self.result)
        if why:
            return refused(f"tank {self.tank}: {why}{_left(core, self.tank)}")
        change = state.let_go(self.result, self.by, at.time_ms, self.comment, early=early)
        core.status.changed(self.tank)
        body = {"tank": self.tank, "now": status_json(self.tank, state, at.time_ms)}
        return Outcome(Answer(Taken.DONE, "", body), [core.status.entry(self.tank, change, at)])


class SayStatus(NamedTuple):
    """A named person quarantines a tank or takes it out of service, or takes either back, with the reason."""

    event: Event
    tank: str
    by: str
    reason: str

    def apply(self, core: "Core", at: Instant) -> Outcome:
        refusal = _nothing_of(core, self.tank)
        if refusal is not None:
            return refusal
        state = core.status.state(self.tank)
        change = state.say(self.event, self.by, self.reason, at.time_ms)
        body = {"tank": self.tank, "now": status_json(self.tank, state, at.time_ms)}
        if isinstance(change, NoMove):
            already = _LEADS.get(self.event) is state.status
            text = f"tank {self.tank}: {change.why}"
            return Outcome(Answer(Taken.ALREADY if already else Taken.REFUSED, text, body))
        core.status.changed(self.tank)
        return Outcome(Answer(Taken.DONE, "", body), [core.status.entry(self.tank, change, at)])


_LEADS: Final = {Event.QUARANTINE: S.QUARANTINED, Event.REMOVE: S.OUT_OF_SERVICE}


def _nothing_of(core: "Core", tank: str) -> Outcome | None:
    """The refusal where there is nothing to act on."""
    if tank not in core.keepers:
        return no_tank(tank)
    if core.status.get(tank) is None:
        return refused(NOT_KEPT)
    return None


def _left(core: "Core", tank: str) -> str:
    """What of the settling time is left, with the rule and whom the site allows to release early."""
    state, settling = core.status.state(tank), core.site.settling
    counting = state.countdown
    if state.status is not S.SETTLING or counting is None or settling is None:
        return ""
    rule = state.rules.rule
    names = ", ".join(settling.early_release_by) or "nobody"
    left = f"{counting.left_ms / 3_600_000:.1f} h are left by {rule.words} ({rule.source})"
    return f"; {left}; early release is allowed to: {names}"


def _density_objection(core: "Core", tank: str, result: SampleResult) -> str:
    """A density that the site's own range of the product does not have: a typing error, or another product."""
    given, product = result.density_kg_m3, core.site.product_of(tank)
    allowed = product.density_range
    if given is None or allowed is None or allowed[0] <= given <= allowed[1]:
        return ""
    return (
        f"{given:g} kg/m3 lies outside the {allowed[0]:g} to {allowed[1]:g} kg/m3 that the site file "
        f"gives for {product.id}; look at the sample again, or quarantine the tank"
    )


def release_of(fields: Json) -> ReleaseTank:
    result = SampleResult(
        _word(fields, "appearance", APPEARANCES),
        _word(fields, "water_test", WATER_TESTS),
        _number(fields, "density_kg_m3", *DENSITY_kgpm3),
        _number(fields, "conductivity_pS_m", *CONDUCTIVITY_pS_m),
        text_of(fields, "certificate", ""),
    )
    return ReleaseTank(text_of(fields, "tank"), text_of(fields, "by"), result, text_of(fields, "comment", ""))


def _say(event: Event) -> Callable[[Json], Act]:
    def make(fields: Json) -> SayStatus:
        return SayStatus(event, text_of(fields, "tank"), text_of(fields, "by"), text_of(fields, "reason"))

    return make


def _word(fields: Json, name: str, words: tuple[str, ...]) -> str:
    given = text_of(fields, name, "")
    if given and given not in words:
        raise CallError(f"{name} is {given!r}; write {' or '.join(words)}, or leave it out where it was not done")
    return given


def _number(fields: Json, name: str, low: float, high: float) -> float | None:
    value = fields.get(name)
    if value is None:
        return None
    if not is_number(value) or not low <= value <= high:
        raise CallError(f"{name} is {value!r}; write a number from {low:g} to {high:g}, or leave it out")
    return float(value)


STATUS_ACTS: Final[Mapping[str, Callable[[Json], Act]]] = {
    "release_tank": release_of,
    "quarantine_tank": _say(Event.QUARANTINE),
    "lift_quarantine": _say(Event.LIFT),
    "remove_tank": _say(Event.REMOVE),
    "return_tank": _say(Event.RETURN),
}
"""By their names; see `gaugehouse.acts.ACTS`."""
