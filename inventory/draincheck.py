"""Drain checks: who looked for water at a tank's low point, what came, and when the next look is due.

Working tanks are checked daily, others weekly, or as the site's own rule says (US Army QM5200 p. 10-3, storage
operations g and h). A check that was not done is written down with its reason and leaves the check due. Knows site days
and counts of days; refuses to know what a tank holds. No I/O, no clock.
"""

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from enum import StrEnum
from typing import Any, Final, NamedTuple

USUAL_SOURCE: Final = "US Army QM5200 p. 10-3: working tanks daily, others weekly"

CAUTION: Final = (
    "Draining fuel makes static charge and vapour: bond the vessel to the tank first, use a metal one, open the drain "
    "slowly, keep fire and engines away, wait after a receipt as the site's rule says, and stay at the drain until it "
    "is shut. What comes out is waste fuel. Local codes and the site's permit come first."
)


class DrainResult(StrEnum):
    """What a check came to."""

    CLEAR = "clear"
    WATER = "water"
    NOT_DONE = "not done"


APPEARANCES: Final = ("clear and bright", "hazy", "cloudy", "coloured", "particles", "not looked at")
"""How the sample looked. Terms of the trade's visual test."""


@dataclass(frozen=True, slots=True)
class DrainCheck:
    """One check. day: the site day that it counts for. water_m3, fuel_m3: what was drained, as read on the vessel.

    document: number of the water draw's paper that tells the same volumes, None where there is none: a volume told
    twice would count twice. why: the reason of a check that was not done.
    """

    number: int
    tank: str
    day: str
    time_ms: int
    by: str
    result: DrainResult
    appearance: str = ""
    water_m3: float = 0.0
    fuel_m3: float = 0.0
    document: int | None = None
    why: str = ""
    comment: str = ""

    @property
    def done(self) -> bool:
        return self.result is not DrainResult.NOT_DONE


def check_json(check: DrainCheck) -> dict[str, Any]:
    return {name: getattr(check, name) for name in check.__slots__} | {"result": check.result.value}


def check_from(body: Mapping[str, Any]) -> DrainCheck:
    """What `check_json` wrote. Raises KeyError, ValueError for something else."""
    fields = {name: body[name] for name in DrainCheck.__slots__}
    return DrainCheck(**fields | {"result": DrainResult(body["result"])})


@dataclass(frozen=True, slots=True)
class DrainRules:
    """Days from one check to the next; how long a tank counts as working after fuel moved; tanks that always do."""

    working_days: int = 1
    other_days: int = 7
    working_within_ms: int = 3 * 86_400_000
    working: Collection[str] = ()
    source: str = USUAL_SOURCE

    def works(self, tank: str, moved_ms: int | None, now_ms: int) -> bool:
        """Whether a tank counts as working: named so, or fuel moved in or out of it a short while ago."""
        return tank in self.working or (moved_ms is not None and now_ms - moved_ms <= self.working_within_ms)

    def days(self, working: bool) -> int:
        return self.working_days if working else self.other_days


class DueDay(NamedTuple):
    """The site day on which a check is due; None where none was ever done, so that it is overdue."""

    day: str | None


def next_due(last_done: str | None, working: bool, rules: DrainRules) -> DueDay:
    """When the next check is due. last_done: the site day of the newest check that was done."""
    if last_done is None:
        return DueDay(None)
    return DueDay((date.fromisoformat(last_done) + timedelta(days=rules.days(working))).isoformat())
