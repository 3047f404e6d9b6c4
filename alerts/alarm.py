"""One alarm: its lifecycle's memory, its occurrence, and who has seen it. Also how alarms look from outside.

Knows nothing of limits and faults; `alerts.engine` sends it events.
"""

from collections.abc import Mapping
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
    a person's act.
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

    @property
    def id(self) -> str:
        return f"{self.source}.{self.condition}"


class AlarmView(NamedTuple):
    """An alarm as people see it. Times are those of the present occurrence; the texts are the alarm sheet's."""

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


class Alarm:
    """One alarm's memory."""

    __slots__ = (
        "acknowledged_by", "acknowledged_ms", "comment", "condition", "entry", "id", "memory", "occurrence", "order",
        "priority", "raised_ms", "returned_ms", "source", "value",
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

    def send(
        self, now: Instant, event: Event, value: float | None = None, by: str = "", comment: str = ""
    ) -> Transition | None:
        """Send one event; None when the table ignores it."""
        outcome = lifecycle.step(self.memory, event, self.entry.kind)
        if outcome.ignored:
            return None
        self.memory = outcome.memory
        if outcome.asks_anew:
            self.occurrence += 1
            self.acknowledged_by, self.acknowledged_ms, self.comment = "", None, ""
        if event is Event.RAISED:
            self.raised_ms, self.returned_ms, self.value = now.time_ms, None, value
        elif event is Event.RETURNED:
            self.returned_ms = now.time_ms
        elif event is Event.ACKNOWLEDGED:
            self.acknowledged_by, self.acknowledged_ms, self.comment = by, now.time_ms, comment
        return Transition(
            now.time_ms, now.seq, self.source, self.condition, self.priority, event, outcome.state, self.occurrence,
            by, comment, value,
        )  # fmt: skip

    def view(self) -> AlarmView:
        entry = self.entry
        return AlarmView(
            self.id, self.source, self.condition, self.priority, self.memory.shown, self.occurrence, self.raised_ms,
            self.returned_ms, self.acknowledged_by, self.acknowledged_ms, self.comment, self.value, entry.name,
            entry.cause, entry.consequence, entry.action, entry.respond, mark_of(self.condition),
        )  # fmt: skip

    def saved(self) -> dict[str, Any]:
        memory = self.memory
        hidden = [name for name in _FLAGS if getattr(memory, name)]
        saved: dict[str, Any] = {"core": memory.core.value, "hidden": hidden, "priority": self.priority}
        return saved | {name: getattr(self, name) for name in _SAVED}

    def restore(self, saved: Mapping[str, Any]) -> None:
        try:
            flags = dict.fromkeys(saved["hidden"], True)
            self.memory = Memory(core=State(saved["core"]), **flags)
            for name in _SAVED:
                setattr(self, name, saved[name])
            if self.condition in SIGNAL_CONDITIONS:  # a limit's priority is the site's; a fault's is of its moment
                self.priority = saved["priority"]
        except (KeyError, TypeError, ValueError) as exc:
            raise BadSavedState(f"saved state of alarm {self.id} cannot be read: {exc!r}; restore a backup") from exc


_FLAGS: Final = ("shelved", "one_shot", "suppressed", "out_of_service")
_SAVED: Final = (
    "occurrence", "raised_ms", "returned_ms", "acknowledged_by", "acknowledged_ms", "comment", "value",
)  # fmt: skip
