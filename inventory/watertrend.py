"""The trend of a water cut: by how much it rises a day, from signal and dips, drains taken out.

A drain is a step down that says nothing of the rise; between drains the cut rises with one slope. So the slope is
fitted within the stretches between drains, each with a level of its own. Values are a day's each (a signal by its
median), so that a thousand readings of one afternoon do not pose as a thousand witnesses. No I/O, no clock.
"""

import math
from collections.abc import Sequence
from typing import Final, NamedTuple

DAY_MS: Final = 86_400_000
LEAST_POINTS: Final = 5
LEAST_DAYS: Final = 3.0
"""Below these nothing is said. Our own choice."""

COVERAGE: Final = 2.0


class Cut(NamedTuple):
    """A water cut. source: "signal" or "dip"."""

    time_ms: int
    water_m: float
    source: str


class Trend(NamedTuple):
    """slope in m a day with its standard error; None with `why` where it cannot be told."""

    slope_m_per_day: float | None
    standard_error_m_per_day: float | None
    points: int
    stretches: int
    days: float
    why: str

    @property
    def rises(self) -> bool | None:
        """Whether it rises by more than two standard errors; None where that is not known."""
        if self.slope_m_per_day is None or self.standard_error_m_per_day is None:
            return None
        return self.slope_m_per_day > COVERAGE * self.standard_error_m_per_day


def trend(cuts: Sequence[Cut], drains_ms: Sequence[int]) -> Trend:
    """The common slope of all stretches between drains. drains_ms: when water was drained, in any order."""
    points = sorted(cuts)
    stretches = [part for part in _split(points, sorted(drains_ms)) if len(part) >= 2]
    used = [cut for part in stretches for cut in part]
    count = len(used)
    days = (used[-1].time_ms - used[0].time_ms) / DAY_MS if used else 0.0
    if count < LEAST_POINTS or days < LEAST_DAYS:
        why = f"{count} cuts over {days:.1f} days; a slope is told from {LEAST_POINTS} over {LEAST_DAYS:g} days on"
        return Trend(None, None, count, len(stretches), days, why)
    sxx = sxy = syy = 0.0
    for part in stretches:
        xs, ys = [cut.time_ms / DAY_MS for cut in part], [cut.water_m for cut in part]
        mean_x, mean_y = math.fsum(xs) / len(part), math.fsum(ys) / len(part)
        sxx += math.fsum((x - mean_x) ** 2 for x in xs)
        syy += math.fsum((y - mean_y) ** 2 for y in ys)
        sxy += math.fsum((x - mean_x) * (y - mean_y) for x, y in zip(xs, ys, strict=True))
    free = count - len(stretches) - 1
    if free < 1 or sxx <= 0:
        return Trend(None, None, count, len(stretches), days, "too few cuts between drains to tell a slope")
    slope = sxy / sxx
    residual = max(0.0, syy - slope * sxy)
    return Trend(slope, math.sqrt(residual / free / sxx), count, len(stretches), days, "")


def _split(cuts: Sequence[Cut], drains_ms: Sequence[int]) -> list[list[Cut]]:
    parts: list[list[Cut]] = [[]]
    waiting = list(drains_ms)
    for cut in cuts:
        while waiting and waiting[0] <= cut.time_ms:
            waiting.pop(0)
            if parts[-1]:
                parts.append([])
        parts[-1].append(cut)
    return parts
