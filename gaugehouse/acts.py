"""What people do to a running site: each act is a value that knows how to apply itself to the core, and nothing else.

An act comes from a page, from a command through the daemon's door, or from a command alone with the record book; all
three make it with `act_of` from its name and its fields, so a new act is one class here (or in a file of its own, with
the common parts from `gaugehouse.act`) and one line in `ACTS`.
"""

from collections.abc import Callable, Mapping
from types import MappingProxyType
from typing import TYPE_CHECKING, Final, NamedTuple

from gaugehouse.act import Act, Answer, Decision, Json, Outcome, Taken, no_tank, text_of, unknown
from gaugehouse.alarmacts import ALARM_ACTS, ignored
from gaugehouse.alarmtestacts import TEST_ACTS
from gaugehouse.closeacts import CLOSE_ACTS
from gaugehouse.corrections import CORRECTION_ACTS
from gaugehouse.days import iso_ms
from gaugehouse.dipacts import DIP_ACTS
from gaugehouse.documentacts import DOCUMENT_ACTS
from gaugehouse.drainacts import DRAIN_ACTS
from gaugehouse.errors import CallError
from gaugehouse.faultacts import FAULT_ACTS
from gaugehouse.handoveracts import HANDOVER_ACTS
from gaugehouse.leakacts import LEAK_ACTS
from gaugehouse.loopacts import LOOP_ACTS
from gaugehouse.peopleacts import PEOPLE_ACTS
from gaugehouse.planacts import PLAN_ACTS
from gaugehouse.receiptfields import RECEIPT_ACTS
from gaugehouse.records import ALARM, alarm_body
from gaugehouse.requalifying import REQUALIFY_ACTS
from gaugehouse.statusacts import STATUS_ACTS
from models.reading import Instant

if TYPE_CHECKING:
    from gaugehouse.core import Core

__all__ = [
    "ACTS",
    "Acknowledge",
    "Act",
    "Answer",
    "Decision",
    "Json",
    "Look",
    "Outcome",
    "ResetExtremes",
    "Taken",
    "act_of",
    "text_of",
]


class Acknowledge(NamedTuple):
    """A person says: I have seen this alarm. Without an occurrence: whatever is the newest one."""

    alarm: str
    occurrence: int | None
    by: str
    comment: str = ""

    def apply(self, core: "Core", at: Instant) -> Outcome:
        view = core.alarms.view(self.alarm)
        if view is None:
            text = f"there is no alarm {self.alarm!r}; `gaugehouse alarms` lists them as source and condition"
            return unknown(text)
        occurrence = view.occurrence if self.occurrence is None else self.occurrence
        said = core.alarms.acknowledge(at, self.alarm, occurrence, self.by, self.comment)
        body: Json = {"alarm": self.alarm, "occurrence": occurrence}
        if said.status in ("done", "already") and said.time_ms is not None:
            body |= {"by": said.by, "time": iso_ms(said.time_ms)}
            answer = Answer(Taken.DONE if said.status == "done" else Taken.ALREADY, "", body)
        elif said.status == "older":
            text = f"alarm {self.alarm}: occurrence {occurrence} is not the newest one, {view.occurrence} is"
            answer = Answer(Taken.OLDER, text, body | {"newest": view.occurrence})
        elif said.status == "unknown":
            text = f"alarm {self.alarm} has no occurrence {occurrence}, the newest one is {view.occurrence}"
            answer = Answer(Taken.UNKNOWN, text, body)
        else:
            return ignored("acknowledge", [self.alarm], self.by, said.why, body)
        if said.transition is None:
            return Outcome(answer)
        return Outcome(answer, [Decision(ALARM, alarm_body(said.transition))], [said.transition])


class ResetExtremes(NamedTuple):
    """A person starts the highest and lowest level of a tank anew."""

    tank: str
    by: str

    def apply(self, core: "Core", at: Instant) -> Outcome:
        keeper = core.keepers.get(self.tank)
        if keeper is None:
            return no_tank(self.tank)
        keeper.extremes.reset(at.time_ms, self.by)
        body = {"tank": self.tank, "by": self.by}
        answer = Answer(Taken.DONE, "", body | {"time": iso_ms(at.time_ms)})
        return Outcome(answer, [Decision("extremes_reset", body)])


class Look(NamedTuple):
    """A person wants to see what is there now. Decides nothing; answered when all that came before it is decided."""

    def apply(self, core: "Core", at: Instant) -> Outcome:
        return Outcome(Answer(Taken.DONE))


def acknowledge_of(fields: Json) -> Acknowledge:
    occurrence = fields.get("occurrence")
    return Acknowledge(
        text_of(fields, "alarm"),
        None if occurrence is None else int(occurrence),
        text_of(fields, "by"),
        text_of(fields, "comment", ""),
    )


def reset_of(fields: Json) -> ResetExtremes:
    return ResetExtremes(text_of(fields, "tank"), text_of(fields, "by"))


ACTS: Final[Mapping[str, Callable[[Json], Act]]] = MappingProxyType(
    {
        "acknowledge": acknowledge_of,
        "reset_extremes": reset_of,
        **ALARM_ACTS,
        **TEST_ACTS,
        **CORRECTION_ACTS,
        **LOOP_ACTS,
        **FAULT_ACTS,
        **PEOPLE_ACTS,
        **PLAN_ACTS,
        **LEAK_ACTS,
        **RECEIPT_ACTS,
        **DRAIN_ACTS,
        **DOCUMENT_ACTS,
        **CLOSE_ACTS,
        **HANDOVER_ACTS,
        **REQUALIFY_ACTS,
        **DIP_ACTS,
        **STATUS_ACTS,
    }
)
"""Every act by its name, made of the fields that a page or a command sends; `CallError` for fields that are wrong."""


def act_of(name: str, fields: Json) -> Act:
    """The act of that name. Raises `CallError` for a name or a field that is not understood."""
    try:
        make = ACTS[name]
    except KeyError:
        raise CallError(f"there is no act {name!r}; there are {', '.join(ACTS)}") from None
    return make(fields)
