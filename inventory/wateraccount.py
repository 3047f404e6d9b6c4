"""The water account of a tank: what must have come in, between bounds, against what was drained and what is there.

Each term is a pair of bounds in m3 of water, with a word on what it rests on. Nothing here is measured: receipts bring
free water up to the limit that the site works to, fuel that cools sheds what it can no longer hold, air that comes in
with breathing and with issues leaves what condenses at the coldest night, rain comes in where the site says by how
much. No I/O, no clock.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from itertools import pairwise
from typing import Final, NamedTuple

from models.bounds import NONE, Bounds, total
from models.breathing import Edition, breathed_m3, expansion, vapour_range_K
from models.fuelwater import FREE_WATER_PPM, PPM, T_HIGH_DEGC, T_LOW_DEGC, shed_frac
from models.moistair import SEA_LEVEL_PA, vapour_density_kgpm3

WATER_KGPM3: Final = 998.0
"""Of condensed water, to 0.3 % between 0 and 35 degC: far finer than any bound here."""

DRAWN_PART: Final = 0.10
"""How far the volume of a drain, read on a bucket or jar, may be off. Common practice, no source."""

CUT_M: Final = 0.003
"""How far a water cut may be off: it is read to the nearest 1/8 in. Source: 40 CFR 280.43 (a)(6)."""


class Source(StrEnum):
    """Where water comes from."""

    CARRIED = "carried in by receipts"
    RECEIPT_COOLS = "shed by receipts that cool in the tank"
    FUEL_COOLS = "shed by the fuel in the tank as it cools"
    BREATHING = "breathed in with the air of warm days and cool nights"
    ISSUES = "drawn in with the air that follows an issue"
    RAIN = "rain through roof, hatch and fittings"


class Verdict(StrEnum):
    """What the account comes to."""

    MORE = "more than expected"
    WITHIN = "within"
    CANNOT_TELL = "cannot tell"


class Term(NamedTuple):
    """One way in. note: what its bounds rest on."""

    source: Source
    water_m3: Bounds
    note: str


class TankDay(NamedTuple):
    """A tank over one site day; None where nothing was measured.

    fuel_m3, vapour_m3: means of the liquid and of the space above it. fuel_degC: its mean temperature; fuel_low_degC,
    fuel_high_degC: its extremes. issued_m3: what left it, positive. air: extremes of the air outside, and the most
    vapour that a cubic metre of it held.
    """

    date: str
    fuel_m3: float | None = None
    vapour_m3: float | None = None
    fuel_degC: float | None = None
    fuel_low_degC: float | None = None
    fuel_high_degC: float | None = None
    issued_m3: float = 0.0
    air_low_degC: float | None = None
    air_high_degC: float | None = None
    vapour_kgpm3: float | None = None


class Received(NamedTuple):
    """A receipt as its papers or the gauge tell it; temperature None where nobody wrote it down."""

    volume_m3: float
    temperature_degC: float | None
    tank_degC: float | None


@dataclass(frozen=True, slots=True)
class WaterRules:
    """What the site says of its tanks and weather. absorptance: of the paint, between new and old; insolation: of a
    day, in J/m2; roof_below_air_K: how far a roof cools below the night's air; saturation: how much of the water that
    it could hold the fuel holds; rain_m3_per_day: what rain may bring in at most, None where the site does not say."""

    carried_ppm: Bounds = Bounds(0.0, FREE_WATER_PPM)  # noqa: RUF009 (immutable)
    saturation: Bounds = Bounds(0.0, 1.0)  # noqa: RUF009 (immutable)
    absorptance: Bounds = Bounds(0.17, 0.34)  # noqa: RUF009 (immutable)
    insolation_Jpm2: Bounds = Bounds(0.0, 28.8e6)  # noqa: RUF009 (immutable)
    vent_range_Pa: float = 0.0
    roof_below_air_K: float = 3.0
    air_range_K: float = 12.0
    rain_m3_per_day: float | None = None
    pressure_Pa: float = SEA_LEVEL_PA
    edition: Edition = Edition.Y2020


class Found(NamedTuple):
    """What is there: drained by people, and what the cut says lies on the bottom more than before (None: not known)."""

    drained_m3: Bounds
    lying_m3: Bounds | None

    @property
    def whole_m3(self) -> Bounds:
        return self.drained_m3 if self.lying_m3 is None else self.drained_m3.plus(self.lying_m3)


class Account(NamedTuple):
    """One tank over some days. unmeasured: days without a figure of the fuel, which bring no term to the sum."""

    terms: Sequence[Term]
    expected_m3: Bounds
    found: Found
    verdict: Verdict
    why: str
    days: int
    unmeasured: int


def carried(received: Sequence[Received], rules: WaterRules) -> Term:
    """Free water in what was delivered."""
    volume = sum(max(0.0, one.volume_m3) for one in received)
    note = f"{volume:.1f} m3 received, {rules.carried_ppm.low:g} to {rules.carried_ppm.high:g} ppm of it"
    return Term(Source.CARRIED, rules.carried_ppm.scaled(PPM * volume), note)


def receipts_cooling(received: Sequence[Received], rules: WaterRules) -> Term:
    """Water that fuel sheds which comes warmer than the tank is."""
    parts, unknown = [], 0
    for one in received:
        if one.temperature_degC is None or one.tank_degC is None:
            unknown += 1
            continue
        parts.append(_shed(one.volume_m3, one.temperature_degC, one.tank_degC, rules.saturation))
    note = f"{len(parts)} receipts with their temperature" + (f", {unknown} without and left out" if unknown else "")
    return Term(Source.RECEIPT_COOLS, total(parts), note)


def fuel_cooling(days: Sequence[TankDay], rules: WaterRules) -> Term:
    """Water that the fuel in the tank sheds.

    At most: all that each fall from one day's mean to the next can shed, as if it dissolved again with each warming. At
    least: what the whole stretch shed from its first to its last day, for the smallest content that it had.
    """
    known = [(day.fuel_m3, day.fuel_degC) for day in days if day.fuel_m3 is not None and day.fuel_degC is not None]
    if len(known) < 2:
        return Term(Source.FUEL_COOLS, NONE, "the fuel's temperature was not measured on two days")
    high = math.fsum(
        _shed(content_m3, before_degC, after_degC, rules.saturation).high
        for (_, before_degC), (content_m3, after_degC) in pairwise(known)
    )
    first, last = known[0][1], known[-1][1]
    low = _shed(min(content_m3 for content_m3, _ in known), first, last, rules.saturation).low
    note = f"{first:.1f} degC at first, {last:.1f} degC at last, over {len(known)} days"
    return Term(Source.FUEL_COOLS, Bounds(min(low, high), high), note)


def breathing(days: Sequence[TankDay], rules: WaterRules) -> Term:
    """Water in the air that a day's breath takes in: at most what condenses of it, at least none."""
    high, volume, guessed, counted = 0.0, 0.0, 0, 0
    for day in days:
        air = _air_of(day, rules)
        if air is None or day.vapour_m3 is None:
            continue
        counted += 1
        guessed += air.guessed
        warmth_K = vapour_range_K(
            min(air.range_K, 60.0), rules.absorptance.high, rules.insolation_Jpm2.high, rules.edition
        )
        part = expansion(warmth_K, air.surface_degC, vent_range_Pa=rules.vent_range_Pa, pressure_Pa=rules.pressure_Pa)
        taken = breathed_m3(day.vapour_m3, part)
        volume += taken
        high += taken * air.condenses_kgpm3 / WATER_KGPM3
    return Term(Source.BREATHING, Bounds(0.0, high), _air_note("breathed in at most", volume, counted, guessed))


def issue_air(days: Sequence[TankDay], rules: WaterRules) -> Term:
    """Water in the air that takes the place of issued fuel."""
    high, volume, guessed, counted = 0.0, 0.0, 0, 0
    for day in days:
        air = _air_of(day, rules)
        if air is None or day.issued_m3 <= 0:
            continue
        counted += 1
        guessed += air.guessed
        volume += day.issued_m3
        high += day.issued_m3 * air.condenses_kgpm3 / WATER_KGPM3
    return Term(Source.ISSUES, Bounds(0.0, high), _air_note("drawn in", volume, counted, guessed))


def rain(days: int, rules: WaterRules) -> Term:
    """What rain may bring. Without a word of the site a sound roof is taken to let none in: what is found beyond the
    bounds is then what a leaking roof or hatch would give."""
    if rules.rain_m3_per_day is None:
        return Term(Source.RAIN, NONE, "a sound roof lets none in; the site says nothing else")
    return Term(
        Source.RAIN,
        Bounds(0.0, days * rules.rain_m3_per_day),
        f"the site's figure: at most {1000 * rules.rain_m3_per_day:g} L a day",
    )


def account(days: Sequence[TankDay], received: Sequence[Received], found: Found, rules: WaterRules) -> Account:
    """What must have come into a tank over these days, and whether what was found is more than that."""
    terms = (
        carried(received, rules),
        receipts_cooling(received, rules),
        fuel_cooling(days, rules),
        breathing(days, rules),
        issue_air(days, rules),
        rain(len(days), rules),
    )
    expected = total(term.water_m3 for term in terms)
    unmeasured = sum(day.fuel_m3 is None for day in days)
    verdict, why = judged(expected, found, len(days), unmeasured)
    return Account(terms, expected, found, verdict, why, len(days), unmeasured)


MOST_UNMEASURED: Final = 0.2
"""From so large a part of days without a figure on nothing is judged. Our own choice."""


def judged(expected: Bounds, found: Found, days: int, unmeasured: int) -> tuple[Verdict, str]:
    """More than expected only where even the least that was found is more than the most that could come in."""
    if days == 0 or unmeasured > MOST_UNMEASURED * days:
        return Verdict.CANNOT_TELL, f"{unmeasured} of {days} days have no figure of the fuel"
    whole = found.whole_m3
    if whole.low > expected.high:
        return Verdict.MORE, "look at hatch, roof, vents and fittings, and at what the receipts brought"
    if found.lying_m3 is None:
        return Verdict.CANNOT_TELL, "what lies on the bottom is not known: no water cut at the beginning and at the end"
    if whole.high < expected.low:
        return (
            Verdict.CANNOT_TELL,
            "less was found than must have come in: it is still in the fuel, or lies where no drain or cut finds it",
        )
    if whole.high <= expected.high:
        return Verdict.WITHIN, "what was found is no more than these ways in explain"
    return Verdict.CANNOT_TELL, "what was found is not known well enough: its bounds reach over what was expected"


def drawn(volumes_m3: Sequence[float]) -> Bounds:
    """What people drained, with the bounds of a bucket's reading."""
    whole = sum(volumes_m3)
    return Bounds((1 - DRAWN_PART) * whole, (1 + DRAWN_PART) * whole)


# Air


class _Air(NamedTuple):
    """guessed: 1 where the humidity, or all of it, was taken from the fuel and not measured."""

    range_K: float
    surface_degC: float
    condenses_kgpm3: float
    guessed: int


def _air_of(day: TankDay, rules: WaterRules) -> _Air | None:
    """The air of a day. Where nobody measures it, it is taken as warm as the fuel was at most, and saturated."""
    surface = day.fuel_degC
    low, high, vapour, guessed = day.air_low_degC, day.air_high_degC, day.vapour_kgpm3, 0
    if low is None or high is None:
        if day.fuel_high_degC is None or day.fuel_low_degC is None:
            return None
        high, guessed = day.fuel_high_degC, 1
        low = day.fuel_high_degC - rules.air_range_K
    if vapour is None:
        vapour, guessed = vapour_density_kgpm3(high, 100.0), 1
    coldest = vapour_density_kgpm3(low - rules.roof_below_air_K, 100.0)
    return _Air(max(0.0, high - low), high if surface is None else surface, max(0.0, vapour - coldest), guessed)


def _air_note(did: str, volume: float, counted: int, guessed: int) -> str:
    note = f"{volume:.0f} m3 of air {did} on {counted} days"
    if guessed:
        note += f"; on {guessed} of them humidity was not measured and the air is taken as saturated"
    return note


def _shed(volume_m3: float, from_degC: float, to_degC: float, saturation: Bounds) -> Bounds:
    """Nothing where a temperature is none that the solubility is known for."""
    if not (T_LOW_DEGC <= from_degC <= T_HIGH_DEGC and T_LOW_DEGC <= to_degC <= T_HIGH_DEGC):
        return NONE
    return shed_frac(from_degC, to_degC, saturation).scaled(max(0.0, volume_m3))
