"""What people do to alarms beside acknowledging them: shelve, unshelve, reset a latch, out of service and back.

Each is decided by `alerts.desk`; here it gets its fields, its entries in the record book and its answer. What the
lifecycle ignores is answered in words and kept as an entry of its own, so that the record tells who tried what.
"""

from collections.abc import Callable, Mapping, Sequence
from types import MappingProxyType
from typing import TYPE_CHECKING, Final, NamedTuple

from alerts import desk
from alerts.desk import Done
from gaugehouse.act import Act, Answer, Decision, Json, Outcome, Taken, text_of
from gaugehouse.actfields import is_number
from gaugehouse.days import iso_ms
from gaugehouse.errors import CallError
from gaugehouse.records import ALARM, alarm_body
from models.reading import Instant

if TYPE_CHECKING:
    from gaugehouse.core import Core

IGNORED: Final = "alarm_act_ignored"
"""The kind of the entry that tells of an act which the lifecycle did not take."""

MOST_ALARMS: Final = 200


class Shelve(NamedTuple):
    """Hide an alarm for a while. one_shot: until its condition returns, if that comes first."""

    alarm: str
    by: str
    reason: str
    span_ms: int
    one_shot: bool = False

    def apply(self, core: "Core", at: Instant) -> Outcome:
        done = core.desk.shelve(at, self.alarm, self.by, self.reason, self.span_ms, one_shot=self.one_shot)
        until = {"until": iso_ms(at.time_ms + self.span_ms)} if done.status == desk.DONE else {}
        return _outcome("shelve", [self.alarm], self.by, at, done, until)


class Unshelve(NamedTuple):
    """Let a shelved alarm speak again before its time."""

    alarm: str
    by: str
    comment: str = ""

    def apply(self, core: "Core", at: Instant) -> Outcome:
        done = core.desk.unshelve(at, self.alarm, self.by, self.comment)
        return _outcome("unshelve", [self.alarm], self.by, at, done)


class ResetLatch(NamedTuple):
    """Let a latched alarm go that has been acknowledged and whose condition has returned."""

    alarm: str
    by: str
    occurrence: int | None = None
    comment: str = ""

    def apply(self, core: "Core", at: Instant) -> Outcome:
        done = core.desk.reset(at, self.alarm, self.by, self.occurrence, self.comment)
        return _outcome("reset_latch", [self.alarm], self.by, at, done)


class RemoveFromService(NamedTuple):
    """Take alarms out of service, with the authority of whoever maintains them."""

    alarms: Sequence[str]
    by: str
    reason: str

    def apply(self, core: "Core", at: Instant) -> Outcome:
        done = core.desk.remove_from_service(at, self.alarms, self.by, self.reason)
        return _outcome("remove_from_service", self.alarms, self.by, at, done)


class ReturnToService(NamedTuple):
    """Bring alarms back into service; those whose condition is on come back as new."""

    alarms: Sequence[str]
    by: str
    comment: str = ""

    def apply(self, core: "Core", at: Instant) -> Outcome:
        done = core.desk.return_to_service(at, self.alarms, self.by, self.comment)
        return _outcome("return_to_service", self.alarms, self.by, at, done)


def _outcome(
    act: str, alarms: Sequence[str], by: str, at: Instant, done: Done, more: Mapping[str, str] = MappingProxyType({})
) -> Outcome:
    status = Taken(done.status)
    body: Json = {"alarms": list(alarms), "by": by, "time": iso_ms(at.time_ms), **more}
    if status is Taken.DONE:
        body["changed"] = [{"id": t.id, "state": t.state.value, "occurrence": t.occurrence} for t in done.transitions]
        return Outcome(Answer(status, "", body), alarm_decisions(done), done.transitions)
    if status is Taken.UNKNOWN:
        return Outcome(Answer(status, f"{done.why}; `gaugehouse alarms` lists them as source and condition", body))
    return ignored(act, alarms, by, done.why, body, status)


def ignored(act: str, alarms: Sequence[str], by: str, why: str, body: Json, status: Taken = Taken.REFUSED) -> Outcome:
    """What moved nothing: the person is told why, and the record who tried it."""
    entry = Decision(IGNORED, {"act": act, "alarms": list(alarms), "by": by, "why": why})
    return Outcome(Answer(status, f"{', '.join(alarms)}: {why}", body), [entry])


def alarm_decisions(done: Done) -> list[Decision]:
    """The entries of what an act did to alarms."""
    return [Decision(ALARM, alarm_body(transition)) for transition in done.transitions]


def shelve_of(fields: Json) -> Shelve:
    span_s = fields.get("span_s")
    if not is_number(span_s) or not 0 < span_s <= 1e9:
        raise CallError(f"an alarm is shelved for a time above 0 s; asked was span_s = {span_s!r}")
    return Shelve(
        text_of(fields, "alarm"),
        text_of(fields, "by"),
        text_of(fields, "reason"),
        round(span_s * 1000),
        bool(fields.get("one_shot", False)),
    )


def unshelve_of(fields: Json) -> Unshelve:
    return Unshelve(text_of(fields, "alarm"), text_of(fields, "by"), text_of(fields, "comment", ""))


def reset_latch_of(fields: Json) -> ResetLatch:
    occurrence = fields.get("occurrence")
    return ResetLatch(
        text_of(fields, "alarm"),
        text_of(fields, "by"),
        None if occurrence is None else int(occurrence),
        text_of(fields, "comment", ""),
    )


def remove_of(fields: Json) -> RemoveFromService:
    return RemoveFromService(_alarms(fields), text_of(fields, "by"), text_of(fields, "reason"))


def return_of(fields: Json) -> ReturnToService:
    return ReturnToService(_alarms(fields), text_of(fields, "by"), text_of(fields, "comment", ""))


def _alarms(fields: Json) -> tuple[str, ...]:
    """One alarm under `alarm`, or a chosen few under `alarms`."""
    if "alarm" in fields:
        return (text_of(fields, "alarm"),)
    alarms = fields.get("alarms")
    if not isinstance(alarms, (list, tuple)) or not alarms or not all(isinstance(a, str) and a for a in alarms):
        raise CallError("alarms is missing: name at least one alarm")
    if len(alarms) > MOST_ALARMS:
        raise CallError(f"alarms names {len(alarms)} alarms; {MOST_ALARMS} at most in one act")
    return tuple(alarms)


ALARM_ACTS: Final[Mapping[str, Callable[[Json], Act]]] = MappingProxyType(
    {
        "shelve": shelve_of,
        "unshelve": unshelve_of,
        "reset_latch": reset_latch_of,
        "remove_from_service": remove_of,
        "return_to_service": return_of,
    }
)
