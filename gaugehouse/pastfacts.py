"""Kept readings as the alarm room's facts: what the limits of a tank would have been judged by.

Knows readings, rates and the tank's filter; a reading keeps no loop fault's cause and no signal of a point, so that
conditions that rest on those can be judged again from a recording only.
"""

import heapq
from collections.abc import Iterable, Iterator, Mapping
from itertools import groupby
from operator import attrgetter
from typing import NamedTuple

from alerts.conditions import TankFacts
from gaugehouse.keeper import HOLE_POLLS, LEAST_POLLS, LEAST_RATE_MS, STILL_M_PER_S
from gaugehouse.site import Site
from models.filters import LevelFilter
from models.rate import SlopeWindow
from models.reading import Instant, Quality, Reading


class PastTick(NamedTuple):
    """The readings of one tick, as facts."""

    at: Instant
    facts: list[TankFacts]


class _Past:
    """One tank's rates and filtered level over its kept readings, as `gaugehouse.keeper` works them out live."""

    def __init__(self, site: Site, tank: str) -> None:
        model = site.tank(tank)
        period_ms = site.period_ms[model.instrument]
        hole = HOLE_POLLS * period_ms
        own = max(site.rate_window_ms[tank], LEAST_POLLS * period_ms)
        spec = site.extras[tank].filter
        self._table = model.table
        self._rate = SlopeWindow(max(LEAST_RATE_MS, LEAST_POLLS * period_ms), hole_ms=hole, least=LEAST_POLLS)
        self._volume = SlopeWindow(own, hole_ms=hole, least=LEAST_POLLS)
        self._level = SlopeWindow(own, hole_ms=hole, least=LEAST_POLLS)
        self._filter = None if spec is None else LevelFilter(spec, hole)
        self._receiving = False

    def facts(self, elapsed_ms: int, reading: Reading) -> TankFacts:
        level_m, tov_m3 = reading.level_m, reading.tov_m3
        if reading.quality is Quality.BAD:
            return TankFacts(reading, None, None, self._receiving, None)
        if reading.quality is Quality.GOOD and level_m is not None and tov_m3 is not None:
            self._rate.add(elapsed_ms, tov_m3)
            self._volume.add(elapsed_ms, tov_m3)
            self._level.add(elapsed_ms, level_m)
        rate = self._rate.rate(elapsed_ms)
        if rate is not None:
            least = max(STILL_M_PER_S * self._table.area_m2(self._table.nearest_m(level_m or 0.0)), 3 * rate.sd_per_s)
            self._receiving = rate.per_s > least
        damped = None
        if self._filter is not None and level_m is not None:
            damped = self._filter.add(elapsed_ms, reading.time_ms, level_m)
        level, volume = self._level.slope(elapsed_ms), self._volume.slope(elapsed_ms)
        return TankFacts(reading, level, volume, self._receiving, damped)


def past_ticks(site: Site, readings: Mapping[str, Iterable[Reading]]) -> Iterator[PastTick]:
    """The ticks that kept readings of tanks came from, in their order. readings: by tank, each in the order of seq."""
    pasts = {tank: _Past(site, tank) for tank in readings}
    elapsed_ms, last_ms = 0, None
    for seq, group in groupby(heapq.merge(*readings.values(), key=attrgetter("seq")), key=attrgetter("seq")):
        together = list(group)
        time_ms = together[0].time_ms
        elapsed_ms += 0 if last_ms is None else max(0, time_ms - last_ms)
        last_ms = time_ms
        yield PastTick(Instant(seq, time_ms, elapsed_ms), [pasts[r.tank].facts(elapsed_ms, r) for r in together])
