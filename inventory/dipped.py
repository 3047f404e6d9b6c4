"""A movement's ends by dips: what a hand at the tank says of the level before and after it.

A gauge's zero cancels in a movement, so that one dip changes no volume; two do, one in the rest before and one in the
rest after. Nothing is told where both gauges and dips agree within their uncertainties. Pure.
"""

from collections.abc import Callable, Sequence
from typing import Final, NamedTuple

from inventory.movement import ByDips, Movement
from models.errors import OutOfRange

REST_MS: Final = 43_200_000
"""A dip further from a movement than this says nothing of it (ours)."""


class GaugeError(NamedTuple):
    """A dip held against the gauge at its own time. error_m: gauge less dip; explained: within both uncertainties."""

    time_ms: int
    error_m: float
    explained: bool


def by_dips(
    movement: Movement,
    free_from_ms: int,
    free_to_ms: int,
    told: Sequence[GaugeError],
    volume_m3: Callable[[float], float],
) -> ByDips:
    """What dips say of a final movement; nothing where none of them disagrees with the gauge.

    free_from_ms, free_to_ms: when the tank came to rest before it, and when it moved again. told: in order of time.
    volume_m3: the capacity table.
    """
    if movement.end_ms is None:
        return ByDips()
    low, high = max(free_from_ms, movement.start_ms - REST_MS), min(free_to_ms, movement.end_ms + REST_MS)
    before = [one for one in told if low <= one.time_ms <= movement.start_ms]
    after = [one for one in told if movement.end_ms <= one.time_ms < high]
    if all(one.explained for one in (*before[-1:], *after[:1])):
        return ByDips()
    start = movement.start.level_m - before[-1].error_m if before else None
    end = movement.end.level_m - after[0].error_m if after else None
    return ByDips(start, end, None if start is None or end is None else _between(volume_m3, start, end))


def _between(volume_m3: Callable[[float], float], start_m: float, end_m: float) -> float | None:
    try:
        return volume_m3(end_m) - volume_m3(start_m)
    except OutOfRange:
        return None
