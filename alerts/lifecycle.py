"""The life of one alarm: states, events, and the whole table of what leads where.

Source: ISA-18.2 / IEC 62682 alarm state model (from memory, their text was not at hand); tr-NN is the row of
tests/data/alarms/alarm_transitions.csv, which says of each row where it comes from. Knows no time, no limit, no person:
who may shelve for how long, and when a re-alarm is due, is settled before an event gets here.

The three suppressions overlap (OPC UA Part 9, 5.8.2: separate states). An alarm is evaluated while one hides it,
and what is shown is out_of_service before suppressed_by_design before shelved before the core state (our choice).
"""

from collections.abc import Callable, Mapping
from enum import StrEnum
from types import MappingProxyType
from typing import Final, NamedTuple

from models.errors import IllegalTransition


class State(StrEnum):
    """What is shown of an alarm. The letter is ISA-18.2's."""

    NORMAL = "normal"  # A
    UNACKNOWLEDGED = "unacknowledged"  # B
    ACKNOWLEDGED = "acknowledged"  # C
    RETURNED_UNACKNOWLEDGED = "returned_unacknowledged"  # D
    LATCHED_UNACKNOWLEDGED = "latched_unacknowledged"  # E
    LATCHED_ACKNOWLEDGED = "latched_acknowledged"  # F
    SHELVED = "shelved"  # G
    SUPPRESSED_BY_DESIGN = "suppressed_by_design"  # H
    OUT_OF_SERVICE = "out_of_service"  # I


class Event(StrEnum):
    """What happens to an alarm."""

    RAISED = "raised"  # the condition is on, its delay is over
    RETURNED = "returned"  # the condition is off, its delay is over
    ACKNOWLEDGED = "acknowledged"
    RAISED_AGAIN = "raised_again"  # re-alarm: still on, but asks for attention once more: acknowledged, or more urgent
    LATCHED_RESET = "latched_reset"
    SHELVED = "shelved"
    UNSHELVED = "unshelved"
    SHELF_EXPIRED = "shelf_expired"
    SUPPRESSED = "suppressed"
    UNSUPPRESSED = "unsuppressed"
    REMOVED_FROM_SERVICE = "removed_from_service"
    RETURNED_TO_SERVICE = "returned_to_service"


class Kind(NamedTuple):
    """How an alarm is meant to behave, from the alarm sheet."""

    latching: bool = False
    acknowledged_by_return: bool = False


PLAIN: Final = Kind()


class Memory(NamedTuple):
    """All that one alarm remembers. While it is hidden, `core` is the state that it would come back with."""

    core: State = State.NORMAL
    shelved: bool = False
    one_shot: bool = False
    suppressed: bool = False
    out_of_service: bool = False

    @property
    def hidden(self) -> bool:
        return self.shelved or self.suppressed or self.out_of_service

    @property
    def active(self) -> bool:
        """True while the condition is on."""
        return self.core in (State.UNACKNOWLEDGED, State.ACKNOWLEDGED)

    @property
    def shown(self) -> State:
        if self.out_of_service:
            return State.OUT_OF_SERVICE
        if self.suppressed:
            return State.SUPPRESSED_BY_DESIGN
        return State.SHELVED if self.shelved else self.core


class Guard(StrEnum):
    """What must hold for a move, in words for the diagram. The first move whose guard holds is taken."""

    ALWAYS = ""
    LATCHING = "latching alarm"
    ACKNOWLEDGED_BY_RETURN = "acknowledged by its return"
    ON = "condition on"
    OFF = "condition off"
    LATCHED = "condition off, latched"
    ONE_SHOT = "one-shot shelf"
    ONE_SHOT_LATCHING = "one-shot shelf, latching alarm"
    ALSO_SHELVED = "also shelved"
    ALSO_SUPPRESSED = "also suppressed"
    NOT_SHELVED = "not shelved yet"
    NOT_SUPPRESSED = "not suppressed yet"


_HOLDS: Final[Mapping[Guard, Callable[[Memory, Kind], bool]]] = {
    Guard.ALWAYS: lambda memory, kind: True,
    Guard.LATCHING: lambda memory, kind: kind.latching,
    Guard.ACKNOWLEDGED_BY_RETURN: lambda memory, kind: kind.acknowledged_by_return,
    Guard.ON: lambda memory, kind: memory.active,
    Guard.OFF: lambda memory, kind: not memory.active,
    Guard.LATCHED: lambda memory, kind: memory.core in (State.LATCHED_UNACKNOWLEDGED, State.LATCHED_ACKNOWLEDGED),
    Guard.ONE_SHOT: lambda memory, kind: memory.active and memory.one_shot,
    Guard.ONE_SHOT_LATCHING: lambda memory, kind: memory.active and memory.one_shot and kind.latching,
    Guard.ALSO_SHELVED: lambda memory, kind: memory.shelved,
    Guard.ALSO_SUPPRESSED: lambda memory, kind: memory.suppressed,
    Guard.NOT_SHELVED: lambda memory, kind: not memory.shelved,
    Guard.NOT_SUPPRESSED: lambda memory, kind: not memory.suppressed,
}


class Move(NamedTuple):
    guard: Guard
    to: State


S, E, G = State, Event, Guard

CORE: Final = (
    S.NORMAL,
    S.UNACKNOWLEDGED,
    S.ACKNOWLEDGED,
    S.RETURNED_UNACKNOWLEDGED,
    S.LATCHED_UNACKNOWLEDGED,
    S.LATCHED_ACKNOWLEDGED,
)
HIDDEN: Final = (S.SHELVED, S.SUPPRESSED_BY_DESIGN, S.OUT_OF_SERVICE)


def _to(state: State) -> tuple[Move, ...]:
    return (Move(G.ALWAYS, state),)


# A latch outlives every suppression ("our rule" in tr-40 to tr-42); a condition that is on comes back as new.
_COME_BACK: Final = (
    Move(G.ON, S.UNACKNOWLEDGED),  # tr-34, tr-36, tr-38
    Move(G.LATCHED, S.LATCHED_UNACKNOWLEDGED),  # tr-40, tr-41, tr-42
    Move(G.ALWAYS, S.NORMAL),  # tr-33, tr-35, tr-37
)

TABLE: Final[Mapping[tuple[State, Event], tuple[Move, ...]]] = MappingProxyType(
    {
        # The core, A to F
        (S.NORMAL, E.RAISED): _to(S.UNACKNOWLEDGED),  # tr-01
        (S.UNACKNOWLEDGED, E.ACKNOWLEDGED): _to(S.ACKNOWLEDGED),  # tr-02
        (S.UNACKNOWLEDGED, E.RETURNED): (
            Move(G.LATCHING, S.LATCHED_UNACKNOWLEDGED),  # tr-05
            Move(G.ACKNOWLEDGED_BY_RETURN, S.NORMAL),  # tr-04
            Move(G.ALWAYS, S.RETURNED_UNACKNOWLEDGED),  # tr-03
        ),
        (S.UNACKNOWLEDGED, E.RAISED_AGAIN): _to(S.UNACKNOWLEDGED),  # our rule: a step up in priority is news to all
        (S.ACKNOWLEDGED, E.RETURNED): (
            Move(G.LATCHING, S.LATCHED_ACKNOWLEDGED),  # tr-07
            Move(G.ALWAYS, S.NORMAL),  # tr-06
        ),
        (S.ACKNOWLEDGED, E.RAISED_AGAIN): _to(S.UNACKNOWLEDGED),  # tr-08
        (S.RETURNED_UNACKNOWLEDGED, E.ACKNOWLEDGED): _to(S.NORMAL),  # tr-09
        (S.RETURNED_UNACKNOWLEDGED, E.RAISED): _to(S.UNACKNOWLEDGED),  # tr-10
        (S.LATCHED_UNACKNOWLEDGED, E.ACKNOWLEDGED): _to(S.LATCHED_ACKNOWLEDGED),  # tr-11
        (S.LATCHED_UNACKNOWLEDGED, E.RAISED): _to(S.UNACKNOWLEDGED),  # tr-12
        (S.LATCHED_ACKNOWLEDGED, E.LATCHED_RESET): _to(S.NORMAL),  # tr-13
        (S.LATCHED_ACKNOWLEDGED, E.RAISED): _to(S.UNACKNOWLEDGED),  # tr-14
        # Hiding, from every state of the core
        **{(state, E.SHELVED): _to(S.SHELVED) for state in CORE},  # tr-15 to tr-20
        **{(state, E.SUPPRESSED): _to(S.SUPPRESSED_BY_DESIGN) for state in CORE},  # tr-21 to tr-26
        **{(state, E.REMOVED_FROM_SERVICE): _to(S.OUT_OF_SERVICE) for state in CORE},  # tr-27 to tr-32
        # Evaluated while hidden. Source: OPC UA Part 9, 4.8 (only the presentation is suppressed)
        **{(state, E.RAISED): (Move(G.OFF, state),) for state in HIDDEN},
        (S.SHELVED, E.RETURNED): (
            Move(G.ONE_SHOT_LATCHING, S.LATCHED_UNACKNOWLEDGED),  # tr-39 with the rule of tr-40
            Move(G.ONE_SHOT, S.NORMAL),  # tr-39
            Move(G.ON, S.SHELVED),
        ),
        (S.SUPPRESSED_BY_DESIGN, E.RETURNED): (Move(G.ON, S.SUPPRESSED_BY_DESIGN),),
        (S.OUT_OF_SERVICE, E.RETURNED): (Move(G.ON, S.OUT_OF_SERVICE),),
        # Coming back
        (S.SHELVED, E.UNSHELVED): _COME_BACK,
        (S.SHELVED, E.SHELF_EXPIRED): _COME_BACK,
        (S.SUPPRESSED_BY_DESIGN, E.UNSUPPRESSED): (Move(G.ALSO_SHELVED, S.SHELVED), *_COME_BACK),
        (S.OUT_OF_SERVICE, E.RETURNED_TO_SERVICE): (
            Move(G.ALSO_SUPPRESSED, S.SUPPRESSED_BY_DESIGN),
            Move(G.ALSO_SHELVED, S.SHELVED),
            *_COME_BACK,
        ),
        # Overlaps: the stronger suppression is shown, the other one comes and goes beneath it
        (S.SHELVED, E.SUPPRESSED): _to(S.SUPPRESSED_BY_DESIGN),
        (S.SHELVED, E.REMOVED_FROM_SERVICE): _to(S.OUT_OF_SERVICE),
        (S.SUPPRESSED_BY_DESIGN, E.SHELVED): (Move(G.NOT_SHELVED, S.SUPPRESSED_BY_DESIGN),),
        (S.SUPPRESSED_BY_DESIGN, E.UNSHELVED): (Move(G.ALSO_SHELVED, S.SUPPRESSED_BY_DESIGN),),
        (S.SUPPRESSED_BY_DESIGN, E.SHELF_EXPIRED): (Move(G.ALSO_SHELVED, S.SUPPRESSED_BY_DESIGN),),
        (S.SUPPRESSED_BY_DESIGN, E.REMOVED_FROM_SERVICE): _to(S.OUT_OF_SERVICE),
        (S.OUT_OF_SERVICE, E.SHELVED): (Move(G.NOT_SHELVED, S.OUT_OF_SERVICE),),
        (S.OUT_OF_SERVICE, E.UNSHELVED): (Move(G.ALSO_SHELVED, S.OUT_OF_SERVICE),),
        (S.OUT_OF_SERVICE, E.SHELF_EXPIRED): (Move(G.ALSO_SHELVED, S.OUT_OF_SERVICE),),
        (S.OUT_OF_SERVICE, E.SUPPRESSED): (Move(G.NOT_SUPPRESSED, S.OUT_OF_SERVICE),),
        (S.OUT_OF_SERVICE, E.UNSUPPRESSED): (Move(G.ALSO_SUPPRESSED, S.OUT_OF_SERVICE),),
    }
)

_IGNORED: Final[tuple[tuple[Event, str, tuple[State, ...]], ...]] = (
    (E.RAISED, "it stands already", (S.UNACKNOWLEDGED, S.ACKNOWLEDGED)),
    (E.RETURNED, "it does not stand", (S.NORMAL,)),
    (E.RETURNED, "it has returned already", CORE[3:]),
    (E.ACKNOWLEDGED, "nothing to acknowledge", (S.NORMAL,)),
    (E.ACKNOWLEDGED, "acknowledged already", (S.ACKNOWLEDGED, S.LATCHED_ACKNOWLEDGED)),
    (E.ACKNOWLEDGED, "it is hidden now and asks for nothing", HIDDEN),
    (E.RAISED_AGAIN, "it does not stand", (S.NORMAL, *CORE[3:])),
    (E.RAISED_AGAIN, "it is hidden now", HIDDEN),
    (E.LATCHED_RESET, "nothing is latched", CORE[:4]),
    (E.LATCHED_RESET, "acknowledge it first", (S.LATCHED_UNACKNOWLEDGED,)),
    (E.LATCHED_RESET, "it is hidden now", HIDDEN),
    (E.SHELVED, "shelved already", (S.SHELVED,)),
    (E.UNSHELVED, "it is not shelved", CORE),
    (E.SHELF_EXPIRED, "it is not shelved", CORE),
    (E.SUPPRESSED, "suppressed already", (S.SUPPRESSED_BY_DESIGN,)),
    (E.UNSUPPRESSED, "it is not suppressed", (*CORE, S.SHELVED)),
    (E.REMOVED_FROM_SERVICE, "out of service already", (S.OUT_OF_SERVICE,)),
    (E.RETURNED_TO_SERVICE, "it is in service", (*CORE, S.SHELVED, S.SUPPRESSED_BY_DESIGN)),
)

IGNORED: Final[Mapping[tuple[State, Event], str]] = MappingProxyType(
    {(state, event): words for event, words, states in _IGNORED for state in states}
)
"""Everything that moves nothing, with the answer for whoever asked."""

_NO_GUARD: Final = "it makes no difference now"

_BENEATH: Final[Mapping[State, State]] = MappingProxyType(
    {
        S.NORMAL: S.NORMAL,
        S.UNACKNOWLEDGED: S.UNACKNOWLEDGED,
        S.ACKNOWLEDGED: S.UNACKNOWLEDGED,
        S.RETURNED_UNACKNOWLEDGED: S.NORMAL,
        S.LATCHED_UNACKNOWLEDGED: S.LATCHED_UNACKNOWLEDGED,
        S.LATCHED_ACKNOWLEDGED: S.LATCHED_UNACKNOWLEDGED,
    }
)
"""What an alarm would come back with at the moment when it is hidden."""


class Outcome(NamedTuple):
    """What an event did. `ignored` says why it did nothing; `asks_anew` that people must look (again).

    by_rule: what nobody had acknowledged was acknowledged by its return, because its class says so.
    """

    memory: Memory
    state: State
    ignored: str = ""
    asks_anew: bool = False
    by_rule: bool = False


def step(memory: Memory, event: Event, kind: Kind = PLAIN, *, one_shot: bool = False) -> Outcome:
    """Send one event. one_shot: for SHELVED only, the shelf ends by itself when the condition does."""
    state = memory.shown
    moves = TABLE.get((state, event))
    if moves is None:
        return Outcome(memory, state, IGNORED[state, event])
    for guard, to in moves:
        if _HOLDS[guard](memory, kind):
            after = _flags(memory, event, one_shot)._replace(core=_core(memory, event, kind, to))
            if after.shown is not to:
                raise IllegalTransition(f"{state} + {event} led to {after.shown}, the table says {to}: {memory}")
            anew = to is S.UNACKNOWLEDGED or (to is S.LATCHED_UNACKNOWLEDGED and memory.hidden)
            return Outcome(after, to, "", anew, guard is G.ACKNOWLEDGED_BY_RETURN)
    return Outcome(memory, state, _NO_GUARD)


def _core(memory: Memory, event: Event, kind: Kind, to: State) -> State:
    if to not in HIDDEN:
        return to
    if event is E.RAISED:
        return S.UNACKNOWLEDGED
    if event is E.RETURNED:
        return S.LATCHED_UNACKNOWLEDGED if kind.latching else S.NORMAL
    return _BENEATH[memory.core]


def _flags(memory: Memory, event: Event, one_shot: bool) -> Memory:
    match event:
        case E.SHELVED:
            return memory._replace(shelved=True, one_shot=one_shot)
        case E.UNSHELVED | E.SHELF_EXPIRED:
            return memory._replace(shelved=False, one_shot=False)
        case E.RETURNED if memory.one_shot:
            return memory._replace(shelved=False, one_shot=False)
        case E.SUPPRESSED | E.UNSUPPRESSED:
            return memory._replace(suppressed=event is E.SUPPRESSED)
        case E.REMOVED_FROM_SERVICE | E.RETURNED_TO_SERVICE:
            return memory._replace(out_of_service=event is E.REMOVED_FROM_SERVICE)
        case _:
            return memory
