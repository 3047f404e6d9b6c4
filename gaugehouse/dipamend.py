"""Movements that a dip says otherwise of: their newest entry is followed by one that tells the dips beside the gauge.

Only movements that the core still has at hand (the newest final ones of a day) are amended. No clock, no I/O.
"""

from collections.abc import Iterator
from typing import TYPE_CHECKING

from gaugehouse.act import Decision
from gaugehouse.dipjudge import gauge_standard_m
from inventory.dipped import GaugeError, by_dips
from inventory.dips import Dip, compared
from models.stock_budget import AFTER_RECEIPT

if TYPE_CHECKING:
    from gaugehouse.core import Core

FAR_MS = 253_402_300_799_999


def amended(core: "Core", tank: str) -> Iterator[Decision]:
    """What the dips of a tank, one more or one less, change of its newest movements."""
    told = [error for dip in core.dips.dips(tank) if (error := _error(core, dip)) is not None]
    table = core.site.tank(tank).table
    stretches = sorted(core.movements.stretches(tank), key=lambda one: one[0])
    for movement in core.movements.finals(tank):
        earlier = [end for start, end in stretches if start < movement.start_ms]
        free_from = FAR_MS if None in earlier else max((end for end in earlier if end is not None), default=0)
        free_to = min((start for start, _ in stretches if start > movement.start_ms), default=FAR_MS)
        found = by_dips(movement, free_from, free_to, told, table.volume_m3)
        if found != movement.by_dips:
            movement.by_dips = found
            yield core.movements.amend(movement)


def _error(core: "Core", dip: Dip) -> GaugeError | None:
    if dip.level_m is None or dip.standard_m is None or dip.gauge_m is None:
        return None
    known = gauge_standard_m(core.site.accuracy[dip.tank][AFTER_RECEIPT], dip.gauge_m)
    held = compared(dip.gauge_m, known, dip.level_m, dip.standard_m, core.dips.rules.limit_m)
    return GaugeError(dip.time_ms, held.difference_m, held.explained)
