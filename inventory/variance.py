"""What a variance is made of, as far as it can be known: each part with its size and its expanded uncertainty.

The parts add up to the variance as it was measured (gross); the part "temperature" is what separates that from the
variance at the reference temperature. What two measurements of one tank share cancels (`models.uncertainty`). A part
that nothing is known of says so, and what no part explains is "unexplained". Volumes in m3, u95 at k = 2.
"""

import math
from collections.abc import Mapping, Sequence
from enum import StrEnum
from typing import Final, NamedTuple

from inventory.account import Physical, Volumes
from models.uncertainty import COVERAGE, Budget, difference

WATER_SHARED: Final = 0.95
"""The same gauge reads the free water before and after: its bias is one and the same (common practice, no source)."""

LINE_SWING_DEGC: Final = 10.0
"""How much a line above ground may warm or cool between two accounts: half width (common practice, no source)."""

ALPHA_PER_DEGC: Final = 9.29e-4
"""Expansion of jet fuel of 800 kg/m3 at 15 degC; computed from API MPMS 11.1-1980."""


class Part(StrEnum):
    """The parts of a variance, in the order in which they are told."""

    MEASUREMENT = "measurement"
    TEMPERATURE = "temperature"
    WATER = "water"
    METER = "meter"
    EVAPORATION = "evaporation"
    LINE_FILL = "line fill"
    SAMPLES = "samples and drains"
    UNEXPLAINED = "unexplained"


class Term(NamedTuple):
    """amount_m3: what the part explains, signed as the variance is; None where it cannot be told. u95_m3: None where
    its uncertainty is not known, which then is in no sum. why: where it comes from, or what is missing, in words."""

    part: Part
    amount_m3: float | None
    u95_m3: float | None
    why: str


class SplitRules(NamedTuple):
    """What a site says of the parts. meter_frac: standard uncertainty of a metered volume, of the volume. None: the
    site says nothing. samples_m3: taken and thrown away each day, without a paper."""

    meter_frac: float
    meter_source: str
    evaporation_frac: float | None = None
    line_fill_m3: float | None = None
    samples_m3: float | None = None


class Stretch(NamedTuple):
    """Two measurements of one tank and what documents say between them.

    opening: None where the account opens with a document. metered: fuel that meters counted, in and out as sizes.
    receipts_m3: received, at the reference temperature. drawn_water_m3: free water that papers say was drawn off.
    days: of the stretch.
    """

    variance: Volumes
    opening: Physical | None
    closing: Physical
    metered: Volumes
    receipts_m3: float | None
    drawn_water_m3: float
    days: int


GROUP: Final[Mapping[str, Part]] = {
    "temperature probe": Part.TEMPERATURE,
    "temperature profile": Part.TEMPERATURE,
    "density": Part.TEMPERATURE,
    "free water": Part.WATER,
}
"""Inputs of a stock's budget by the part that they belong to; the others are measurement."""

OTHER_GAUGE: Final = {"level zero": 0.0, "level repeatability": 0.0, "level span": 0.0, "free water": 0.0}
"""What a dip and a gauge share of their errors: nothing."""


def split(stretch: Stretch, rules: SplitRules) -> tuple[Term, ...]:
    """The parts, "unexplained" last; only that one where the variance itself is not known."""
    known = measured_u95(stretch.opening, stretch.closing)
    terms = [
        _measurement(stretch, known),
        _temperature(stretch, known),
        _water(stretch, known),
        _meter(stretch, rules),
        _evaporation(stretch, rules),
        _line_fill(rules),
        _samples(stretch, rules),
    ]
    return (*terms, unexplained(stretch.variance.gross_m3, terms))


def unexplained(variance_m3: float | None, terms: Sequence[Term]) -> Term:
    """What the parts leave, and how well the whole is known."""
    if variance_m3 is None:
        return Term(Part.UNEXPLAINED, None, None, "the variance is not known")
    u95 = combined(terms)
    explained = math.fsum(term.amount_m3 or 0.0 for term in terms)
    return Term(Part.UNEXPLAINED, variance_m3 - explained, u95, "what the other parts leave")


def combined(terms: Sequence[Term]) -> float | None:
    """Of independent parts (JCGM 100, 5.1.2, from memory); None where the measurement itself is not known."""
    if any(term.part is Part.MEASUREMENT and term.u95_m3 is None for term in terms):
        return None
    return math.hypot(*(term.u95_m3 or 0.0 for term in terms))


def measured_u95(opening: Physical | None, closing: Physical) -> dict[Part, float] | None:
    """Expanded uncertainty of closing - opening by part; None where a budget is missing."""
    change = change_of(opening, closing)
    if change is None:
        return None
    groups: dict[Part, list[float]] = {part: [] for part in (Part.MEASUREMENT, Part.TEMPERATURE, Part.WATER)}
    for term in change.terms:
        groups[GROUP.get(term.name, Part.MEASUREMENT)].append(term.contribution)
    return {part: COVERAGE * math.hypot(*contributions) for part, contributions in groups.items()}


def change_of(opening: Physical | None, closing: Physical) -> Budget | None:
    """The budget of closing - opening. An opening by document has no budget: the closing then stands for itself."""
    if closing.budget is None:
        return None
    if opening is None:
        return closing.budget
    if opening.budget is None:
        return None
    before, after = opening.budget, closing.budget
    largest = max(before.value, after.value)
    stayed = min(before.value, after.value) / largest if largest > 0 else 0.0
    shared = {"temperature profile": max(0.0, stayed), "free water": WATER_SHARED}
    if opening.source != closing.source:
        shared |= OTHER_GAUGE
    return difference(before, after, shared)


def _measurement(stretch: Stretch, known: Mapping[Part, float] | None) -> Term:
    if known is None:
        return Term(Part.MEASUREMENT, 0.0, None, "no uncertainty is known of the two measurements")
    why = "level, capacity table and shell of two measurements; what they share cancels"
    if stretch.opening is None:
        why = "level, capacity table and shell of one measurement; of the opening balance nothing is known"
    return Term(Part.MEASUREMENT, 0.0, known[Part.MEASUREMENT], why)


def _temperature(stretch: Stretch, known: Mapping[Part, float] | None) -> Term:
    gross, standard = stretch.variance
    amount = None if gross is None or standard is None else gross - standard
    u95 = None if known is None else known[Part.TEMPERATURE]
    why = "fuel that warmed or cooled: variance as measured less the one at the reference temperature"
    return Term(Part.TEMPERATURE, amount, u95, why if amount is not None else "a standard volume is missing")


def _water(stretch: Stretch, known: Mapping[Part, float] | None) -> Term:
    """Free water that came was at most booked as fuel, all of it, and at least none: half of it, give or take half."""
    before = None if stretch.opening is None else stretch.opening.water_m3
    after = stretch.closing.water_m3
    if before is None or after is None:
        return Term(Part.WATER, None, None, "free water is not measured at both ends")
    came = max(0.0, after - before + stretch.drawn_water_m3)
    bound = came / 2 / math.sqrt(3) * COVERAGE
    cut = 0.0 if known is None else known[Part.WATER]
    why = (
        "water that came with receipts or was shed by the fuel was booked as fuel: between none and all that was found"
    )
    return Term(Part.WATER, 0.0 - came / 2, math.hypot(bound, cut), why)


def _meter(stretch: Stretch, rules: SplitRules) -> Term:
    metered = stretch.metered.standard_m3 if stretch.metered.standard_m3 is not None else stretch.metered.gross_m3
    if metered is None:
        return Term(Part.METER, 0.0, None, "a metered volume is missing")
    why = f"all that meters and deliveries counted, as one error: {rules.meter_source}"
    return Term(Part.METER, 0.0, COVERAGE * rules.meter_frac * metered, why)


def _evaporation(stretch: Stretch, rules: SplitRules) -> Term:
    if rules.evaporation_frac is None:
        return Term(Part.EVAPORATION, None, None, "the site names no factor")
    if stretch.receipts_m3 is None:
        return Term(Part.EVAPORATION, None, None, "a receipt's volume is missing")
    lost = rules.evaporation_frac * stretch.receipts_m3
    why = f"{100 * rules.evaporation_frac:g} % of receipts by the site file, known to no better than itself"
    return Term(Part.EVAPORATION, 0.0 - lost, abs(lost), why)


def _line_fill(rules: SplitRules) -> Term:
    if rules.line_fill_m3 is None:
        return Term(Part.LINE_FILL, None, None, "the site names no line between tank and meter")
    u95 = COVERAGE * rules.line_fill_m3 * ALPHA_PER_DEGC * LINE_SWING_DEGC / math.sqrt(3)
    return Term(Part.LINE_FILL, 0.0, u95, "a line that is kept full warms and cools by 10 degC (common practice)")


def _samples(stretch: Stretch, rules: SplitRules) -> Term:
    if rules.samples_m3 is None:
        return Term(Part.SAMPLES, None, None, "the site names no daily sample; drains with a paper are in the book")
    lost = rules.samples_m3 * stretch.days
    why = f"{1000 * rules.samples_m3:g} L a day without a paper, by the site file, known to no better than itself"
    return Term(Part.SAMPLES, 0.0 - lost, abs(lost), why)


TOGETHER: Final = frozenset({Part.METER, Part.EVAPORATION, Part.SAMPLES})
"""Parts whose errors the tanks of a site share: one meter, one factor. Theirs are added, the others' by squares."""


def split_of_all(tanks: Sequence[Sequence[Term]], variance_m3: float | None) -> tuple[Term, ...]:
    """The parts of several tanks as those of one account. A part that is missing for one tank is missing."""
    terms = []
    for of_part in zip(*tanks, strict=True):
        part = of_part[0].part
        if part is Part.UNEXPLAINED:
            continue
        amounts = [term.amount_m3 for term in of_part if term.amount_m3 is not None]
        u95s = [term.u95_m3 for term in of_part if term.u95_m3 is not None]
        amount = math.fsum(amounts) if len(amounts) == len(of_part) else None
        u95 = None
        if len(u95s) == len(of_part):
            u95 = math.fsum(u95s) if part in TOGETHER else math.hypot(*u95s)
        terms.append(Term(part, amount, u95, next((t.why for t in of_part if t.amount_m3 is None), of_part[0].why)))
    return (*terms, unexplained(variance_m3, terms))
