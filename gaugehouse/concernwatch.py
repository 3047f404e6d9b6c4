"""How much time a receipt leaves: judged against the levels of concern that the site set for its largest flow.

Knows one tank's high-high and critical high; refuses to know why it fills.
"""

from collections.abc import Sequence
from typing import Final

from alerts.conditions import TankFacts
from alerts.watched import Told
from gaugehouse.site import Site
from gaugehouse.sitefile.budget import budget_of
from models.reading import BAD, EXACT, Instant

SURELY_SD: Final = 2.0
"""A rate counts as too high when it is so by this many of its standard deviations: about 95 %."""

_PER_HOUR: Final = 3600.0


class ConcernWatch:
    """One tank. A tank that rests is told of once: most ticks have nothing new."""

    def __init__(self, tank: str, high_high_m: float, critical_m3: float) -> None:
        self._tank, self._high_high_m, self._critical_m3 = tank, high_high_m, critical_m3
        self._calm = False

    def tell(self, at: Instant, facts: TankFacts) -> Sequence[Told]:
        """Time to critical high while below high-high, and the least that the rate can be.

        The rise to critical high takes the response time at the largest flow when it starts from high-high: below it,
        less time than that means a faster flow than the limits were set for, or a level that is nearly there.
        """
        reading, tank = facts.reading, self._tank
        level_m, tov_m3, rate = reading.level_m, reading.tov_m3, reading.rate_m3_per_h
        if reading.quality is BAD or level_m is None or tov_m3 is None or rate is None or reading.bound is not EXACT:
            self._calm = False
            return Told(tank, "response_short"), Told(tank, "fill_rate_high")
        if not facts.receiving or rate <= 0:
            if self._calm:
                return ()
            self._calm = True
            return Told(tank, "response_short", None, False), Told(tank, "fill_rate_high", None, False)
        self._calm = False
        least = (rate - SURELY_SD * (reading.rate_sd_m3_per_h or 0.0)) / _PER_HOUR
        if level_m < self._high_high_m:
            short = Told(tank, "response_short", (self._critical_m3 - tov_m3) / (rate / _PER_HOUR))
        else:
            short = Told(tank, "response_short", None, False)
        return short, Told(tank, "fill_rate_high", least)


def concern_of(site: Site, tank: str) -> ConcernWatch | None:
    """The watch of a tank whose limits stand on a response time; None for any other."""
    if budget_of(site, tank) is None:
        return None
    levels = {limit.condition: limit.at for limit in site.alarms_of(tank).limits}
    table = site.tank(tank).table
    return ConcernWatch(tank, levels["high_high"], table.volume_m3(levels["critical_high"]))
