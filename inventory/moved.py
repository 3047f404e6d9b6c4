"""How much a movement moved: observed, gross and standard volume, end minus start, each with its expanded uncertainty.

Knows what two gaugings of one tank share: the gauge's zero cancels, the table mostly, and what stayed in the tank kept
its temperature whatever one probe says. Asks the models for every volume; refuses to measure anything.
"""

import math
from collections.abc import Mapping
from typing import Final, NamedTuple

from inventory.movement import Movement, Stand
from models.quantity import Gauging, Quantities
from models.reading import GOOD
from models.stock import StockModel
from models.stock_budget import AFTER_RECEIPT, AT_REST, TABLE_FADES, TABLE_LOCAL_SHARE, Accuracy, Rest
from models.uncertainty import COVERAGE, difference, faded

WATER_SHARED: Final = 0.95
"""The same gauge reads the free water before and after: its bias is one and the same (common practice, no source)."""

NO_TEMPERATURE_M_PER_S: Final = 0.002 / 3600
"""What day and night may do to the level meanwhile, where no temperature takes it out (ours)."""

WARMING_DEGC_PER_S: Final = 0.1 / 3600
"""How fast the mean temperature of what stays in a tank may change; a probe that says more stands in other liquid
(ours)."""

APART: Final = math.sqrt(2)
"""How much farther from the probe what moves may be than the mean of the tank. Two halves that differ by D put the mean
D / 2 away from a probe in either; the other half is D away, or the probe stands in it: D / sqrt(2) (computed)."""

SHELL_S: Final = 10_800.0
"""How long sun and wind leave a shell as they found it: two readings share its temperature by exp(-time / this)
(ours)."""

PROFILE, SHELL_T, WATER = "temperature profile", "shell temperature", "free water"
OF_LIQUID: Final = ("temperature probe", PROFILE, "density")


class Moved(NamedTuple):
    """m3, signed, in positive; u95 expanded, k = 2. None where an input is missing."""

    tov_m3: float
    tov_u95_m3: float
    gov_m3: float | None = None
    gov_u95_m3: float | None = None
    gsv_m3: float | None = None
    gsv_u95_m3: float | None = None


def moved(movement: Movement, model: StockModel, accuracy: Mapping[Rest, Accuracy]) -> Moved:
    """What a movement has moved, or has moved so far."""
    m = movement
    took_s = ((m.end_at_ms or m.extreme_at_ms) - m.start_at_ms) / 1000
    starts = _gauging(m.start, m.start.temperature_degC, m.ambient_degC[0])
    opening = model.calculate(starts)
    ends = _gauging(m.end, _end_degC(m, took_s), m.ambient_degC[1])
    closing = model.calculate(ends)
    tov = m.end.tov_m3 - m.start.tov_m3
    tov_u95 = COVERAGE * _tov_standard(m, accuracy[AT_REST], closing.area_m2 or opening.area_m2 or 0.0, took_s)
    if opening.gov_m3 is None or closing.gov_m3 is None:
        return Moved(tov, tov_u95)
    gov = closing.gov_m3 - opening.gov_m3
    before, after = model.budget(opening, starts, AT_REST), model.budget(closing, ends, AT_REST)
    if before is None or after is None:
        return Moved(tov, tov_u95, gov, tov_u95)
    shared = {WATER: WATER_SHARED, SHELL_T: math.exp(-max(0.0, took_s) / SHELL_S)}
    change = difference(before, after, shared)
    sizes = {term.name: term.contribution for term in change.terms}
    gross = COVERAGE * math.hypot(*(size for name, size in sizes.items() if name not in OF_LIQUID))
    by_degC = [abs(term.sensitivity) for budget in (before, after) for term in budget.terms if term.name == PROFILE]
    sizes[PROFILE] = _profile(m, accuracy, (opening, closing), (by_degC[0], by_degC[1]), took_s)
    return Moved(tov, tov_u95, gov, gross, change.value, COVERAGE * math.hypot(*sizes.values()))


def _gauging(stand: Stand, liquid_degC: float | None, ambient_degC: float | None) -> Gauging:
    return Gauging(stand.level_m, liquid_degC, stand.water_m, None, ambient_degC, None, 0.0, GOOD)


def _end_degC(m: Movement, took_s: float) -> float | None:
    """The mean temperature at the end: what stayed has kept its own, what came in has the probe's."""
    first, last = m.start.temperature_degC, m.end.temperature_degC
    if first is None or last is None:
        return last
    most = WARMING_DEGC_PER_S * max(0.0, took_s)
    stayed_degC = first + min(most, max(-most, last - first))
    if m.sign < 0 or m.end.tov_m3 <= 0:
        return stayed_degC
    stayed = min(1.0, max(0.0, m.start.tov_m3 / m.end.tov_m3))
    return stayed * stayed_degC + (1 - stayed) * last


def _profile(
    m: Movement,
    accuracy: Mapping[Rest, Accuracy],
    ends: tuple[Quantities, Quantities],
    by_degC: tuple[float, float],
    took_s: float,
) -> float:
    """Standard uncertainty by what one probe cannot know: how warm the liquid was that moved, and how much that which
    stayed has warmed. Never more than two readings that share nothing."""
    gsv = [quantities.gsv_m3 or 0.0 for quantities in ends]
    rest = AT_REST if m.rested and m.sign < 0 else AFTER_RECEIPT
    per_m3 = max(by_degC[k] / gsv[k] if gsv[k] else 0.0 for k in (0, 1))
    went = per_m3 * abs(gsv[1] - gsv[0]) * APART * accuracy[rest].temperature_profile_degC.standard
    stayed = per_m3 * min(gsv) * WARMING_DEGC_PER_S * max(0.0, took_s) / math.sqrt(3)
    strangers = math.hypot(*(k * accuracy[AFTER_RECEIPT].temperature_profile_degC.standard for k in by_degC))
    return min(math.hypot(went, stayed), strangers)


def _tov_standard(m: Movement, accuracy: Accuracy, area_m2: float, took_s: float) -> float:
    """Standard uncertainty of the observed volume's change: repeatability twice, span, table."""
    height = m.end.level_m - m.start.level_m
    first, last = m.start.tov_m3, m.end.tov_m3
    level = area_m2 * math.hypot(
        math.sqrt(2) * accuracy.level_repeat_m.standard, accuracy.level_span_frac.standard * height
    )
    table = accuracy.table_frac.standard
    scale = table * math.sqrt(1 - TABLE_LOCAL_SHARE) * (last - first)
    r = faded(TABLE_FADES, m.start.level_m, m.end.level_m)
    local = table * math.sqrt(TABLE_LOCAL_SHARE * max(0.0, first**2 + last**2 - 2 * r * first * last))
    warming = 0.0
    if m.start.temperature_degC is None or m.end.temperature_degC is None:
        warming = area_m2 * NO_TEMPERATURE_M_PER_S * max(0.0, took_s) / math.sqrt(3)
    return math.hypot(level, scale, local, warming)
