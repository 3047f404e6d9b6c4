"""When a limit is on: deadband, delay on the way in, delay on the way out, and what a bad reading may do.

Knows one tank's limits and the newest facts about it; refuses to know who acknowledges what. Delays are differences of
the tick's elapsed time, judged at ticks and nowhere between.

Source of deadband and delays: OPC UA Part 9, B.1.5 (on-delay filters short excursions; the deadband holds until the
value is inside by the deadband; an off-delay holds briefly). What a bad reading does is the house's rule: it raises and
clears nothing, stops the clock of a running on-delay and sets an off-delay back to its beginning.
"""

from collections.abc import Sequence
from typing import Final, NamedTuple

from alerts.errors import BadSetup
from alerts.spec import (
    LEVEL_HIGH_CONDITIONS,
    LEVEL_LOW_CONDITIONS,
    LOW_SIDE,
    RATE_CONDITIONS,
    UNDAMPED_CONDITIONS,
    Limit,
    TankAlarms,
)
from models.reading import Bound, Quality, Reading

TANK_CONDITIONS: Final[tuple[str, ...]] = (*LEVEL_HIGH_CONDITIONS, *LEVEL_LOW_CONDITIONS, *RATE_CONDITIONS)
"""The fixed order of a tank's conditions within one tick."""

PER_LEVEL: Final = "m/s"
PER_VOLUME: Final = "m3/s"

_FAMILIES: Final[tuple[tuple[str, ...], ...]] = (
    LEVEL_HIGH_CONDITIONS,
    tuple(reversed(LEVEL_LOW_CONDITIONS)),
    *((c,) for c in RATE_CONDITIONS),
)
"""Worst first: a limit that is on keeps the milder ones of its family on (high-high implies high, low-low low)."""

_SLACK: Final = 1e-9
"""Of the limit: a value that equals it on paper must not miss it by the last bit of a float."""


class TankFacts(NamedTuple):
    """What one tick says of a tank. Rates are positive while it fills, None where they are not known.

    receiving: the tank's state now or, when that is not known, the last known one. damped_m: the level after the tank's
    filter, None without one and where the level is not trusted; high-high and critical high never see it.
    """

    reading: Reading
    rise_m_per_s: float | None = None
    rise_m3_per_s: float | None = None
    receiving: bool = False
    damped_m: float | None = None


class Change(NamedTuple):
    """A condition that went on or off, with the value that it was judged by."""

    condition: str
    on: bool
    value: float | None


class LimitWatch:
    """One limit. Values are turned so that "worse" is always "greater", whichever side the limit is on."""

    __slots__ = ("_clock_ms", "_held_ms", "_off", "_off_delay_ms", "_on", "_on_delay_ms", "_sign", "active", "value")

    def __init__(self, limit: Limit) -> None:
        low = limit.condition in LOW_SIDE
        self._sign = -1.0 if low or limit.condition == "fall_fast" else 1.0
        at = -limit.at if low else limit.at
        slack = _SLACK * abs(at)
        self._on = at - slack
        self._off = at - limit.deadband - slack
        self._on_delay_ms = limit.on_delay_ms
        self._off_delay_ms = limit.off_delay_ms
        self._clock_ms: int | None = None  # elapsed time at which the running delay began
        self._held_ms = 0  # what a stopped on-delay has behind it
        self.active = False
        self.value: float | None = None

    @property
    def running(self) -> bool:
        """True while a delay runs, so that the coming ticks must judge it."""
        return self._clock_ms is not None

    def trusted(self, now_ms: int, value: float) -> None:
        """A value of Good or Uncertain quality."""
        self.said(now_ms, self._sign * value >= (self._off if self.active else self._on), value)

    def said(self, now_ms: int, on: bool, value: float | None) -> None:
        """Whether the condition is there, by somebody's verdict; the value is only shown."""
        self.value = value
        if self.active:
            if on:
                self._clock_ms = None
            elif self._clock_ms is None:
                self._clock_ms = now_ms
        elif not on:
            self._clock_ms, self._held_ms = None, 0
        elif self._clock_ms is None:
            self._clock_ms, self._held_ms = now_ms - self._held_ms, 0

    def at_least(self, now_ms: int, value: float | None) -> None:
        """A high limit, the level being no lower than `value` (None: than 100 %). It may raise, never clear."""
        if self.active or (value is not None and value < self._on):
            self.distrusted(now_ms)
            return
        self.value = value
        if self._clock_ms is None:
            self._clock_ms, self._held_ms = now_ms - self._held_ms, 0

    def distrusted(self, now_ms: int) -> None:
        """A bad reading, or none: an on-delay stands still, an off-delay will begin anew."""
        if self._clock_ms is not None and not self.active:
            self._held_ms = now_ms - self._clock_ms
        self._clock_ms = None

    def judge(self, now_ms: int) -> bool:
        """True when the running delay is over, and the limit thereby turned on or off."""
        delay_ms = self._off_delay_ms if self.active else self._on_delay_ms
        if self._clock_ms is None or now_ms - self._clock_ms < delay_ms:
            return False
        self.set_active(not self.active)
        return True

    def set_active(self, active: bool) -> None:
        """Put it on or off without a delay (by another limit, or from what was saved)."""
        self.active = active
        self._clock_ms, self._held_ms = None, 0


class TankWatch:
    """All limits of one tank. `take` what is new, then `judge` once for the tick."""

    __slots__ = ("_damped", "_families", "_highs", "_lows", "_rates", "_undamped", "_watches")

    def __init__(self, tank: TankAlarms) -> None:
        check_limits(tank)
        limits = {limit.condition: limit for limit in tank.limits}
        self._watches = {c: LimitWatch(limits[c]) for c in TANK_CONDITIONS if c in limits}
        self._highs = [self._watches[c] for c in LEVEL_HIGH_CONDITIONS if c in limits]
        self._undamped = [self._watches[c] for c in UNDAMPED_CONDITIONS if c in limits]
        self._damped = [watch for watch in self._highs if watch not in self._undamped]
        self._lows = [self._watches[c] for c in LEVEL_LOW_CONDITIONS if c in limits]
        self._rates = [(self._watches[c], limits[c].per == PER_LEVEL) for c in RATE_CONDITIONS if c in limits]
        self._families = [[(c, self._watches[c]) for c in family if c in limits] for family in _FAMILIES]

    @property
    def conditions(self) -> tuple[str, ...]:
        return tuple(self._watches)

    @property
    def running(self) -> bool:
        """True while any delay runs."""
        return any(watch.running for watch in self._watches.values())

    def set_active(self, condition: str, active: bool) -> None:
        """Take up what was saved."""
        self._watches[condition].set_active(active)

    def take(self, now_ms: int, facts: TankFacts) -> None:
        """One more reading of this tank, with the rates that were worked out for it."""
        reading = facts.reading
        level_m = reading.level_m
        trusted = reading.quality is not Quality.BAD
        damped_m = facts.damped_m
        if reading.bound is Bound.AT_LEAST:
            for watch in self._highs:
                watch.at_least(now_ms, level_m)
        elif damped_m is None:
            _take(self._highs, now_ms, level_m if trusted else None)
        else:
            _take(self._undamped, now_ms, level_m if trusted else None)
            _take(self._damped, now_ms, damped_m)
        if damped_m is None:
            damped_m = level_m if trusted else None
        _take(self._lows, now_ms, damped_m)
        for watch, by_level in self._rates:
            rate = facts.rise_m_per_s if by_level else facts.rise_m3_per_s
            if trusted and rate is not None:
                watch.trusted(now_ms, rate)
            else:
                watch.distrusted(now_ms)

    def judge(self, now_ms: int) -> list[Change]:
        """What went on or off at this tick, in the fixed order of conditions."""
        changed: set[str] = set()
        for family in self._families:
            worse_is_on = False
            for condition, watch in family:
                if worse_is_on:  # a milder limit is on while a worse one is: pulled on with it, not let go before it
                    if not watch.active:
                        watch.set_active(True)
                        changed.add(condition)
                elif watch.judge(now_ms):
                    changed.add(condition)
                worse_is_on = worse_is_on or watch.active
        if not changed:
            return []
        return [Change(c, w.active, w.value) for c, w in self._watches.items() if c in changed]


def _take(watches: Sequence[LimitWatch], now_ms: int, level_m: float | None) -> None:
    if level_m is None:
        for watch in watches:
            watch.distrusted(now_ms)
    else:
        for watch in watches:
            watch.trusted(now_ms, level_m)


def check_limits(tank: TankAlarms) -> None:
    """Raise `BadSetup`, naming tank and limit, for what cannot be judged. Whether limits are wise is not asked here."""
    seen: set[str] = set()
    for limit in tank.limits:
        where = f"tank {tank.tank}, limit {limit.condition}"
        if limit.condition not in TANK_CONDITIONS:
            raise BadSetup(f"{where}: no such limit; use one of {', '.join(TANK_CONDITIONS)}")
        if limit.condition in seen:
            raise BadSetup(f"{where}: given twice; keep one")
        seen.add(limit.condition)
        if limit.deadband < 0 or limit.on_delay_ms < 0 or limit.off_delay_ms < 0:
            raise BadSetup(f"{where}: deadband and delays must not be negative")
        if limit.condition in RATE_CONDITIONS:
            if limit.per not in (PER_LEVEL, PER_VOLUME):
                raise BadSetup(f"{where}: a rate is per {PER_LEVEL} or {PER_VOLUME}, not {limit.per!r}")
            if not limit.at > limit.deadband:
                raise BadSetup(f"{where}: {limit.at:g} must be positive and above its deadband {limit.deadband:g}")
        elif limit.per:
            raise BadSetup(f"{where}: a level limit takes no 'per' ({limit.per!r})")
