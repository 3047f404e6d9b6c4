"""What one tank remembers from poll to poll: trust, rates, whether it fills or empties, extremes, the last good level.

No I/O and no clock: time comes in with each tick.
"""

from typing import Any, Final, NamedTuple

from gaugehouse.days import Days
from gaugehouse.extremes import Extremes
from gaugehouse.standard import StandardVolume
from models.gauging import NO_STOCK, Extra, reading_of, volumes_of
from models.rate import Rate, SlopeWindow
from models.reading import Instant, Quality, Reading, Sample
from models.tank import Tank
from models.trust import TrustKeeper

LEAST_RATE_MS: Final = 60_000
LEAST_POLLS: Final = 10
HOLE_POLLS: Final = 3
STILL_M_PER_S: Final = 0.001 / 60
"""A surface slower than 1 mm/min is still: day and night move a tall tank by less (common practice, no source)."""

FILLING: Final = "filling"
EMPTYING: Final = "emptying"
STILL: Final = "still"


class Slopes(NamedTuple):
    """How fast a tank's level and volume rise over the alarm's own window; None where that cannot be told."""

    level_m_per_s: float | None
    volume_m3_per_s: float | None


NO_SLOPES: Final = Slopes(None, None)


class TankKeeper:
    """One tank's memory. `period_ms`: the poll period of its instrument on the site's clock. `level_rates`: whether any
    limit asks how fast the level rises."""

    def __init__(
        self,
        tank: Tank,
        days: Days,
        *,
        period_ms: int,
        rate_window_ms: int,
        level_rates: bool,
        standard: StandardVolume,
    ) -> None:
        self.tank = tank
        self.extremes = Extremes(days)
        self.latest: Reading | None = None
        self.last_good: Reading | None = None
        self.sample: Sample | None = None
        self.flow = ""
        self.slopes = NO_SLOPES
        self._trust = TrustKeeper()
        self._standard = standard
        hole = HOLE_POLLS * period_ms
        window = max(LEAST_RATE_MS, LEAST_POLLS * period_ms)
        self._rate = SlopeWindow(window, hole_ms=hole, least=LEAST_POLLS)
        own = max(rate_window_ms, LEAST_POLLS * period_ms)
        self._volume_slope = self._rate if own == window else SlopeWindow(own, hole_ms=hole, least=LEAST_POLLS)
        self._level_slope = SlopeWindow(own, hole_ms=hole, least=LEAST_POLLS) if level_rates else None

    def step(self, at: Instant, sample: Sample, temperature: Extra, water: Extra, *, frozen: bool) -> Reading:
        """The Reading of one poll; remembers what the next one needs."""
        measured = self.tank.measure(sample)
        trust = self._trust.judge(at.elapsed_ms, measured, frozen=frozen)
        volumes = volumes_of(self.tank, measured, trust, temperature, water)
        rate = None
        if volumes is None:
            self.slopes = NO_SLOPES
        else:
            rate = self._follow(at.elapsed_ms, measured.level_m, volumes.tov_m3, trust.quality)
        stock = NO_STOCK if volumes is None else self._standard(volumes.gov_m3, temperature.value)
        reading = reading_of(at, self.tank.id, measured, trust, temperature, water, volumes, stock, rate)
        if trust.quality is Quality.GOOD:
            self.last_good = reading
        self.extremes.add(reading)
        self.latest, self.sample = reading, sample
        return reading

    def _follow(self, elapsed_ms: int, level_m: float | None, tov_m3: float | None, quality: Quality) -> Rate | None:
        """Take a level into the rates; gives the rate of TOV. Only Good samples count, a Bad one has no rate."""
        if quality is Quality.GOOD and level_m is not None and tov_m3 is not None:
            self._rate.add(elapsed_ms, tov_m3)
            if self._volume_slope is not self._rate:
                self._volume_slope.add(elapsed_ms, tov_m3)
            if self._level_slope is not None:
                self._level_slope.add(elapsed_ms, level_m)
        if quality is Quality.BAD:
            self.slopes = NO_SLOPES
            return None
        rate = self._rate.rate(elapsed_ms)
        volume = rate if self._volume_slope is self._rate else self._volume_slope.rate(elapsed_ms)
        level = None if self._level_slope is None else self._level_slope.rate(elapsed_ms)
        self.slopes = Slopes(None if level is None else level.per_s, None if volume is None else volume.per_s)
        if rate is not None:
            self.flow = self._flow(level_m or 0.0, rate)
        return rate

    def _flow(self, level_m: float, rate: Rate) -> str:
        least = max(STILL_M_PER_S * self.tank.table.area_m2(level_m), 3 * rate.sd_per_s)
        if abs(rate.per_s) <= least:
            return STILL
        return FILLING if rate.per_s > 0 else EMPTYING

    def save(self) -> dict[str, Any]:
        """What outlives a restart; the rates are measured anew."""
        return {"trust": self._trust.save(), "extremes": self.extremes.save(), "flow": self.flow}

    def restore(self, state: dict[str, Any]) -> None:
        self._trust.restore(state["trust"])
        self.extremes.restore(state["extremes"])
        self.flow = state["flow"]
