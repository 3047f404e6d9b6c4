"""What people may do to alarms beside acknowledging them: shelve, reset a latch, take out of service and bring back.

Knows who may do what for how long and says in words why not; the moves themselves are the table's. Whoever takes an
act in has checked that the person may do it. Source: ISA-18.2 (from memory): shelving by an operator, for a time not
above the site's longest and with a reason; out of service with the authority of maintenance, recorded; OPC UA Part 9,
4.8: a latch goes by an explicit reset only.
"""

from collections.abc import Iterable
from typing import Final, NamedTuple

from alerts.alarm import Alarm, Transition, due_in
from alerts.engine import AlarmEngine
from alerts.errors import UnnamedPerson
from alerts.lifecycle import Event, State
from models.reading import Instant

DONE: Final = "done"
ALREADY: Final = "already"
OLDER: Final = "older"
UNKNOWN: Final = "unknown"
REFUSED: Final = "refused"

SHORTEST_SHELF_MS: Final = 1_000


class Done(NamedTuple):
    """The answer to a person's act. status: done, already (it is as asked, done before), older, unknown or refused.

    why: in words, where it is not done. alarms: by id, what was changed.
    """

    status: str
    why: str = ""
    transitions: tuple[Transition, ...] = ()


class Desk:
    """Acts of people on the alarms of an engine. Each raises `UnnamedPerson` without a name, nothing else."""

    def __init__(self, engine: AlarmEngine, longest_shelf_ms: int) -> None:
        self._engine = engine
        self.longest_shelf_ms = longest_shelf_ms

    def shelve(
        self, now: Instant, alarm_id: str, by: str, reason: str, span_ms: int, *, one_shot: bool = False
    ) -> Done:
        """Hide an alarm for a while. one_shot: the shelf ends with its condition as well, if that comes first."""
        alarm = self._named(alarm_id, by, "shelving")
        if alarm is None:
            return _unknown(alarm_id)
        if not reason.strip():
            return Done(REFUSED, "say why it is shelved")
        if span_ms < SHORTEST_SHELF_MS:
            return Done(REFUSED, "an alarm is shelved for 1 s at least")
        if span_ms > self.longest_shelf_ms:
            return Done(REFUSED, f"an alarm may be shelved for {_span(self.longest_shelf_ms)} at most on this site")
        return self._send(now, alarm, Event.SHELVED, by, reason, span_ms=span_ms, one_shot=one_shot)

    def unshelve(self, now: Instant, alarm_id: str, by: str, comment: str = "") -> Done:
        alarm = self._named(alarm_id, by, "unshelving")
        return _unknown(alarm_id) if alarm is None else self._send(now, alarm, Event.UNSHELVED, by, comment)

    def reset(self, now: Instant, alarm_id: str, by: str, occurrence: int | None = None, comment: str = "") -> Done:
        """Reset a latched alarm that has been acknowledged. occurrence: only that one (None: the newest)."""
        alarm = self._named(alarm_id, by, "resetting")
        if alarm is None or (occurrence is not None and not 0 <= occurrence <= alarm.occurrence):
            return _unknown(alarm_id)
        if occurrence is not None and occurrence < alarm.occurrence:
            return Done(OLDER, f"occurrence {occurrence} is not the newest one, {alarm.occurrence} is")
        return self._send(now, alarm, Event.LATCHED_RESET, by, comment)

    def remove_from_service(self, now: Instant, alarm_ids: Iterable[str], by: str, reason: str) -> Done:
        """Take alarms out of service until somebody brings them back. All of them or, with an unknown id, none.

        `transitions` tells those that were in service; whoever ends the work brings back these and no others.
        """
        return self._service(now, alarm_ids, Event.REMOVED_FROM_SERVICE, by, reason)

    def return_to_service(self, now: Instant, alarm_ids: Iterable[str], by: str, comment: str = "") -> Done:
        return self._service(now, alarm_ids, Event.RETURNED_TO_SERVICE, by, comment)

    def _service(self, now: Instant, alarm_ids: Iterable[str], event: Event, by: str, comment: str) -> Done:
        removes = event is Event.REMOVED_FROM_SERVICE
        alarms: list[Alarm] = []
        for alarm_id in dict.fromkeys(alarm_ids):
            alarm = self._named(alarm_id, by, "removing from service" if removes else "returning to service")
            if alarm is None:
                return _unknown(alarm_id)
            alarms.append(alarm)
        if removes and not comment.strip():
            return Done(REFUSED, "say why it is taken out of service")
        transitions = tuple(t for a in alarms for t in self._engine.send(now, a, event, by=by, comment=comment))
        if transitions:
            return Done(DONE, "", transitions)
        return Done(ALREADY, alarms[0].why_not(event)) if alarms else Done(REFUSED, "name at least one alarm")

    def _named(self, alarm_id: str, by: str, act: str) -> Alarm | None:
        if not by.strip():
            raise UnnamedPerson(f"{act} {alarm_id}: say who does it")
        return self._engine.find(alarm_id)

    def _send(
        self,
        now: Instant,
        alarm: Alarm,
        event: Event,
        by: str,
        comment: str,
        *,
        span_ms: int | None = None,
        one_shot: bool = False,
    ) -> Done:
        why_not = alarm.why_not(event)
        shelf = None if span_ms is None else due_in(now, span_ms)
        transitions = self._engine.send(now, alarm, event, by=by, comment=comment, shelf=shelf, one_shot=one_shot)
        if transitions:
            return Done(DONE, "", transitions)
        return Done(ALREADY if _is_so(alarm, event) else REFUSED, why_not)


def _is_so(alarm: Alarm, event: Event) -> bool:
    """True where the alarm is as the act would leave it: a second click is no mistake."""
    if event is Event.SHELVED:
        return alarm.memory.shelved
    if event is Event.UNSHELVED:
        return not alarm.memory.shelved
    return event is Event.LATCHED_RESET and alarm.memory.core is State.NORMAL and alarm.occurrence > 0


def _unknown(alarm_id: str) -> Done:
    return Done(UNKNOWN, f"there is no alarm {alarm_id}")


def _span(ms: int) -> str:
    hours, minutes = divmod(round(ms / 60_000), 60)
    return f"{hours} h {minutes} min" if hours and minutes else f"{hours} h" if hours else f"{minutes} min"
