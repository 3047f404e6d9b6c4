"""A tank and its level loop: one poll of an instrument -> level, with the trust that it deserves.

Pure and without memory: what depends on the past (a dwell, "just back from a fault") is judged elsewhere, and what
follows from a level is of `models.quantity`.
"""

from dataclasses import dataclass, field
from enum import StrEnum
from typing import Final, NamedTuple

from models.capacity import CapacityTable
from models.liquidhead import LiquidHeadCorrection
from models.quantity import Shell, Vessel
from models.reading import BAD, EXACT, GOOD, NO_REASON, OK, TIMEOUT, UNCERTAIN, Bound, Quality, Reason, Sample
from models.roof import FloatingRoof
from models.signal import NE43_2003, SPAN_MA, ZERO_MA, Band, Ne43, span_fraction

DEFAULT_TOLERANCE_FRAC: Final = 0.0025
"""A loop's own tolerance, as a fraction of span (domain practice; a site may set its own)."""


UNDER_RANGE_FRAC: Final = 0.0125
"""3.8 mA as a fraction of span below 0 %: where NE 43 ends the measuring range."""


class LevelKind(StrEnum):
    """What the level signal carries."""

    CURRENT = "current"  # mA on the loop
    LENGTH = "length"  # metres, already linear
    PERCENT = "percent"  # percent of the range at_4mA..at_20mA


class Measures(StrEnum):
    INNAGE = "innage"  # height of liquid above the datum plate
    DISTANCE = "distance"  # from the gauge's reference point down to the surface


class Linear(NamedTuple):
    """A signal of an instrument, and how its declared unit becomes ours: ours = factor * value + constant."""

    instrument: str
    signal: str
    factor: float = 1.0
    constant: float = 0.0


class Measured(NamedTuple):
    """What one poll says of the level by itself. `level_m` is None where it says nothing."""

    quality: Quality
    reason: Reason
    band: Band | None
    current_mA: float | None
    level_m: float | None
    bound: Bound


@dataclass(frozen=True, slots=True)
class Tank:
    """A tank as the site file describes it, in SI.

    level: the signal and its factor to mA, m or %, as `kind` says. at_4mA_m, at_20mA_m: what the loop measures (innage
    or distance) at its ends; both None for a digital length without a declared range. current_signal: where NE 43 is
    judged, None when the instrument does not tell its current. shell: None = no CTSh. ambient: the air at the tank.
    """

    id: str
    name: str
    product: str
    level: Linear
    kind: LevelKind
    measures: Measures
    table: CapacityTable
    reference_height_m: float
    at_4mA_m: float | None = None
    at_20mA_m: float | None = None
    current_signal: Linear | None = None
    temperature: Linear | None = None
    water: Linear | None = None
    ambient: Linear | None = None
    water_from_dips: bool = False
    max_age_ms: int = 600_000
    tolerance_frac: float = DEFAULT_TOLERANCE_FRAC
    ne43: Ne43 = NE43_2003
    shell: Shell | None = None
    roof: FloatingRoof | None = None
    pressure_kPa: float = 0.0
    head: LiquidHeadCorrection | None = None
    vessel: Vessel = field(init=False, repr=False, compare=False)
    _ends: tuple[float, float] | None = field(init=False, repr=False, compare=False, default=None)
    _low_frac: float = field(init=False, repr=False, compare=False, default=0.0)
    _high_frac: float = field(init=False, repr=False, compare=False, default=1.0)
    _least_m: float = field(init=False, repr=False, compare=False, default=0.0)
    _most_m: float = field(init=False, repr=False, compare=False, default=0.0)
    _floor_m: float = field(init=False, repr=False, compare=False, default=0.0)

    def __post_init__(self) -> None:
        """What every poll would have to work out anew: the innages of the range, and where the table still holds."""
        ends = None
        if self.at_4mA_m is not None and self.at_20mA_m is not None:
            ends = self.innage_m(self.at_4mA_m), self.innage_m(self.at_20mA_m)
        slack = 0.0 if ends is None else self.tolerance_frac * abs(ends[1] - ends[0])
        measured = self.water is not None or self.water_from_dips
        vessel = Vessel(
            self.table, self.reference_height_m, self.shell, self.roof, measured, slack, self.pressure_kPa, self.head
        )
        object.__setattr__(self, "_ends", ends)
        object.__setattr__(self, "vessel", vessel)
        object.__setattr__(self, "_low_frac", -self.tolerance_frac - 1e-9)
        object.__setattr__(self, "_high_frac", 1 + self.tolerance_frac + 1e-9)
        object.__setattr__(self, "_least_m", vessel.least_m)
        object.__setattr__(self, "_most_m", vessel.most_m)
        span = self.table.top_m - self.table.bottom_m if ends is None else abs(ends[1] - ends[0])
        object.__setattr__(self, "_floor_m", self.table.bottom_m - max(slack, UNDER_RANGE_FRAC * span) - 1e-9)

    @property
    def floor_m(self) -> float:
        """A digital level below this innage, in m, is no level: as far below the bottom as 3.8 mA is below 4 mA."""
        return self._floor_m

    @property
    def instrument(self) -> str:
        return self.level.instrument

    def innage_m(self, measured_m: float) -> float:
        """Innage from what the gauge measures. Source: API MPMS 3.1B, innage = reference height - ullage."""
        return measured_m if self.measures is Measures.INNAGE else self.reference_height_m - measured_m

    def shown_fraction(self, sample: Sample) -> float | None:
        """What the level signal says as a fraction of the loop's range, as it is: beyond 0 and 1 too, and whatever the
        current says. None where it says nothing or the range is not known."""
        value = sample.values.get(self.level.signal)
        if value is None or self._ends is None:
            return None
        value = value * self.level.factor + self.level.constant
        match self.kind:
            case LevelKind.CURRENT:
                return span_fraction(value)
            case LevelKind.PERCENT:
                return value / 100
        return self._fraction_of(value)

    @property
    def range_m(self) -> tuple[float, float] | None:
        """Innages at 4 and at 20 mA; the first is the higher one where the loop works in reverse."""
        return self._ends

    def measure(self, sample: Sample) -> Measured:
        """Level and trust from one poll of this tank's instrument."""
        values, source, level = sample.values, self.current_signal, self.level
        current, band = None, None
        if source is not None:
            value = values.get(source.signal)
            if value is not None:
                current = value * source.factor + source.constant
                band = self.ne43.band(current)
        if band is not None and not band.measures:
            return self._untrusted(band, current)
        if level.signal not in values:
            silent = sample.outcome in (TIMEOUT, OK)
            reason = Reason.NO_COMMUNICATION if silent else Reason.COMMUNICATION_ERROR
            return Measured(BAD, reason, band, current, None, EXACT)
        value = values[level.signal]
        if value is None:
            return Measured(BAD, Reason.OUT_OF_RANGE, band, current, None, EXACT)
        value = value * level.factor + level.constant
        kind = self.kind
        if kind is LevelKind.CURRENT:
            return self._in_range(span_fraction(value), None, band, current)
        if kind is LevelKind.PERCENT:
            return self._percent(value / 100, band, current)
        return self._digital(value, band, current)

    def _percent(self, fraction: float, band: Band | None, current: float | None) -> Measured:
        """A percent of the range is made of the loop's current, so that NE 43 holds for it too: 0 mA reads -25 %."""
        if band is None:
            band = self.ne43.band(ZERO_MA + SPAN_MA * fraction)
            if not band.measures:
                return self._untrusted(band, None)
        return self._beyond_by_current(band, current, None) or self._in_range(fraction, None, band, current)

    def _digital(self, value: float, band: Band | None, current: float | None) -> Measured:
        """A level that is a length already. What lies far below the tank's bottom is no level at all."""
        level_m = self.innage_m(value)
        if level_m < self._floor_m:
            return Measured(BAD, Reason.OUT_OF_RANGE, band, current, None, EXACT)
        return self._beyond_by_current(band, current, level_m) or self._in_range(
            self._fraction_of(value), level_m, band, current
        )

    def _beyond_by_current(self, band: Band | None, current: float | None, level_m: float | None) -> Measured | None:
        """The loop is beyond its 100 %, whatever another register says of the level: at least what 20 mA means."""
        if band is not Band.OVER_RANGE or current is None or span_fraction(current) <= self._high_frac:
            return None
        ends = self._ends
        if ends is None:
            return Measured(UNCERTAIN, Reason.UNITS_EXCEEDED, band, current, level_m, Bound.AT_LEAST)
        if ends[0] > ends[1]:
            return None
        least = ends[1] if level_m is None else max(ends[1], level_m)
        return Measured(UNCERTAIN, Reason.UNITS_EXCEEDED, band, current, least, Bound.AT_LEAST)

    def _untrusted(self, band: Band, current: float | None) -> Measured:
        """A current outside of 3.8-20.5 mA. The side of a full tank is never held back: at least 100 %."""
        if band in (Band.FAIL_LOW, Band.FAIL_HIGH):
            return Measured(BAD, Reason.SENSOR_FAILURE, band, current, None, EXACT)
        ends = self._ends
        if ends is None and band is Band.GAP_HIGH:
            return Measured(BAD, Reason.OUT_OF_RANGE, band, current, None, Bound.AT_LEAST)
        if ends is not None and (band is Band.GAP_HIGH) == (ends[1] > ends[0]):
            return Measured(BAD, Reason.OUT_OF_RANGE, band, current, max(ends), Bound.AT_LEAST)
        return Measured(BAD, Reason.OUT_OF_RANGE, band, current, None, EXACT)

    def _fraction_of(self, measured_m: float) -> float | None:
        if self.at_4mA_m is None or self.at_20mA_m is None:
            return None
        return (measured_m - self.at_4mA_m) / (self.at_20mA_m - self.at_4mA_m)

    def _in_range(
        self, fraction: float | None, level_m: float | None, band: Band | None, current: float | None
    ) -> Measured:
        """A trusted signal: beyond 0 or 100 % by more than the loop's tolerance, or off the table, it is Uncertain."""
        ends = self._ends
        if fraction is not None and ends is not None:
            at_4mA, at_20mA = ends
            if level_m is None:
                level_m = at_4mA + fraction * (at_20mA - at_4mA)
            if not self._low_frac <= fraction <= self._high_frac:
                bound = EXACT
                if (fraction > 1) == (at_20mA > at_4mA):
                    level_m, bound = max(ends), Bound.AT_LEAST
                return Measured(UNCERTAIN, Reason.UNITS_EXCEEDED, band, current, level_m, bound)
        elif level_m is None:
            return Measured(BAD, Reason.CONFIGURATION_ERROR, band, current, None, EXACT)
        if self._least_m <= level_m <= self._most_m:
            return Measured(GOOD, NO_REASON, band, current, level_m, EXACT)
        return Measured(UNCERTAIN, Reason.UNITS_EXCEEDED, band, current, level_m, EXACT)
