"""May a loop be taken out of sight now? What its tanks are doing, and whether another level signal watches meanwhile.

A `[[point]]` of the tank on another instrument covers it: one that tells a level (role other, in a length or percent)
whatever the tank does, a high-level switch while the tank receives (it sees no issue).
"""

from collections.abc import Iterator
from typing import TYPE_CHECKING, Final

from gaugehouse.keeper import EMPTYING, FILLING, STILL
from models.reading import BAD

if TYPE_CHECKING:
    from gaugehouse.core import Core
    from gaugehouse.site import PointSpec, Site

COVER_AGE_MS: Final = 60_000
"""A signal that covers a tank must have answered within that time."""

SWITCH: Final = "high_level_switch"
LEVEL_UNITS: Final = frozenset({"m", "mm", "cm", "dm", "in", "inch", "ft", "foot", "%", "percent"})
UNKNOWN: Final = "unknown"


def covers(site: "Site", instrument: str) -> Iterator["PointSpec"]:
    """The points that can watch a tank of this loop while the loop is under check."""
    tanks = {tank.id for tank in site.tanks if tank.instrument == instrument}
    for point in site.points:
        if point.tank in tanks and point.source.instrument != instrument and _watches(point):
            yield point


def _watches(point: "PointSpec") -> bool:
    return point.role == SWITCH or (point.role == "other" and point.unit.strip() in LEVEL_UNITS)


def why_not(core: "Core", instrument: str, covered_by: str, at_rest: str) -> str:
    """Why this loop must not be lost from sight now, with the mend; empty when it may."""
    tanks = [tank.id for tank in core.site.tanks if tank.instrument == instrument]
    for tank in tanks:
        movement, words = _movement(core, tank)
        if movement == STILL or (movement == UNKNOWN and at_rest):
            continue
        if not covered_by:
            return words
        why = uncovered(core, instrument, tank, movement, covered_by)
        if why:
            return why
    if covered_by and tanks:  # also where all stand still: movements may be ordered meanwhile
        reasons = [uncovered(core, instrument, tank, FILLING, covered_by) for tank in tanks]
        return reasons[0] if all(reasons) else ""
    return ""


def _movement(core: "Core", tank: str) -> tuple[str, str]:
    """What a tank does, and what to say of it. An ordered movement counts as one that is about to begin."""
    name = "or name the [[point]] that covers it meanwhile"
    plan, keeper = core.plans.get(tank), core.keepers[tank]
    if plan is not None:
        text = f"a movement of tank {tank} is ordered ({plan.kind}, by {plan.by}): end the order first, {name}"
        return (FILLING if plan.kind == "receipt" else EMPTYING), text
    others = core.moved_by_others(tank)
    if others:
        word = "fills" if others == FILLING else "empties"
        return others, f"a meter or point says that tank {tank} {word}: wait until nothing flows, {name}"
    unknown = keeper.latest is None or keeper.latest.quality is BAD or keeper.flow not in (FILLING, EMPTYING, STILL)
    if unknown:
        return UNKNOWN, (
            f"whether tank {tank} stands still cannot be told from its level; say how you know that nothing flows "
            f"(at rest), {name}"
        )
    word = "receives" if keeper.flow == FILLING else "issues"
    return keeper.flow, f"tank {tank} {word}: its level must not be lost now; wait until it stands still, {name}"


def uncovered(core: "Core", instrument: str, tank: str, movement: str, covered_by: str) -> str:
    """Why the named point does not cover a tank; empty when it does."""
    fit = [point for point in covers(core.site, instrument) if point.tank == tank]
    point = next((p for p in fit if p.id == covered_by), None)
    if point is None:
        known = ", ".join(p.id for p in fit) or "none"
        return f"{covered_by!r} is no [[point]] that watches the level of tank {tank}; there are: {known}"
    if point.role == SWITCH and movement != FILLING:
        return f"point {point.id} is a high-level switch: it sees a receipt only; name one that tells the level"
    if core.newest(point.source, COVER_AGE_MS).value is None:
        return f"point {point.id} does not answer now, so it cannot cover tank {tank}"
    return ""
