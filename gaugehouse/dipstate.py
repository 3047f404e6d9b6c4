"""What is known of a tank by hand now, as the live object tells it."""

from console.facts import Json
from gaugehouse.core import Core
from gaugehouse.days import iso_ms
from gaugehouse.dipjudge import gauge_standard_m
from inventory.dips import Dip, compared
from models.stock_budget import AFTER_RECEIPT


def dip_state(core: Core, tank: str, now_ms: int) -> Json:
    """The newest dips of a tank and when the next one is due; cheap enough to be asked every second."""
    dip, water, due = core.dips.latest(tank), core.dips.latest_water(tank), core.dips.next_due(tank)
    return {
        "level": None if dip is None else _level(core, dip),
        "water": None if water is None else {
            "number": water.number, "time": iso_ms(water.time_ms), "water_m": water.water_m,
            "age_s": max(0, now_ms - water.time_ms) / 1000,
            "fresh": now_ms - water.time_ms <= core.dips.rules.water_max_age_ms,
        },
        "water_from_dips": core.site.tank(tank).water_from_dips,
        "due": None if due.time_ms is None else iso_ms(due.time_ms),
        "due_for": due.why,
        "overdue": due.time_ms is None or due.time_ms < now_ms,
    }  # fmt: skip


def _level(core: Core, dip: Dip) -> Json:
    told = None
    if dip.gauge_m is not None and dip.level_m is not None and dip.standard_m is not None:
        known = gauge_standard_m(core.site.accuracy[dip.tank][AFTER_RECEIPT], dip.gauge_m)
        told = compared(dip.gauge_m, known, dip.level_m, dip.standard_m, core.dips.rules.limit_m)
    return {
        "number": dip.number, "time": iso_ms(dip.time_ms), "level_m": dip.level_m, "by": dip.by,
        "difference_m": None if told is None else told.difference_m, "within": None if told is None else told.within,
    }  # fmt: skip
