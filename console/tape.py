"""The dip tape as geometry: a tank drawn as a strip of gauging tape whose width is litres per millimetre.

Knows lengths on a drawing; refuses to know quality or colour. A tape lies (bottom left, reference height right) or
stands (bottom below). Coordinates are in drawing units, rounded to tenths.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any, Final

from console.facts import Json
from console.figures import number, shown, with_unit, written
from console.words import CONDITIONS, LIMITS

LYING_WIDTH: Final = 320
STANDING_HEIGHT: Final = 620


@dataclass(frozen=True, slots=True)
class Frame:
    """Where a tape lies in its drawing: `start` is level 0, `length` the way to `full_m`, `middle` its axis.

    A standing tape counts from below: its length is negative.
    """

    start: float
    length: float
    middle: float
    half: float
    full_m: float

    def along(self, level_m: float) -> float:
        """The place of a level; held within the tape, since a mark outside of the drawing tells nothing."""
        part = min(max(level_m / self.full_m, 0.0), 1.0)
        return round(self.start + self.length * part, 1)


def lying(facts: Json) -> Frame:
    return _lying(_full_m(facts))


def standing(facts: Json) -> Frame:
    return _standing(_full_m(facts))


@lru_cache(maxsize=4096)
def _lying(full_m: float) -> Frame:
    return Frame(4, LYING_WIDTH - 12, 38, 18, full_m)


@lru_cache(maxsize=4096)
def _standing(full_m: float) -> Frame:
    return Frame(STANDING_HEIGHT - 16, -(STANDING_HEIGHT - 40), 150, 56, full_m)


def _full_m(facts: Json) -> float:
    """A tape must hold its whole table, be the reference point below the top of it (a short dip pipe)."""
    return max(float(facts["reference_height_m"]), float(facts["top_m"]), 1e-6)


def outline(frame: Frame, profile: Sequence[Sequence[float]], *, lies: bool) -> str:
    """The strip as the points of an SVG polygon, both edges; points on a straight edge are left out."""
    widest = max((litres for _, litres in profile), default=0.0) or 1.0
    edge = _corners([(frame.along(level), frame.half * litres / widest) for level, litres in profile])
    near = [(along, round(frame.middle - half, 1)) for along, half in edge]
    far = [(along, round(frame.middle + half, 1)) for along, half in reversed(edge)]
    return " ".join(f"{a:g},{b:g}" if lies else f"{b:g},{a:g}" for a, b in near + far)


def _corners(points: list[tuple[float, float]]) -> list[tuple[float, float]]:
    kept: list[tuple[float, float]] = []
    for index, point in enumerate(points):
        inner = 0 < index < len(points) - 1
        if inner and _straight(kept[-1], point, points[index + 1]):
            continue
        kept.append(point)
    return kept


def _straight(before: tuple[float, float], point: tuple[float, float], after: tuple[float, float]) -> bool:
    run = after[0] - before[0]
    if not run:
        return False
    between = before[1] + (after[1] - before[1]) * (point[0] - before[0]) / run
    return abs(between - point[1]) < 0.05


def graduation(frame: Frame, *, fewest_apart: float) -> list[Json]:
    """Marks every 1, 2 or 5 times a power of ten mm, or inches and feet, no closer than `fewest_apart`; some named."""
    by = shown("level_m")
    per_m, long = by.factor, by.form == "feet"
    least = fewest_apart * frame.full_m * per_m / abs(frame.length)
    step, named_every = _step_of_inches(least) if long else _step(least)
    marks = []
    for index in range(int(frame.full_m * per_m / step + 1e-9) + 1):
        level_m = index * step / per_m
        named = index % named_every == 0
        text = _mark(index * step, long=long) if named else ""
        marks.append({"at": frame.along(level_m), "named": named, "text": text})
    return marks


def _mark(at: int, *, long: bool) -> str:
    return f"{number(at // 12, 0)}\N{NO-BREAK SPACE}ft" if long else number(at, 0)


def _step_of_inches(least: float) -> tuple[int, int]:
    """Marks that meet whole feet, and which of them are named."""
    steps = ((1, 12), (2, 6), (3, 4), (6, 4), (12, 5), (24, 5), (60, 2), (120, 5))
    return next((one for one in steps if one[0] >= least), (600, 2))


def _step(least: float) -> tuple[int, int]:
    size = 1
    while True:
        for times, named_every in ((1, 10), (2, 5), (5, 4)):
            if size * times >= least:
                return size * times, named_every
        size *= 10


def notches(frame: Frame, limits: Sequence[Json], *, label_gap: float = 0.0) -> list[Json]:
    """A notch at each limit; labels pushed apart to at least `label_gap` while they keep their order."""
    marks: list[Json] = [
        {
            "condition": limit["condition"],
            "at": frame.along(limit["at_m"]),
            "name": LIMITS.get(limit["condition"], limit.get("name") or CONDITIONS.get(limit["condition"], "")),
            "height": _height(limit["at_m"]),
        }
        for limit in limits
    ]
    marks.sort(key=lambda mark: float(mark["at"]))
    places = spread([float(mark["at"]) for mark in marks], label_gap)
    return [{**mark, "label": place} for mark, place in zip(marks, places, strict=True)]


def _height(at_m: float) -> str:
    """A limit's height with its unit; in feet as on a ticket, since a tab stands beside it."""
    return written("level_m", at_m) if shown("level_m").form == "feet" else with_unit("level_m", at_m)


def spread(places: Sequence[float], gap: float) -> list[float]:
    """Rising places moved as little as needed to stand `gap` apart: crowded neighbours share the shift."""
    groups: list[list[float]] = []  # each: sum of (place - rank * gap), how many
    for place in places:
        groups.append([place, 1])
        while len(groups) > 1 and _first(groups[-2], gap) + groups[-2][1] * gap > _first(groups[-1], gap):
            total, count = groups.pop()
            before = groups[-1]
            before[0] += total - count * before[1] * gap
            before[1] += count
    moved: list[float] = []
    for group in groups:
        moved.extend(round(_first(group, gap) + rank * gap, 1) for rank in range(int(group[1])))
    return moved


def _first(group: Sequence[float], gap: float) -> float:
    """Where the first of a crowd stands when the crowd is centred on its members."""
    return group[0] / group[1]


def cut(frame: Frame, entry: Json, *, torn: bool) -> Json:
    """What moves on a tape: the product cut, the water cut, or the rip where the level cannot be trusted."""
    level = entry.get("level_m")
    wet = None if torn or level is None else level
    water = entry.get("water_m")
    last = entry.get("last_good_level_m")
    rip = frame.along(last if last is not None else frame.full_m / 2)
    zero = frame.along(0)
    drop = frame.along(water) if water is not None and wet is not None else zero
    moving: dict[str, Any] = {
        "wet": round(abs(frame.along(wet) - zero), 1) if wet is not None else 0,
        "cut": frame.along(wet) if wet is not None else zero,
        "water": round(abs(drop - zero), 1),
        "water_top": drop,
        "rip": rip,
        "torn": wet is None,
    }
    return moving
