"""Dips and density samples: what a person read by hand, and whether the readings agree with each other.

Knows the rules of repeat readings, of tape and reference height, and how a dip is held against the gauge; refuses to
know who asks and what is kept. Heights in m above the datum plate unless they are called ullages. No I/O, no clock.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Any, Final, NamedTuple

from models.density import CERTIFICATE_LIMIT_KGPM3
from models.uncertainty import COVERAGE

DAY_MS: Final = 86_400_000
ROUNDING_M: Final = 1e-7
"""Two heights that differ by less are the same height, written in other units."""


class Method(StrEnum):
    """What the tape was read on: the wet height above the datum plate, or the dry one below the reference point."""

    INNAGE = "innage"
    ULLAGE = "ullage"


class Purpose(StrEnum):
    """What a dip is for: the stock, or the gauge, which asks for readings that lie closer together."""

    STOCK = "stock"
    VERIFY = "verify"


class Within(NamedTuple):
    """So many (`readings`) newest readings that lie no further apart than this."""

    readings: int
    within_m: float


THREE_WITHIN_M: Final = 0.003
"""API MPMS 3.1A: two identical readings, or three within 3 mm (from memory)."""

VERIFY_RULE: Final = (Within(3, 0.001), Within(5, 0.004))
"""API MPMS 3.1B (2001), section 6: ullages to set a gauge by, 3 within 1 mm or 5 within 4 mm."""

REFERENCE_RULE: Final = (Within(3, 0.001), Within(5, 0.003))
"""The same, of the reference height: 3 within 1 mm or 5 within 3 mm."""

REFERENCE_OFF_M: Final = 0.002
"""The same: a reference height further than this from that of the calibration stops the work."""

HMRC_LIMIT_M: Final = 0.008
HMRC_DOUBT_M: Final = 0.002
STEEL_PER_DEGC: Final = 11.2e-6
"""Linear expansion of a steel tape (mild steel, secondary)."""


@dataclass(frozen=True, slots=True)
class DipRules:
    """How a site dips. The defaults are those of the texts that are named beside them.

    three_within_m: how far apart three readings of one dip may lie. relaxation_ms: no dip or sample before it after
    flow has stopped (30 min: API RP 2003, NFPA 77, from memory). waited_by_name: a named person may say that it was
    kept. water_max_age_ms: how long a water dip stands for the tank's water (ours). every_ms: how often gauge and dip
    are compared (monthly: UK HMRC HCOTEG176750). limit_m: how near the gauge must come to the dip (8 mm: the same).
    doubt_m: limits of error of one dip (2 mm: HCOTEG152790). certificate_kgpm3: a sample against its certificate.
    tape_degC: at which a tape is true (20 degC: common practice, no source).
    """

    three_within_m: float = THREE_WITHIN_M
    relaxation_ms: int = 1_800_000
    waited_by_name: bool = False
    water_max_age_ms: int = 129_600_000
    every_ms: int = 31 * DAY_MS
    limit_m: float = HMRC_LIMIT_M
    limit_source: str = "UK HMRC HCOTEG176750"
    doubt_m: float = HMRC_DOUBT_M
    certificate_kgpm3: float = CERTIFICATE_LIMIT_KGPM3
    tape_degC: float = 20.0

    def repeats(self, purpose: Purpose) -> tuple[Within, ...]:
        """The rule of repeat readings."""
        return VERIFY_RULE if purpose is Purpose.VERIFY else (Within(2, 0.0), Within(3, self.three_within_m))


class Repeated(NamedTuple):
    """What repeat readings come to. value_m None: they do not agree yet, and `words` says what is missing."""

    value_m: float | None
    spread_m: float
    words: str


def repeated(readings_m: Sequence[float], rule: Sequence[Within]) -> Repeated:
    """The newest readings against a rule of repeat readings: their mean where they agree."""
    for count, within_m in rule:
        newest = readings_m[-count:]
        spread = max(newest, default=0.0) - min(newest, default=0.0)
        if len(newest) == count and spread <= within_m + ROUNDING_M:
            return Repeated(math.fsum(newest) / count, spread, _agreed(count, within_m))
    asked = " or ".join(_asked(*one) for one in rule)
    spread = max(readings_m, default=0.0) - min(readings_m, default=0.0)
    if len(readings_m) < rule[0].readings:
        return Repeated(None, spread, f"take {asked}")
    word = f"the readings do not repeat yet (they lie {1000 * spread:.1f} mm apart): take another, the newest count"
    return Repeated(None, spread, f"{word}; asked for are {asked}")


def _agreed(readings: int, within_m: float) -> str:
    return (
        f"{readings} identical readings"
        if within_m == 0
        else f"mean of {readings} readings within {1000 * within_m:g} mm"
    )


def _asked(readings: int, within_m: float) -> str:
    return f"{readings} identical readings" if within_m == 0 else f"{readings} readings within {1000 * within_m:g} mm"


def tape_factor(tape_degC: float | None, true_at_degC: float) -> float:
    """What a length read on a steel tape is multiplied by: 1 + a (t - t0). None, as warm as when it was calibrated."""
    return 1.0 if tape_degC is None else 1 + STEEL_PER_DEGC * (tape_degC - true_at_degC)


def innage_m(read_m: float, method: Method, reference_height_m: float, factor: float = 1.0) -> float:
    """Source: API MPMS 3.1B, innage = reference height - ullage. factor: of the tape."""
    read_m *= factor
    return read_m if method is Method.INNAGE else reference_height_m - read_m


def dip_standard_m(doubt_m: float, spread_m: float) -> float:
    """Standard uncertainty of a dip: its limits of error, and half of what its readings lie apart, both rectangular."""
    return math.hypot(doubt_m, spread_m / 2) / math.sqrt(3)


@dataclass(frozen=True, slots=True)
class Dip:
    """One dip. What was not measured is None; one of level, water and temperature was.

    number: the site's own, rising. time_ms: when it was taken, entered_ms: when it was written down, UTC. readings_m:
    as read, in order. level_m: the innage that they come to, tape and reference height put right; standard_m: its
    standard uncertainty. water_m: innage of the water cut, 0 for none found. temperature_kind: "spot" or "average".
    reference_m: the reference height as it was read. gauge_m: what the gauge told then, where the daemon knew it.
    after_setting: the gauge was set or mended before, so that what it told earlier says nothing of it now. waited: who
    says that the relaxation time was kept, "" where the program saw it.
    """

    number: int
    tank: str
    time_ms: int
    entered_ms: int
    by: str
    purpose: Purpose = Purpose.STOCK
    method: Method = Method.INNAGE
    readings_m: tuple[float, ...] = ()
    level_m: float | None = None
    standard_m: float | None = None
    water_m: float | None = None
    temperature_degC: float | None = None
    temperature_kind: str = ""
    tape_degC: float | None = None
    reference_m: float | None = None
    gauge_m: float | None = None
    after_setting: bool = False
    waited: str = ""
    comment: str = ""


@dataclass(frozen=True, slots=True)
class DensitySample:
    """A sample of what is in a tank. Densities in kg/m3; `base_kgpm3` at `base_degC`, the site's reference temperature.

    meter: what it was read on. place: where in the tank it was drawn. certificate_kgpm3: at 15 degC, of the paper that
    it is held against. accepted: whether it stands for the tank's product from then on; `why` it does not.
    """

    number: int
    tank: str
    product: str
    time_ms: int
    entered_ms: int
    by: str
    observed_kgpm3: float
    observed_degC: float
    meter: str
    base_kgpm3: float
    base_degC: float
    place: str = ""
    certificate_kgpm3: float | None = None
    accepted: bool = True
    why: str = ""
    waited: str = ""
    comment: str = ""


def dip_json(dip: Dip) -> dict[str, Any]:
    """A dip as the record book keeps it and the API tells it."""
    return {name: getattr(dip, name) for name in dip.__slots__} | {
        "purpose": dip.purpose.value,
        "method": dip.method.value,
        "readings_m": list(dip.readings_m),
    }


def dip_from(body: Mapping[str, Any]) -> Dip:
    """The dip that `dip_json` wrote. Raises KeyError, ValueError for something else."""
    fields = {name: body[name] for name in Dip.__slots__}
    fields |= {"purpose": Purpose(body["purpose"]), "method": Method(body["method"])}
    return Dip(**fields | {"readings_m": tuple(body["readings_m"])})


def sample_json(sample: DensitySample) -> dict[str, Any]:
    """A density sample as the record book keeps it and the API tells it."""
    return {name: getattr(sample, name) for name in sample.__slots__}


def sample_from(body: Mapping[str, Any]) -> DensitySample:
    """The sample that `sample_json` wrote. Raises KeyError for something else."""
    return DensitySample(**{name: body[name] for name in DensitySample.__slots__})


class Compared(NamedTuple):
    """A gauge against a dip: gauge less dip, its expanded uncertainty with that of both, and the site's verdict.

    within: no further apart than the site's limit, as it was read (no guard band). explained: no further apart than
    both uncertainties explain.
    """

    difference_m: float
    u95_m: float
    within: bool
    explained: bool


def compared(gauge_m: float, gauge_standard_m: float, dip_m: float, standard_m: float, limit_m: float) -> Compared:
    """A gauge's level against a dip's."""
    off = gauge_m - dip_m
    u95 = COVERAGE * math.hypot(gauge_standard_m, standard_m)
    return Compared(off, u95, abs(off) <= limit_m + ROUNDING_M, abs(off) <= u95)


class Due(NamedTuple):
    """The next dip of a tank. time_ms None: it was never dipped. why: what it is due for."""

    time_ms: int | None
    why: str


def next_due(level_ms: int | None, water_ms: int | None, rules: DipRules, *, water_from_dips: bool) -> Due:
    """When the next dip is due: the gauge wants its comparison, and water that is known from dips alone a new one."""
    if level_ms is None:
        return Due(None, "gauge against dip")
    compare = Due(level_ms + rules.every_ms, "gauge against dip")
    if not water_from_dips:
        return compare
    if water_ms is None:
        return Due(None, "water")
    return min(compare, Due(water_ms + rules.water_max_age_ms, "water"), key=lambda due: due.time_ms or 0)
