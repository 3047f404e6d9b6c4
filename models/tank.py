"""A tank and its level loop: one poll of an instrument -> level -> volumes, with the trust that each deserves.

Pure and without memory: what depends on the past (a dwell, "just back from a fault") is judged elsewhere.
"""

from dataclasses import dataclass, field
from enum import StrEnum
from typing import Final, NamedTuple

from models.capacity import CapacityTable
from models.reading import OK, TIMEOUT, Bound, Quality, Reason, Sample
from models.signal import NE43_2003, Band, Ne43, span_fraction

DEFAULT_TOLERANCE_FRAC: Final = 0.0025
"""A loop's own tolerance, as a fraction of span (domain practice; a site may set its own)."""


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


class Volumes(NamedTuple):
    """What follows from an innage. Volumes are None where the level is off the capacity table."""

    tov_m3: float | None
    free_water_m3: float | None
    gov_m3: float | None
    volume_percent: float | None
    level_percent: float
    ullage_m: float


@dataclass(frozen=True, slots=True)
class Tank:
    """A tank as the site file describes it, in SI.

    level: the signal and its factor to mA, m or %, as `kind` says. at_4mA_m, at_20mA_m: what the loop measures (innage
    or distance) at its ends; both None for a digital length without a declared range. current_signal: where NE 43 is
    judged, None when the instrument does not tell its current. shell_expansion_per_degC: linear, None = no CTSh.
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
    water_from_dips: bool = False
    max_age_ms: int = 600_000
    tolerance_frac: float = DEFAULT_TOLERANCE_FRAC
    ne43: Ne43 = NE43_2003
    shell_expansion_per_degC: float | None = None
    shell_reference_degC: float = 15.0
    _ends: tuple[float, float] | None = field(init=False, repr=False, compare=False, default=None)
    _least_m: float = field(init=False, repr=False, compare=False, default=0.0)
    _most_m: float = field(init=False, repr=False, compare=False, default=0.0)

    def __post_init__(self) -> None:
        """What every poll would have to work out anew: the innages of the range, and where the table still holds."""
        ends = None
        if self.at_4mA_m is not None and self.at_20mA_m is not None:
            ends = self.innage_m(self.at_4mA_m), self.innage_m(self.at_20mA_m)
        slack = 1e-9 if ends is None else self.tolerance_frac * abs(ends[1] - ends[0]) + 1e-9
        object.__setattr__(self, "_ends", ends)
        object.__setattr__(self, "_least_m", self.table.bottom_m - slack)
        object.__setattr__(self, "_most_m", self.table.top_m + slack)

    @property
    def instrument(self) -> str:
        return self.level.instrument

    def innage_m(self, measured_m: float) -> float:
        """Innage from what the gauge measures. Source: API MPMS 3.1B, innage = reference height - ullage."""
        return measured_m if self.measures is Measures.INNAGE else self.reference_height_m - measured_m

    @property
    def range_m(self) -> tuple[float, float] | None:
        """Innages at 4 and at 20 mA; the first is the higher one where the loop works in reverse."""
        return self._ends

    def measure(self, sample: Sample) -> Measured:
        """Level and trust from one poll of this tank's instrument."""
        current = self._current_mA(sample)
        band = None if current is None else self.ne43.band(current)
        if self.level.signal not in sample.values:
            silent = sample.outcome in (TIMEOUT, OK)
            reason = Reason.NO_COMMUNICATION if silent else Reason.COMMUNICATION_ERROR
            return Measured(Quality.BAD, reason, band, current, None, Bound.NONE)
        value = sample.values[self.level.signal]
        if value is None:
            return Measured(Quality.BAD, Reason.OUT_OF_RANGE, band, current, None, Bound.NONE)
        if band is not None and not band.measures:
            return self._untrusted(band, current)
        value = value * self.level.factor + self.level.constant
        kind = self.kind
        if kind is LevelKind.CURRENT:
            return self._in_range(span_fraction(value), None, band, current)
        if kind is LevelKind.PERCENT:
            return self._in_range(value / 100, None, band, current)
        return self._in_range(self._fraction_of(value), self.innage_m(value), band, current)

    def _current_mA(self, sample: Sample) -> float | None:
        source = self.current_signal
        if source is None:
            return None
        value = sample.values.get(source.signal)
        return None if value is None else value * source.factor + source.constant

    def _untrusted(self, band: Band, current: float | None) -> Measured:
        """A current outside of 3.8-20.5 mA. The side of a full tank is never held back: at least 100 %."""
        if band in (Band.FAIL_LOW, Band.FAIL_HIGH):
            return Measured(Quality.BAD, Reason.SENSOR_FAILURE, band, current, None, Bound.NONE)
        ends = self._ends
        if ends is not None and (band is Band.GAP_HIGH) == (ends[1] > ends[0]):
            return Measured(Quality.BAD, Reason.OUT_OF_RANGE, band, current, max(ends), Bound.AT_LEAST)
        return Measured(Quality.BAD, Reason.OUT_OF_RANGE, band, current, None, Bound.NONE)

    def _fraction_of(self, measured_m: float) -> float | None:
        if self.at_4mA_m is None or self.at_20mA_m is None:
            return None
        return (measured_m - self.at_4mA_m) / (self.at_20mA_m - self.at_4mA_m)

    def _in_range(
        self, fraction: float | None, level_m: float | None, band: Band | None, current: float | None
    ) -> Measured:
        """A trusted signal: beyond 0 or 100 % by more than the loop's tolerance it is Uncertain."""
        quality, reason, bound = Quality.GOOD, Reason.NONE, Bound.NONE
        ends = self._ends
        if fraction is not None and ends is not None:
            at_4mA, at_20mA = ends
            if level_m is None:
                level_m = at_4mA + fraction * (at_20mA - at_4mA)
            beyond = max(-fraction, fraction - 1)
            if beyond > self.tolerance_frac + 1e-9:
                quality, reason = Quality.UNCERTAIN, Reason.UNITS_EXCEEDED
                if (fraction > 1) == (at_20mA > at_4mA):
                    level_m, bound = max(ends), Bound.AT_LEAST
        if level_m is None:
            return Measured(Quality.BAD, Reason.CONFIGURATION_ERROR, band, current, None, Bound.NONE)
        if quality is Quality.GOOD and not self._on_table(level_m):
            quality, reason = Quality.UNCERTAIN, Reason.UNITS_EXCEEDED
        return Measured(quality, reason, band, current, level_m, bound)

    def _on_table(self, level_m: float) -> bool:
        """On the table, or off it by no more than the loop's own tolerance: an empty tank reads 3.99 mA at times."""
        return self._least_m <= level_m <= self._most_m

    def volumes(self, level_m: float, water_m: float | None, liquid_degC: float | None) -> Volumes:
        """Volumes at an innage, in m and m3. Source: API MPMS 12.1.1 form, GOV = (TOV - FW) x CTSh.

        water_m: innage of free water; None leaves GOV out unless the tank has no water measurement at all. A level
        off the table by no more than the loop's tolerance counts as the table's end.
        """
        table = self.table
        level_percent = 100 * level_m / table.top_m
        ullage = self.reference_height_m - level_m
        if not self._least_m <= level_m <= self._most_m:
            return Volumes(None, None, None, None, level_percent, ullage)
        tov = table.volume_m3(min(max(level_m, table.bottom_m), table.top_m))
        free_water = self._free_water_m3(water_m)
        ctsh = self.ctsh(liquid_degC)
        gov = None if free_water is None or ctsh is None else max(0.0, tov - free_water) * ctsh
        return Volumes(tov, free_water, gov, 100 * tov / table.capacity_m3, level_percent, ullage)

    def _free_water_m3(self, water_m: float | None) -> float | None:
        if self.water is None and not self.water_from_dips:
            return 0.0  # "none": counts as 0 and is printed as not measured
        if water_m is None or water_m > self.table.top_m:
            return None
        return 0.0 if water_m <= self.table.bottom_m else self.table.volume_m3(water_m)

    def ctsh(self, liquid_degC: float | None) -> float | None:
        """Shell correction for temperature; 1 where no expansion is given, None where the temperature is missing.

        Source: API MPMS 12.1.1, CTSh = 1 + 2 a dT + a^2 dT^2 with the linear expansion a; the shell is taken to be as
        warm as the liquid, there being no ambient signal.
        """
        a = self.shell_expansion_per_degC
        if a is None:
            return 1.0
        if liquid_degC is None:
            return None
        dT = liquid_degC - self.shell_reference_degC
        return 1 + 2 * a * dT + a * a * dT * dT
