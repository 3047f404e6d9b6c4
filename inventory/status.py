"""What a tank is ready for: the states that its content goes through from a receipt to the next issue, as one table.

Knows states, events and what stands in the way of a move; refuses to know gauges, clocks and papers. "Settling" is of
the quality (water and dirt sink); the calm of the surface, by which a movement gets its final figure, is another thing.
The states are common practice, no source: receiving, settling, awaiting test, released, in use, quarantined, out of
service.
"""

from collections.abc import Mapping
from enum import StrEnum
from types import MappingProxyType
from typing import Final, NamedTuple


class TankStatus(StrEnum):
    """What may be done with a tank's content."""

    RECEIVING = "receiving"
    SETTLING = "settling"
    AWAITING_TEST = "awaiting test"
    RELEASED = "released"
    IN_USE = "in use"  # released, and drawn from since
    QUARANTINED = "quarantined"
    OUT_OF_SERVICE = "out of service"


class Event(StrEnum):
    """What can become known of a tank's content, or be said by a person."""

    FLOW_IN = "flow in begins"
    FLOW_IN_ENDS = "flow in ends"
    FLOW_OUT = "flow out begins"
    FLOW_OUT_ENDS = "flow out ends"
    NOT_MOVED = "nothing has moved after all"
    SETTLED = "settling is over"
    RELEASE = "released by a person"
    QUARANTINE = "quarantined by a person"
    LIFT = "quarantine lifted by a person"
    REMOVE = "taken out of service by a person"
    RETURN = "returned to service by a person"


class Guard(StrEnum):
    """What must hold for a move, beside its event."""

    ALWAYS = ""
    RECEIVES = "while fuel flows in"
    ISSUES = "while fuel flows out"
    NOT_SETTLED = "settling is not over"
    EARLY = "the site allows this person to release early"
    DISTURBS = "the site's rule counts it as a disturbance"
    WAS_RELEASED = "it was released before"
    WAS_IN_USE = "it was in use before"
    WAS_AWAITING = "it awaited its test before"
    WAS_SETTLING = "it was settling before"


class Facts(NamedTuple):
    """What is known beside the state. before: the state before the flow that `NOT_MOVED` takes back."""

    receives: bool = False
    issues: bool = False
    settling: bool = False
    early: bool = False
    disturbs: bool = True
    before: TankStatus | None = None

    def hold(self, guard: Guard) -> bool:
        match guard:
            case Guard.ALWAYS:
                return True
            case Guard.RECEIVES:
                return self.receives
            case Guard.ISSUES:
                return self.issues
            case Guard.NOT_SETTLED:
                return self.settling
            case Guard.EARLY:
                return self.early
            case Guard.DISTURBS:
                return self.disturbs
            case _:
                return self.before is _BEFORE[guard]


S, E, G = TankStatus, Event, Guard

_BEFORE: Final = {
    G.WAS_RELEASED: S.RELEASED,
    G.WAS_IN_USE: S.IN_USE,
    G.WAS_AWAITING: S.AWAITING_TEST,
    G.WAS_SETTLING: S.SETTLING,
}

Moves = tuple[tuple[Guard, TankStatus], ...]
_TAKEN_BACK: Final[Moves] = tuple(_BEFORE.items())
_BACK: Final[Moves] = ((G.RECEIVES, S.RECEIVING), (G.NOT_SETTLED, S.SETTLING), (G.ALWAYS, S.AWAITING_TEST))
_QUARANTINED: Final[Moves] = ((G.ALWAYS, S.QUARANTINED),)
_OUT: Final[Moves] = ((G.ALWAYS, S.OUT_OF_SERVICE),)

TABLE: Final[Mapping[tuple[TankStatus, Event], Moves]] = MappingProxyType(
    {
        (S.RECEIVING, E.FLOW_IN_ENDS): ((G.ALWAYS, S.SETTLING),),
        (S.RECEIVING, E.NOT_MOVED): _TAKEN_BACK,
        (S.RECEIVING, E.QUARANTINE): _QUARANTINED,
        (S.RECEIVING, E.REMOVE): _OUT,
        (S.SETTLING, E.FLOW_IN): ((G.ALWAYS, S.RECEIVING),),
        (S.SETTLING, E.FLOW_OUT): ((G.DISTURBS, S.SETTLING),),
        (S.SETTLING, E.FLOW_OUT_ENDS): ((G.DISTURBS, S.SETTLING),),
        (S.SETTLING, E.NOT_MOVED): _TAKEN_BACK,
        (S.SETTLING, E.SETTLED): ((G.ALWAYS, S.AWAITING_TEST),),
        (S.SETTLING, E.RELEASE): ((G.EARLY, S.RELEASED),),
        (S.SETTLING, E.QUARANTINE): _QUARANTINED,
        (S.SETTLING, E.REMOVE): _OUT,
        (S.AWAITING_TEST, E.FLOW_IN): ((G.ALWAYS, S.RECEIVING),),
        (S.AWAITING_TEST, E.FLOW_OUT): ((G.DISTURBS, S.SETTLING),),
        (S.AWAITING_TEST, E.RELEASE): ((G.ISSUES, S.IN_USE), (G.ALWAYS, S.RELEASED)),
        (S.AWAITING_TEST, E.QUARANTINE): _QUARANTINED,
        (S.AWAITING_TEST, E.REMOVE): _OUT,
        (S.RELEASED, E.FLOW_IN): ((G.ALWAYS, S.RECEIVING),),
        (S.RELEASED, E.FLOW_OUT): ((G.ALWAYS, S.IN_USE),),
        (S.RELEASED, E.RELEASE): ((G.ALWAYS, S.RELEASED),),
        (S.RELEASED, E.QUARANTINE): _QUARANTINED,
        (S.RELEASED, E.REMOVE): _OUT,
        (S.IN_USE, E.FLOW_IN): ((G.ALWAYS, S.RECEIVING),),
        (S.IN_USE, E.NOT_MOVED): ((G.WAS_RELEASED, S.RELEASED),),
        (S.IN_USE, E.RELEASE): ((G.ALWAYS, S.IN_USE),),
        (S.IN_USE, E.QUARANTINE): _QUARANTINED,
        (S.IN_USE, E.REMOVE): _OUT,
        (S.QUARANTINED, E.LIFT): _BACK,
        (S.QUARANTINED, E.REMOVE): _OUT,
        (S.OUT_OF_SERVICE, E.RETURN): _BACK,
    }
)
"""The state diagram: of the moves of a pair, the first whose guard holds. A receipt voids a release by itself."""

_NO_MOVE: Final[Mapping[Event, Mapping[TankStatus, str]]] = {
    E.FLOW_IN: {
        S.RECEIVING: "it receives already",
        S.QUARANTINED: "it stays quarantined; the settling time counts anew",
        S.OUT_OF_SERVICE: "it stays out of service; the settling time counts anew",
    },
    E.FLOW_IN_ENDS: dict.fromkeys((S.SETTLING, S.AWAITING_TEST, S.RELEASED, S.IN_USE), "nothing was flowing in")
    | dict.fromkeys((S.QUARANTINED, S.OUT_OF_SERVICE), "the state is a person's; the settling time begins"),
    E.FLOW_OUT: {
        S.RECEIVING: "it still receives; both at once is an alarm",
        S.IN_USE: "it is in use already",
        S.QUARANTINED: "it stays quarantined; issuing from it is an alarm",
        S.OUT_OF_SERVICE: "it stays out of service; issuing from it is an alarm",
    },
    E.FLOW_OUT_ENDS: {
        S.RECEIVING: "it still receives",
        S.AWAITING_TEST: "it still awaits its test",
        S.RELEASED: "it stays released",
        S.IN_USE: "it stays in use until something else happens",
        S.QUARANTINED: "it stays quarantined",
        S.OUT_OF_SERVICE: "it stays out of service",
    },
    E.NOT_MOVED: {
        S.AWAITING_TEST: "it awaits its test all the same",
        S.RELEASED: "it is released all the same",
        S.QUARANTINED: "the state is a person's",
        S.OUT_OF_SERVICE: "the state is a person's",
    },
    E.SETTLED: dict.fromkeys((S.RECEIVING, S.AWAITING_TEST, S.RELEASED, S.IN_USE), "nothing was settling")
    | dict.fromkeys((S.QUARANTINED, S.OUT_OF_SERVICE), "the state is a person's"),
    E.RELEASE: {
        S.RECEIVING: "it receives; wait until the receipt has ended and the fuel has settled",
        S.QUARANTINED: "it is quarantined; lift the quarantine first",
        S.OUT_OF_SERVICE: "it is out of service; return it to service first",
    },
    E.QUARANTINE: {
        S.QUARANTINED: "it is quarantined already",
        S.OUT_OF_SERVICE: "it is out of service; return it to service first",
    },
    E.LIFT: dict.fromkeys(
        (S.RECEIVING, S.SETTLING, S.AWAITING_TEST, S.RELEASED, S.IN_USE, S.OUT_OF_SERVICE), "it is not quarantined"
    ),
    E.REMOVE: {S.OUT_OF_SERVICE: "it is out of service already"},
    E.RETURN: dict.fromkeys(
        (S.RECEIVING, S.SETTLING, S.AWAITING_TEST, S.RELEASED, S.IN_USE, S.QUARANTINED), "it is in service"
    ),
}

IGNORED: Final[Mapping[tuple[TankStatus, Event], str]] = MappingProxyType(
    {(status, event): words for event, by_status in _NO_MOVE.items() for status, words in by_status.items()}
)
"""What moves nothing, with the answer for a person who asks for it."""

UNMET: Final[Mapping[tuple[TankStatus, Event], str]] = MappingProxyType(
    {
        (S.SETTLING, E.RELEASE): "it has not settled yet, and the site allows this person no early release",
        (S.SETTLING, E.FLOW_OUT): "the site's rule does not count it as a disturbance",
        (S.SETTLING, E.FLOW_OUT_ENDS): "the site's rule does not count it as a disturbance",
        (S.AWAITING_TEST, E.FLOW_OUT): "the site's rule does not count it as a disturbance",
        (S.RECEIVING, E.NOT_MOVED): "what it was before is not known any more",
        (S.SETTLING, E.NOT_MOVED): "what it was before is not known any more",
        (S.IN_USE, E.NOT_MOVED): "it was in use before",
    }
)
"""The answer where no guard of a pair holds."""

MAY_ISSUE: Final = frozenset({S.RELEASED, S.IN_USE})
"""From a tank in any other state nothing should be issued."""


class NoMove(NamedTuple):
    """An event that moves nothing, and why."""

    why: str


def move(status: TankStatus, event: Event, facts: Facts) -> TankStatus | NoMove:
    """Where an event leads from a state, by the table."""
    moves = TABLE.get((status, event))
    if moves is None:
        return NoMove(IGNORED[status, event])
    for guard, to in moves:
        if facts.hold(guard):
            return to
    return NoMove(UNMET[status, event])
