"""One alarm: its lifecycle's memory, its occurrence, and who has seen it. Also how alarms look from outside.

Knows nothing of limits and faults; `alerts.engine` sends it events.
"""

from collections.abc import Mapping
from types import MappingProxyType
from typing import Any, Final, NamedTuple

from alerts import lifecycle
from alerts.errors import BadSavedState
from alerts.lifecycle import Event, Memory, State
from alerts.sheet import SheetEntry, mark_of
from alerts.spec import SIGNAL_CONDITIONS
from models.reading import Instant


class Transition(NamedTuple):
    """One row for the record: what happened to an alarm, and the state that it left it in.

    occurrence: rises by one each time the alarm asks people to look; an acknowledgement is for one occurrence.
    value: what the condition was judged by, in m or in the limit's rate unit; None for a signal fault. by, comment: of
    a person's act. until_ms, one_shot: of a shelf that begins.
    """

    time_ms: int
    seq: int
    source: str
    condition: str
    priority: int
    event: Event
    state: State
    occurrence: int
    by: str = ""
    comment: str = ""
    value: float | None = None
    until_ms: int | None = None
    one_shot: bool = False

    @property
    def id(self) -> str:
        return f"{self.source}.{self.condition}"


class Due(NamedTuple):
    """When something is over: at this time on the site's clock, or on the core's own, whichever comes first.

    The site's clock goes on while the daemon is down; the core's own cannot be set back.
    """

    time_ms: int
    elapsed_ms: int

    def over(self, now: Instant) -> bool:
        return now.time_ms >= self.time_ms or now.elapsed_ms >= self.elapsed_ms


def due_in(now: Instant, span_ms: int) -> Due:
    return Due(now.time_ms + span_ms, now.elapsed_ms + span_ms)


class Hide(NamedTuple):
    """One reason why an alarm is hidden. state: shelved, suppressed_by_design or out_of_service.

    by: the person, or the rule of the design. due: of a shelf only.
    """

    state: State
    by: str
    reason: str
    since_ms: int
    due: Due | None = None

    def saved(self) -> list[Any]:
        return [self.by, self.reason, self.since_ms, None if self.due is None else list(self.due)]


class AlarmView(NamedTuple):
    """An alarm as people see it. Times are those of the present occurrence; the texts are the alarm sheet's.

    hides: every suppression that holds now, the one that is shown first. active: its condition is on now. beneath: the
    state that it has, or would come back with. one_shot: its shelf ends when its condition does.
    """

    id: str
    source: str
    condition: str
    priority: int
    state: State
    occurrence: int
    raised_ms: int | None
    returned_ms: int | None
    acknowledged_by: str
    acknowledged_ms: int | None
    comment: str
    value: float | None
    name: str
    cause: str
    consequence: str
    action: str
    respond: str
    mark: str
    hides: tuple[Hide, ...]
    active: bool
    beneath: State
    one_shot: bool


class Alarm:
    """One alarm's memory."""

    __slots__ = (
        "acknowledged_by", "acknowledged_ms", "ask_again", "comment", "condition", "entry", "hides", "id", "memory",
        "occurrence", "order", "priority", "raised_ms", "returned_ms", "source", "value",
    )  # fmt: skip

    def __init__(self, order: int, source: str, condition: str, priority: int, entry: SheetEntry) -> None:
        self.order = order
        self.id = f"{source}.{condition}"
        self.source = source
        self.condition = condition
        self.priority = priority
        self.entry = entry
        self.memory = Memory()
        self.occurrence = 0
        self.raised_ms: int | None = None
        self.returned_ms: int | None = None
        self.acknowledged_by = ""
        self.acknowledged_ms: int | None = None
        self.comment = ""
        self.value: float | None = None
        self.hides: dict[State, Hide] = {}
        self.ask_again: Due | None = None  # when it is raised again, while it stands and is acknowledged

    @property
    def timed(self) -> bool:
        """True while a time runs at whose end the alarm changes by itself."""
        return self.ask_again is not None or State.SHELVED in self.hides

    @property
    def told(self) -> bool:
        """True when anything has ever happened to it."""
        return bool(self.occurrence) or self.raised_ms is not None or self.memory.hidden

    def over(self, now: Instant) -> Event | None:
        """What the end of a time does to it at this tick."""
        shelf = self.hides.get(State.SHELVED)
        if shelf is not None and shelf.due is not None and shelf.due.over(now):
            return Event.SHELF_EXPIRED
        return Event.RAISED_AGAIN if self.ask_again is not None and self.ask_again.over(now) else None

    def why_not(self, event: Event) -> str:
        """Why the table would ignore an event now, in words for whoever asks; empty where it would not."""
        return lifecycle.step(self.memory, event, self.entry.kind).ignored

    def send(
        self,
        now: Instant,
        event: Event,
        value: float | None = None,
        by: str = "",
        comment: str = "",
        *,
        shelf: Due | None = None,
        one_shot: bool = False,
    ) -> Transition | None:
        """Send one event; None when the table ignores it. shelf, one_shot: for SHELVED only."""
        before = self.memory
        outcome = lifecycle.step(before, event, self.entry.kind, one_shot=one_shot)
        if outcome.ignored:
            return None
        self.memory = outcome.memory
        if event in _HIDES:
            self.hides[_HIDES[event]] = Hide(_HIDES[event], by, comment, now.time_ms, shelf)
        elif before.hidden:
            self.hides = {state: hide for state, hide in self.hides.items() if getattr(self.memory, _FLAG[state])}
        if outcome.asks_anew:
            self.occurrence += 1
            self.acknowledged_by, self.acknowledged_ms, self.comment = "", None, ""
        if event is Event.RAISED:
            self.raised_ms, self.returned_ms, self.value = now.time_ms, None, value
        elif event is Event.RETURNED:
            self.returned_ms = now.time_ms
            comment = BY_RETURN if outcome.by_rule else comment
        elif event is Event.ACKNOWLEDGED:
            self.acknowledged_by, self.acknowledged_ms, self.comment = by, now.time_ms, comment
        self._time_the_next_call(now, event)
        return Transition(
            now.time_ms, now.seq, self.source, self.condition, self.priority, event, outcome.state, self.occurrence,
            by, comment, value, None if shelf is None else shelf.time_ms, one_shot,
        )  # fmt: skip

    def _time_the_next_call(self, now: Instant, event: Event) -> None:
        if self.memory.hidden or self.memory.core is not State.ACKNOWLEDGED:
            self.ask_again = None
        elif event is Event.ACKNOWLEDGED and self.entry.ask_again_ms is not None:
            self.ask_again = due_in(now, self.entry.ask_again_ms)

    def view(self) -> AlarmView:
        entry, memory = self.entry, self.memory
        hides = tuple(self.hides[state] for state in _STRONGEST_FIRST if state in self.hides)
        return AlarmView(
            self.id, self.source, self.condition, self.priority, memory.shown, self.occurrence, self.raised_ms,
            self.returned_ms, self.acknowledged_by, self.acknowledged_ms, self.comment, self.value, entry.name,
            entry.cause, entry.consequence, entry.action, entry.respond, mark_of(self.condition),
            hides, memory.active, memory.core, memory.one_shot,
        )  # fmt: skip

    def saved(self) -> dict[str, Any]:
        memory = self.memory
        hidden = [name for name in _FLAGS if getattr(memory, name)]
        saved: dict[str, Any] = {"core": memory.core.value, "hidden": hidden, "priority": self.priority}
        saved |= {name: getattr(self, name) for name in _SAVED}
        if self.hides:
            saved["hides"] = {state.value: hide.saved() for state, hide in self.hides.items()}
        if self.ask_again is not None:
            saved["ask_again"] = list(self.ask_again)
        return saved

    def restore(self, saved: Mapping[str, Any]) -> None:
        try:
            flags = dict.fromkeys(saved["hidden"], True)
            self.memory = Memory(core=State(saved["core"]), **flags)
            for name in _SAVED:
                setattr(self, name, saved[name])
            self.hides = {}
            for word, (by, reason, since_ms, due) in saved.get("hides", {}).items():
                state = State(word)
                self.hides[state] = Hide(state, by, reason, since_ms, None if due is None else Due(*due))
            if {_FLAG[state] for state in self.hides} != set(flags) - {"one_shot"}:
                raise ValueError(f"hidden by {sorted(flags)}, but {sorted(self.hides)} tell by whom and until when")
            ask_again = saved.get("ask_again")
            self.ask_again = None if ask_again is None else Due(*ask_again)
            if self.condition in SIGNAL_CONDITIONS:  # a limit's priority is the site's; a fault's is of its moment
                self.priority = saved["priority"]
        except (KeyError, TypeError, ValueError) as exc:
            raise BadSavedState(f"saved state of alarm {self.id} cannot be read: {exc!r}; restore a backup") from exc


BY_RETURN: Final = "acknowledged by its return, as its class says"
"""The record's word for the one way in which no person acknowledges."""

_FLAGS: Final = ("shelved", "one_shot", "suppressed", "out_of_service")
_FLAG: Final[Mapping[State, str]] = MappingProxyType(
    {State.SHELVED: "shelved", State.SUPPRESSED_BY_DESIGN: "suppressed", State.OUT_OF_SERVICE: "out_of_service"}
)
_STRONGEST_FIRST: Final = (State.OUT_OF_SERVICE, State.SUPPRESSED_BY_DESIGN, State.SHELVED)
_HIDES: Final[Mapping[Event, State]] = MappingProxyType(
    {
        Event.SHELVED: State.SHELVED,
        Event.SUPPRESSED: State.SUPPRESSED_BY_DESIGN,
        Event.REMOVED_FROM_SERVICE: State.OUT_OF_SERVICE,
    }
)
_SAVED: Final = (
    "occurrence", "raised_ms", "returned_ms", "acknowledged_by", "acknowledged_ms", "comment", "value",
)  # fmt: skip
