"""Movements that were ordered: what a person has planned for a tank, and how far it has come.

One plan a tank. It ends by a person, when a planned receipt is in and the tank has come to rest, or a day after it was
made. Knows volumes as they are told each tick; refuses to feed any book: documents do that. No I/O, no clock.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final, NamedTuple

from models.reading import Instant

RECEIPT: Final = "receipt"
ISSUE: Final = "issue"
KINDS: Final = (RECEIPT, ISSUE)

LONGEST_MS: Final = 86_400_000
"""A plan that nobody ends is over after a day: it would excuse movements for ever."""

WHOLE_FRAC: Final = 0.98
"""From so much of its quantity on a plan counts as fulfilled: tank and delivery note never agree to the last litre."""

REST_MS: Final = 600_000

BY_PERSON: Final = "ended"
FULFILLED: Final = "fulfilled"
TIME_OVER: Final = "time over"


@dataclass(slots=True)
class Plan:
    """One plan. tov_m3: the tank's volume when it was made, None until a reading tells. begun: the tank has moved the
    planned way since. rest_ms: elapsed time since when it has been still after that.
    receipt: the number of the receipt that it watches, where there is one."""

    tank: str
    kind: str
    quantity_m3: float
    rate_m3_per_s: float | None
    product: str
    by: str
    made_ms: int
    made_elapsed_ms: int
    tov_m3: float | None = None
    begun: bool = False
    rest_ms: int | None = None
    moved_m3: float = 0.0
    receipt: int | None = None

    def json(self) -> dict[str, Any]:
        return {name: getattr(self, name) for name in self.__slots__}


class Ended(NamedTuple):
    """A plan that is over, and why."""

    plan: Plan
    why: str


class Plans:
    """A Room of the core: the plans that are open, by tank; and since when the others are over."""

    def __init__(self) -> None:
        self._open: dict[str, Plan] = {}
        self._over_ms: dict[str, int] = {}
        self._dirty: set[str] = set()

    def __bool__(self) -> bool:
        return bool(self._open)

    def get(self, tank: str) -> Plan | None:
        return self._open.get(tank)

    def all(self) -> list[Plan]:
        return list(self._open.values())

    def receives(self) -> bool:
        """True while any receipt is planned."""
        return any(plan.kind == RECEIPT for plan in self._open.values())

    def over_since(self, tank: str) -> int | None:
        """Elapsed time at which the tank's last plan was over, None where there was none."""
        return self._over_ms.get(tank)

    def make(self, plan: Plan) -> None:
        self._open[plan.tank] = plan
        self._dirty.add(plan.tank)

    def end(self, at: Instant, tank: str, why: str) -> Ended:
        """Raises KeyError where there is no plan."""
        self._over_ms[tank] = at.elapsed_ms
        self._dirty.add(tank)
        return Ended(self._open.pop(tank), why)

    def follow(self, at: Instant, tank: str, tov_m3: float | None, flow_m3_per_s: float) -> Ended | None:
        """What a trusted reading says of a tank's plan. flow: how fast it moves the planned way, 0 when still."""
        plan = self._open.get(tank)
        if plan is None:
            return None
        if at.elapsed_ms - plan.made_elapsed_ms >= LONGEST_MS:
            return self.end(at, tank, TIME_OVER)
        if tov_m3 is None:
            return None
        if plan.tov_m3 is None:
            plan.tov_m3 = tov_m3
            self._dirty.add(tank)
        way = 1 if plan.kind == RECEIPT else -1
        plan.moved_m3 = way * (tov_m3 - plan.tov_m3)
        if way * flow_m3_per_s > 0:
            if not plan.begun or plan.rest_ms is not None:
                plan.begun, plan.rest_ms = True, None
                self._dirty.add(tank)
        elif plan.begun and plan.rest_ms is None:
            plan.rest_ms = at.elapsed_ms
            self._dirty.add(tank)
        rested = plan.rest_ms is not None and at.elapsed_ms - plan.rest_ms >= REST_MS
        if rested and plan.moved_m3 >= WHOLE_FRAC * plan.quantity_m3:
            return self.end(at, tank, FULFILLED)
        return None

    def save(self, changed_only: bool) -> Mapping[str, Any]:
        names = set(self._dirty) if changed_only else {*self._open, *self._over_ms}
        self._dirty.clear()
        return {
            tank: {
                "plan": None if tank not in self._open else self._open[tank].json(),
                "over": self._over_ms.get(tank),
            }
            for tank in sorted(names)
        }

    def restore(self, saved: Mapping[str, Any]) -> None:
        for tank, state in saved.items():
            if state["plan"] is not None:
                self._open[tank] = Plan(**state["plan"])
            if state["over"] is not None:
                self._over_ms[tank] = state["over"]
