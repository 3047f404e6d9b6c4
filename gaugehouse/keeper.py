"""What one tank remembers from poll to poll: trust, rates, whether it fills or empties, extremes, the last good level,
since when nothing has flowed in.

No I/O and no clock: time comes in with each tick.
"""

from typing import Any, Final, NamedTuple

from gaugehouse.days import Days
from gaugehouse.extremes import Extremes
from models.filters import FilterSpec, LevelFilter
from models.gauging import Extra, Gauged, gauged, gauging_of, reading_of
from models.rate import Rate, SlopeWindow
from models.reading import BAD, EXACT, GOOD, Instant, Quality, Reading, Sample
from models.stock import StockModel
from models.stock_budget import AFTER_RECEIPT, AT_REST, Rest
from models.tank import Tank
from models.trust import TrustKeeper
from models.uncertainty import Budget

LEAST_RATE_MS: Final = 60_000
LEAST_POLLS: Final = 10
HOLE_POLLS: Final = 3
STILL_M_PER_S: Final = 0.001 / 60
"""A surface slower than 1 mm/min is still: day and night move a tall tank by less (common practice, no source)."""

UNWATCHED_MS: Final = 600_000
"""After so long without a level nobody knows whether something flowed in."""

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
    limit asks how fast the level rises. `at_rest_after_ms`: how long after a receipt the liquid counts as at rest.
    `filter_spec`: of the level that the milder limits are judged on; what is read, stored and booked is undamped."""

    def __init__(
        self,
        tank: Tank,
        days: Days,
        *,
        period_ms: int,
        rate_window_ms: int,
        level_rates: bool,
        stock: StockModel,
        at_rest_after_ms: int,
        filter_spec: FilterSpec | None = None,
    ) -> None:
        self.tank = tank
        self.extremes = Extremes(days)
        self.latest: Reading | None = None
        self.last_good: Reading | None = None
        self.sample: Sample | None = None
        self.flow = ""
        self.flowed: tuple[int, int] | None = None  # site's time of the newest stretch that flowed: first and last seen
        self.slopes = NO_SLOPES
        self.seen_since_ms: int | None = None  # site's time since when nothing could flow unseen
        self.stock = stock
        self.known: Gauged | None = None
        self.damped_m: float | None = None
        self._trust = TrustKeeper()
        self._at_rest_after_ms = at_rest_after_ms
        self._level_ms: int | None = None  # elapsed time of the last level, and of the last one that was rising
        self._receiving_ms = 0
        self._stopped_ms: int | None = None  # site's time of the last reading before a restart, until the next level
        hole = HOLE_POLLS * period_ms
        self._filter = None if filter_spec is None else LevelFilter(filter_spec, hole)
        window = max(LEAST_RATE_MS, LEAST_POLLS * period_ms)
        self._rate = SlopeWindow(window, hole_ms=hole, least=LEAST_POLLS)
        own = max(rate_window_ms, LEAST_POLLS * period_ms)
        self._volume_slope = self._rate if own == window else SlopeWindow(own, hole_ms=hole, least=LEAST_POLLS)
        self._level_slope = SlopeWindow(own, hole_ms=hole, least=LEAST_POLLS) if level_rates else None

    def step(
        self,
        at: Instant,
        sample: Sample,
        temperature: Extra,
        water: Extra,
        ambient: Extra,
        *,
        frozen: bool,
        checked: bool = False,
    ) -> Reading:
        """The Reading of one poll; remembers what the next one needs. `checked`: a loop check is under way."""
        measured = self.tank.measure(sample)
        if checked:  # not even a bound: the current is somebody's, not the level's
            measured = measured._replace(level_m=None, bound=EXACT)
        trust = self._trust.judge(at.elapsed_ms, measured, frozen=frozen, checked=checked)
        gauging = gauging_of(measured, trust, temperature, water, ambient)
        known = self.known = gauged(self.stock, gauging, self._rest(at, trust.quality))
        rate = self._follow(at.elapsed_ms, known, trust.quality)
        if rate is not None and self.flow != STILL:
            self._flows(at.time_ms)
        u95_m3 = self.stock.u95_m3(known.quantities, gauging, known.rest)
        reading = reading_of(at, self.tank, measured, trust, known, u95_m3, rate)
        if trust.quality is GOOD:
            self.last_good = reading
        if self._filter is not None:
            level_m = None if trust.quality is BAD else reading.level_m
            self.damped_m = None if level_m is None else self._filter.add(at.elapsed_ms, at.time_ms, level_m)
        self.extremes.add(reading)
        self.latest, self.sample = reading, sample
        return reading

    def budget(self) -> Budget | None:
        """The uncertainty of the newest standard volume, term by term; None where there is none."""
        known = self.known
        return None if known is None else self.stock.budget(known.quantities, known.gauging, known.rest)

    def _rest(self, at: Instant, quality: Quality) -> Rest:
        """Whether the liquid has stood long enough to lie in layers; not known to have is taken as "has not".

        Elapsed time stands still while the daemon is down, so that across a restart the site's clock is asked.
        """
        elapsed_ms = at.elapsed_ms
        if quality is not BAD:
            lost = self._level_ms is None or elapsed_ms - self._level_ms > UNWATCHED_MS
            if self._stopped_ms is not None:
                lost = lost or at.time_ms - self._stopped_ms > UNWATCHED_MS
                self._stopped_ms = None
            if lost:
                self.seen_since_ms = at.time_ms
            if lost or self.flow == FILLING:
                self._receiving_ms = elapsed_ms
            self._level_ms = elapsed_ms
        return AT_REST if elapsed_ms - self._receiving_ms >= self._at_rest_after_ms else AFTER_RECEIPT

    def _follow(self, elapsed_ms: int, known: Gauged, quality: Quality) -> Rate | None:
        """Take a level into the rates; gives the rate of TOV. Only Good samples count, a Bad one has no rate."""
        if quality is BAD:
            self.slopes = NO_SLOPES
            return None
        level_m, tov_m3, area_m2, *_ = known.quantities
        if quality is GOOD and level_m is not None and tov_m3 is not None:
            self._rate.add(elapsed_ms, tov_m3)
            if self._volume_slope is not self._rate:
                self._volume_slope.add(elapsed_ms, tov_m3)
            if self._level_slope is not None:
                self._level_slope.add(elapsed_ms, level_m)
        rate = self._rate.rate(elapsed_ms)
        volume = None if rate is None else rate.per_s
        if self._volume_slope is not self._rate:
            volume = self._volume_slope.slope(elapsed_ms)
        level = None if self._level_slope is None else self._level_slope.slope(elapsed_ms)
        self.slopes = Slopes(level, volume)
        if rate is not None:
            self.flow = self._flow(self.tank.table.area_m2(level_m or 0.0) if area_m2 is None else area_m2, rate)
        return rate

    def _flow(self, area_m2: float, rate: Rate) -> str:
        least = max(STILL_M_PER_S * area_m2, 3 * rate.sd_per_s)
        if abs(rate.per_s) <= least:
            return STILL
        return FILLING if rate.per_s > 0 else EMPTYING

    def _flows(self, time_ms: int) -> None:
        """The tank fills or empties now."""
        before = self.flowed
        goes_on = before is not None and 0 <= time_ms - before[1] <= UNWATCHED_MS
        self.flowed = (before[0] if before is not None and goes_on else time_ms, time_ms)

    def doubt(self) -> None:
        """A loop check has ended: the level comes back as it does after a fault."""
        self._trust.doubt()

    def save(self) -> dict[str, Any]:
        """What outlives a restart; the rates are measured anew."""
        saved = {
            "trust": self._trust.save(),
            "extremes": self.extremes.save(),
            "flow": self.flow,
            "flowed": self.flowed,
            "seen": self.seen_since_ms,
            "level": self._level_ms,
            "receiving": self._receiving_ms,
            "time": self._stopped_ms if self.latest is None else self.latest.time_ms,
        }
        if self._filter is not None:
            saved["filter"] = self._filter.save()
        return saved

    def restore(self, state: dict[str, Any]) -> None:
        self._trust.restore(state["trust"])
        self.extremes.restore(state["extremes"])
        self.flow = state["flow"]
        self.seen_since_ms = state.get("seen")
        flowed = state.get("flowed")
        self.flowed = None if flowed is None else (flowed[0], flowed[1])
        self._level_ms, self._receiving_ms = state.get("level"), state.get("receiving", 0)
        self._stopped_ms = state.get("time")
        if self._filter is not None:
            self._filter.restore(state.get("filter"))
