"""How much a movement moved: observed, gross and standard volume, end minus start, each with its expanded uncertainty.

Knows what two gaugings of one tank share: the gauge's zero cancels, the table partly, and of the temperature profile
as much as there is liquid that stayed. Asks the models for every volume; refuses to measure anything.
"""

import math
from typing import Final, NamedTuple

from inventory.movement import Movement, Stand
from models.quantity import Gauging
from models.reading import GOOD
from models.stock import StockModel
from models.stock_budget import AFTER_RECEIPT, TABLE_DECAY_M, TABLE_LOCAL_SHARE, Accuracy
from models.uncertainty import COVERAGE, difference

WATER_SHARED: Final = 0.95
"""The same gauge reads the free water before and after: its bias is one and the same (common practice, no source)."""

NO_TEMPERATURE_M_PER_S: Final = 0.002 / 3600
"""What day and night may do to the level meanwhile, where no temperature takes it out (ours)."""

OF_LIQUID: Final = ("temperature probe", "temperature profile", "density")


class Moved(NamedTuple):
    """m3, signed, in positive; u95 expanded, k = 2. None where an input is missing."""

    tov_m3: float
    tov_u95_m3: float
    gov_m3: float | None = None
    gov_u95_m3: float | None = None
    gsv_m3: float | None = None
    gsv_u95_m3: float | None = None


def moved(movement: Movement, model: StockModel, accuracy: Accuracy) -> Moved:
    """What a movement has moved, or has moved so far."""
    m = movement
    ends = [_gauging(stand, air) for stand, air in zip((m.start, m.end), m.ambient_degC, strict=True)]
    opening, closing = (model.calculate(gauging) for gauging in ends)
    tov = m.end.tov_m3 - m.start.tov_m3
    tov_u95 = COVERAGE * _tov_standard(m, accuracy, closing.area_m2 or opening.area_m2 or 0.0)
    if opening.gov_m3 is None or closing.gov_m3 is None:
        return Moved(tov, tov_u95)
    gov = closing.gov_m3 - opening.gov_m3
    before, after = (
        model.budget(q, gauging, AFTER_RECEIPT) for q, gauging in zip((opening, closing), ends, strict=True)
    )
    if before is None or after is None or not before.value or not after.value:
        return Moved(tov, tov_u95, gov, tov_u95)
    stayed = min(before.value, after.value) / max(before.value, after.value)
    change = difference(before, after, {"temperature profile": stayed, "free water": WATER_SHARED})
    gross = COVERAGE * math.hypot(*(term.contribution for term in change.terms if term.name not in OF_LIQUID))
    return Moved(tov, tov_u95, gov, gross, change.value, change.expanded)


def _gauging(stand: Stand, ambient_degC: float | None) -> Gauging:
    return Gauging(stand.level_m, stand.temperature_degC, stand.water_m, None, ambient_degC, None, 0.0, GOOD)


def _tov_standard(m: Movement, accuracy: Accuracy, area_m2: float) -> float:
    """Standard uncertainty of the observed volume's change: repeatability twice, span, table."""
    height = m.end.level_m - m.start.level_m
    moved_m3 = m.end.tov_m3 - m.start.tov_m3
    level = area_m2 * math.hypot(
        math.sqrt(2) * accuracy.level_repeat_m.standard, accuracy.level_span_frac.standard * height
    )
    scale = accuracy.table_frac.standard * math.sqrt(1 - TABLE_LOCAL_SHARE) * moved_m3
    apart = 1 - math.exp(-((height / TABLE_DECAY_M) ** 2))
    local = accuracy.table_frac.standard * math.sqrt(2 * TABLE_LOCAL_SHARE * apart) * m.end.tov_m3
    warming = 0.0
    if m.start.temperature_degC is None or m.end.temperature_degC is None:
        took_s = ((m.end_at_ms or m.extreme_at_ms) - m.start_at_ms) / 1000
        warming = area_m2 * NO_TEMPERATURE_M_PER_S * took_s / math.sqrt(3)
    return math.hypot(level, scale, local, warming)
