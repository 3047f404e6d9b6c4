"""Which tanks are suspected of a leak: a room of the core, so that a suspicion outlives a restart and stays an alarm.

A signed test that finds a loss makes one. It ends by a later signed test that could have seen a loss as large and sees
none, or by a named person's decision with a reason. What was judged once is not judged again: signing an older test
changes nothing. No I/O, no clock.
"""

from collections.abc import Iterator, Mapping, Sequence
from enum import StrEnum
from typing import Any, Final, NamedTuple

from alerts.watched import Told
from inventory.leak import Verdict

CONDITION: Final = "leak_suspected"


class Effect(StrEnum):
    """What a signed test did to the tank's alarm."""

    RAISED = "raised"
    STANDS = "stands"
    CLEARED = "cleared"
    NONE = "none"


class Suspicion(NamedTuple):
    """The newest test that found a loss, in m3/h; to_ms: the end of its hours; signed_ms: when it was signed."""

    loss_m3_per_h: float
    threshold_m3_per_h: float
    from_ms: int
    to_ms: int
    by: str
    signed_ms: int


class LeakRoom:
    """Of the tanks that the site names for leak tests."""

    def __init__(self, tanks: Sequence[str]) -> None:
        self._tanks = tuple(tanks)
        self._suspected: dict[str, Suspicion] = {}
        self._judged_to: dict[str, int] = {}
        self._news = set(tanks)
        self._dirty: set[str] = set()

    def get(self, tank: str) -> Suspicion | None:
        return self._suspected.get(tank)

    @property
    def news(self) -> bool:
        """True while the alarms were not told of something."""
        return bool(self._news)

    def tell(self) -> Iterator[Told]:
        """The verdict on each tank of which something is new."""
        for tank in sorted(self._news):
            yield Told(tank, CONDITION, None, tank in self._suspected)
        self._news.clear()

    def signed(self, tank: str, verdict: Verdict, found: Suspicion, detectable_m3_per_h: float) -> Effect:
        """Take in a signed test. A test of other tanks, an older one and one that says nothing change nothing."""
        stands = self._suspected.get(tank)
        if tank not in self._tanks:
            return Effect.NONE
        unchanged = Effect.NONE if stands is None else Effect.STANDS
        if found.to_ms <= self._judged_to.get(tank, 0):
            return unchanged
        if verdict is Verdict.LOSS:
            self._suspected[tank] = found
            self._change(tank, found.to_ms)
            return Effect.RAISED if stands is None else Effect.STANDS
        if verdict is not Verdict.NO_LOSS_SEEN or (stands is not None and detectable_m3_per_h > stands.loss_m3_per_h):
            return unchanged
        self._suspected.pop(tank, None)
        self._change(tank, found.to_ms)
        return Effect.NONE if stands is None else Effect.CLEARED

    def clear(self, tank: str) -> Suspicion | None:
        """A person's decision; gives what was decided on, None where nothing was suspected."""
        stands = self._suspected.pop(tank, None)
        if stands is not None:
            self._change(tank, stands.to_ms)
        return stands

    def _change(self, tank: str, to_ms: int) -> None:
        self._judged_to[tank] = max(to_ms, self._judged_to.get(tank, 0))
        self._news.add(tank)
        self._dirty.add(tank)

    def save(self, changed_only: bool) -> Mapping[str, Any]:
        tanks = self._dirty if changed_only else set(self._judged_to)
        saved = {
            tank: {"suspected": self._suspected.get(tank), "judged_to_ms": self._judged_to[tank]}
            for tank in sorted(tanks)
        }
        self._dirty = set()
        return saved

    def restore(self, saved: Mapping[str, Any]) -> None:
        for tank, state in saved.items():
            if state is None or tank not in self._tanks:  # the site tests it no longer
                continue
            self._judged_to[tank] = state["judged_to_ms"]
            if state["suspected"] is not None:
                self._suspected[tank] = Suspicion(*state["suspected"])
