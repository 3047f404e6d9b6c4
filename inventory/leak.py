"""The leak test of a quiet tank: how fast its standard volume falls, and how small a fall could have been seen.

A fall is told as a loss only where it is larger than chance and all that is not known would make it in one test of
twenty. It never says that a tank is tight: it says what loss would have been seen. Not a statutory tightness test
unless a body with the competence accepts it as one. Knows no store and no words; refusals are named, with the figure
that would mend them.
"""

import math
from enum import StrEnum
from typing import Final, NamedTuple

from inventory.leakfit import Fit
from inventory.leakrules import LeakRules

FALSE_ALARM: Final = 0.05
MISSED: Final = 0.05
"""Pfa and 1 - Pd of what is claimed: at most 5 % and at least 95 %. Source: US EPA, 530/UST-90/006, foreword; 40 CFR
280.40 (older text). Those rules are for buried tanks; for an aboveground one they are a yardstick."""

FINEST_M: Final = 0.0001
STEEL_PER_DEGC: Final = 1.2e-5
"""Linear expansion of carbon steel (handbook figure, from memory)."""

MOUNT_M: Final = 0.00005
"""What a gauge and its mount wander by in a day beside all that is reckoned. Common practice, no source."""

PART_DAY: Final = 8.0 / 3.0
"""A night's cooling beside a day's change at the same hour: 8 K of a dry shell beside 3 K (from weather, no source)."""

TREND_PART_AVERAGE: Final = 0.05
TREND_PART_SPOT: Final = 0.15
"""How much of the liquid's warming over the window the thermometer, the expansion's figure and the wet shell may get
wrong together. Set by simulation, no source."""

THERMOMETER_DEGC: Final = 0.01
VAPOUR_SWING_DEGC: Final = 18.0
"""The largest daily swing of a vapour space that AP-42's rule gives for a warm and sunny place (computed)."""

KEROSENE_VAPOUR_PA: Final = 150.0
KEROSENE_KG_PER_MOL: Final = 0.130
"""Jet kerosene at about 35 degC. Source: AP-42, 7.1, table of petroleum liquids, from memory, doubled."""

_GAS: Final = 8.314462618


class Refusal(StrEnum):
    """Why there is no test, or none that could say anything."""

    NOT_DIGITAL = "not_digital"
    COARSE = "coarse"
    NO_TEMPERATURE = "no_temperature"
    VOLATILE = "volatile"
    NO_QUIET_HOURS = "no_quiet_hours"
    DISTURBED = "disturbed"
    SHORT = "short"
    HOLES = "holes"
    WANDERS = "wanders"
    TEMPERATURE = "temperature"
    TOO_LARGE = "too_large"


class Said(NamedTuple):
    """A refusal and the figures that belong to it: what there is, what it would need, both in the unit of its kind."""

    why: Refusal
    has: float | str | None = None
    needs: float | str | None = None


class Verdict(StrEnum):
    REFUSED = "refused"
    NO_LOSS_SEEN = "no_loss_seen"
    LOSS = "loss"
    GAIN = "gain"
    CANNOT_TELL = "cannot_tell"


class Standing(NamedTuple):
    """The tank as it stood in the window, means of it. dry_m: from the surface up to where the gauge hangs, 0 for one
    that stands on the bottom. level_step_m, temperature_step_degC: of the registers. warming_degC: over the window, by
    the thermometer; distinct: how many steps of it were met. vapour_m3: above the liquid."""

    area_m2: float
    level_m: float
    gsv_m3: float
    expansion_per_degC: float
    dry_m: float
    averaging: bool
    level_step_m: float
    temperature_step_degC: float
    warming_degC: float
    distinct: int
    vapour_m3: float
    density_kgpm3: float
    temperature_degC: float


class Term(NamedTuple):
    """A standard uncertainty of the rate, in m3/h."""

    name: str
    m3_per_h: float


class LeakTest(NamedTuple):
    """A whole test. Rates in m3/h; loss is positive for a fall. free: degrees of freedom of `u`. detectable: the rate
    that is found in 19 of 20 tests; smallest: what a test of this tank could claim at its very best."""

    verdict: Verdict
    hours: float
    loss_m3_per_h: float
    u_m3_per_h: float
    free: float
    threshold_m3_per_h: float
    detectable_m3_per_h: float
    smallest_m3_per_h: float | None
    terms: tuple[Term, ...]
    fit: Fit
    said: tuple[Said, ...] = ()


def t_quantile(free: float) -> float:
    """One-sided 95 % point of Student's t. Any number of degrees of freedom from 1 on."""
    from scipy.special import stdtrit  # type: ignore[import-untyped]  # loaded only when a test is made

    return float(stdtrit(max(1.0, free), 1 - FALSE_ALARM))


def terms_of(stand: Standing, hours: float, rules: LeakRules, fit_se_m3_per_h: float) -> tuple[Term, ...]:
    """What makes the rate uncertain. Changes from day to day grow with the root of time; those within a day do not
    close in a window that is shorter."""
    days = hours / 24
    grows = math.sqrt(days) if days >= 1 else 1.0
    open_day = 1.0 if days >= 1 else PART_DAY
    per_m = stand.area_m2 / hours
    per_degC = stand.gsv_m3 * stand.expansion_per_degC / hours
    wet_m = STEEL_PER_DEGC * stand.level_m * abs(stand.warming_degC) / math.sqrt(3) if stand.dry_m else 0.0
    unseen = rules.unseen_average_K if stand.averaging else rules.unseen_spot_K
    trend = (TREND_PART_AVERAGE if stand.averaging else TREND_PART_SPOT) * abs(stand.warming_degC)
    step = stand.temperature_step_degC / math.sqrt(12) * math.sqrt(2) / math.sqrt(max(1, stand.distinct))
    vapour = _evaporates_m3_per_h(stand)
    return (
        Term("fit", fit_se_m3_per_h),
        Term("gauge_mount", math.hypot(wet_m, MOUNT_M * grows) * per_m),
        Term("dry_shell", STEEL_PER_DEGC * stand.dry_m * rules.dry_shell_K * open_day * grows * per_m),
        Term("stratification", math.hypot(unseen * grows, trend) * per_degC),
        Term("thermometer", math.hypot(THERMOMETER_DEGC, step) * per_degC),
        Term("evaporation", vapour / math.sqrt(3)),
    )


def _evaporates_m3_per_h(stand: Standing) -> float:
    """The most that leaves with the vapour a tank breathes out: ideal gas, saturated, one breath a day."""
    kelvin = stand.temperature_degC + 273.15
    breath_m3 = stand.vapour_m3 * VAPOUR_SWING_DEGC / kelvin
    kg = breath_m3 * KEROSENE_VAPOUR_PA * KEROSENE_KG_PER_MOL / (_GAS * kelvin)
    return kg / stand.density_kgpm3 / 24


def _sum(terms: tuple[Term, ...], free: float) -> tuple[float, float]:
    """(standard uncertainty, degrees of freedom) by the Welch-Satterthwaite formula; the terms beside the fit count as
    fully known. Source: JCGM 100:2008, G.4.1, from memory."""
    u = math.sqrt(math.fsum(term.m3_per_h**2 for term in terms))
    fit = terms[0].m3_per_h
    return u, free if u == 0 or fit == 0 else free * (u / fit) ** 4


def detectable_of(u_m3_per_h: float, free: float) -> tuple[float, float]:
    """(threshold, detectable rate) in m3/h for a loss: t x u, and t x u more.

    With Pfa = 5 % the threshold lies t(0.95) standard errors above nothing; a rate as far above the threshold as that
    is missed in 5 %. So the threshold is half of the detectable rate, as the rules for buried tanks have it (23 CCR
    2643; US EPA 530/UST-90/004, arithmetic from memory).
    """
    t = t_quantile(free)
    return t * u_m3_per_h, 2 * t * u_m3_per_h


def smallest_claim(stand: Standing, rules: LeakRules) -> float | None:
    """The smallest rate in m3/h that a test of this tank could ever claim: the longest window, hardly any scatter, no
    warming. None where even that is more than the site would claim."""
    hours = rules.longest_ms / 3_600_000
    best = stand._replace(warming_degC=0.0, distinct=max(stand.distinct, 4))
    blocks = 24 * hours / 24
    scatter = stand.level_step_m / math.sqrt(12) * stand.area_m2 * math.sqrt(12 / blocks) / hours
    terms = terms_of(best, hours, rules, scatter)
    u, _ = _sum(terms, math.inf)
    least = detectable_of(u, 1e6)[1]
    return least if least <= rules.claim_at_most_m3_per_h else None


def standing_refusals(*, digital: bool, level_step_m: float, thermometer: bool, volatile: str) -> list[Said]:
    """What no window can mend. volatile: in what way the product is, empty where it is not."""
    said = []
    if not digital:
        said.append(Said(Refusal.NOT_DIGITAL))
    elif level_step_m > FINEST_M * (1 + 1e-9):
        said.append(Said(Refusal.COARSE, level_step_m, FINEST_M))
    if not thermometer:
        said.append(Said(Refusal.NO_TEMPERATURE))
    if volatile:
        said.append(Said(Refusal.VOLATILE, volatile))
    return said


def judged(fit: Fit, stand: Standing, hours: float, rules: LeakRules) -> LeakTest:
    """The test from a fit. One that could not see what the site must be able to see says so, and what it would need."""
    terms = terms_of(stand, hours, rules, fit.se_m3_per_h)
    u, free = _sum(terms, fit.free)
    threshold, detectable = detectable_of(u, free)
    loss = -fit.slope_m3_per_h
    said: list[Said] = []
    if loss > threshold:
        verdict = Verdict.LOSS
    elif loss < -threshold:
        verdict = Verdict.GAIN
    elif detectable > rules.claim_at_most_m3_per_h:
        verdict = Verdict.CANNOT_TELL
        said.append(_lacking(terms, stand, hours, rules, t_quantile(free), detectable))
    else:
        verdict = Verdict.NO_LOSS_SEEN
    return LeakTest(
        verdict, hours, loss, u, free, threshold, detectable, smallest_claim(stand, rules), terms, fit, tuple(said)
    )


def _lacking(
    terms: tuple[Term, ...], stand: Standing, hours: float, rules: LeakRules, t: float, detectable: float
) -> Said:
    """What the test would need: how well the mean temperature's change must be known, where that alone mends it."""
    thermal = {"stratification", "thermometer"}
    rest2 = math.fsum(term.m3_per_h**2 for term in terms if term.name not in thermal)
    allowed = rules.claim_at_most_m3_per_h / (2 * t)
    if allowed**2 > rest2:
        per_degC = stand.gsv_m3 * stand.expansion_per_degC / hours
        has2 = math.fsum(term.m3_per_h**2 for term in terms if term.name in thermal)
        return Said(Refusal.TEMPERATURE, math.sqrt(has2) / per_degC, math.sqrt(allowed**2 - rest2) / per_degC)
    return Said(Refusal.TOO_LARGE, detectable, rules.claim_at_most_m3_per_h)
