"""Before a receipt: will it fit, up to which level, how warm will it be, how long does it take, what is passed when.

Free volume is checked before a transfer (40 CFR 280.30 (a)). Mixing is ideal: volumes at the reference temperature add
up, heat is shared by them (jet and jet; common practice, no source). The shell's own expansion is left out: it is below
a tenth of a millimetre here. Pure arithmetic on a capacity table; refuses to know where the figures come from.
"""

import math
from collections.abc import Mapping
from enum import StrEnum
from typing import NamedTuple

from inventory.receipts import DeliveryPaper
from models.capacity import CapacityTable
from models.concern import rise_s
from models.correction import corrector
from models.errors import OutOfRange
from models.quantity import Product


class Fits(StrEnum):
    """Whether it goes in below the level that the tank is filled to."""

    YES = "fits"
    NOT_SURELY = "not surely"  # within its uncertainty it may not
    NO = "does not fit"
    NOT_JUDGED = "not judged"  # the level is not known


class Before(NamedTuple):
    """The tank before a receipt; all None where its level is not known. u95_m3: of its observed volume."""

    level_m: float | None
    tov_m3: float | None
    gsv_m3: float | None
    temperature_degC: float | None
    u95_m3: float = 0.0


class Bounds(NamedTuple):
    """What a tank is held by. at_m: high-side limits by condition; top: name and innage of the level that it is filled
    to; needed_s: what passes until the flow stands still, None where the site does not say."""

    at_m: Mapping[str, float]
    top: tuple[str, float]
    largest_m3_per_s: float | None = None
    needed_s: float | None = None


class Passed(NamedTuple):
    """A high-side limit. room_m3: up to it, left_m3: in the end; after_s: of flow at the agreed rate; None: not
    passed, or no rate."""

    condition: str
    level_m: float
    room_m3: float
    left_m3: float
    passed: bool
    after_s: float | None


class ResponseCheck(NamedTuple):
    """The rise from high-high to critical high at the agreed rate, against what passes until the flow stands still.
    enough: None where it cannot be judged."""

    available_s: float | None
    needed_s: float | None
    enough: bool | None


class Forecast(NamedTuple):
    """incoming: as it fills the tank in the end. end_u95_m3: expanded, of the volume in the end: paper and gauge."""

    fits: Fits
    incoming_m3: float
    incoming_standard_m3: float | None
    top: str
    top_m: float
    room_m3: float | None
    end_level_m: float | None
    end_tov_m3: float | None
    end_u95_m3: float | None
    end_temperature_degC: float | None
    lasts_s: float | None
    rate_too_high: bool | None
    passes: tuple[Passed, ...]
    response: ResponseCheck


def forecast(
    table: CapacityTable,
    product: Product,
    before: Before,
    paper: DeliveryPaper,
    rate_m3_per_s: float | None,
    bounds: Bounds,
    paper_u95_frac: float,
) -> Forecast:
    """What the receipt will do to the tank. Raises `OutOfRange` for a paper's density or temperature off the tables."""
    standard = paper.in_standard_m3(product)
    end_degC = _mixed_degC(before, paper, standard)
    incoming = paper.at_m3(product, end_degC if end_degC is not None else paper.temperature_degC)
    lasts = None if rate_m3_per_s is None else incoming / rate_m3_per_s
    largest = bounds.largest_m3_per_s
    too_high = None if rate_m3_per_s is None or largest is None else rate_m3_per_s > largest * (1 + 1e-9)
    response = _response(table, bounds, rate_m3_per_s)
    name, top_m = bounds.top
    if before.level_m is None or before.tov_m3 is None:
        return Forecast(
            Fits.NOT_JUDGED, incoming, standard, name, top_m, None, None, None, None, end_degC, lasts, too_high, (),
            response,
        )  # fmt: skip
    warmed = 0.0
    if before.gsv_m3 is not None and before.temperature_degC is not None and end_degC is not None:
        ctl = corrector(
            product.group, product.base_density_kgpm3, product.base_degC, product.edition,
            alpha60_per_degF=product.alpha60_per_degF,
        )  # fmt: skip
        warmed = before.gsv_m3 * (1 / ctl(end_degC) - 1 / ctl(before.temperature_degC))
    end = before.tov_m3 + warmed + incoming
    u95 = math.hypot(before.u95_m3, paper_u95_frac * incoming)
    top_m3 = table.volume_m3(top_m)
    if end > top_m3:
        fits = Fits.NO
    else:
        fits = Fits.YES if end + u95 <= top_m3 else Fits.NOT_SURELY
    passes = tuple(
        _passed(table, condition, at_m, before.tov_m3, end, rate_m3_per_s)
        for condition, at_m in sorted(bounds.at_m.items(), key=lambda one: one[1])
        if at_m <= table.top_m
    )
    end_level = table.levels_of(end).high_m if end <= table.capacity_m3 else None
    return Forecast(
        fits, incoming, standard, name, top_m, top_m3 - before.tov_m3, end_level, end, u95, end_degC, lasts, too_high,
        passes, response,
    )  # fmt: skip


def _mixed_degC(before: Before, paper: DeliveryPaper, standard_m3: float | None) -> float | None:
    """The temperature in the end; the tank's own where the paper names none, None where neither is known."""
    if before.temperature_degC is None or before.gsv_m3 is None:
        return paper.temperature_degC if before.level_m is not None and before.tov_m3 == 0 else None
    if paper.temperature_degC is None or standard_m3 is None:
        return before.temperature_degC
    whole = before.gsv_m3 + standard_m3
    if whole <= 0:
        return paper.temperature_degC
    return (before.gsv_m3 * before.temperature_degC + standard_m3 * paper.temperature_degC) / whole


def _passed(
    table: CapacityTable, condition: str, at_m: float, now_m3: float, end_m3: float, rate: float | None
) -> Passed:
    room, left = table.volume_m3(at_m) - now_m3, table.volume_m3(at_m) - end_m3
    passed = left <= 0
    after = max(0.0, room) / rate if passed and rate is not None else None
    return Passed(condition, at_m, room, left, passed, after)


def _response(table: CapacityTable, bounds: Bounds, rate: float | None) -> ResponseCheck:
    high, critical = bounds.at_m.get("high_high"), bounds.at_m.get("critical_high")
    if high is None or critical is None or rate is None:
        return ResponseCheck(None, bounds.needed_s, None)
    try:
        available = rise_s(table, high, critical, rate)
    except OutOfRange:
        return ResponseCheck(None, bounds.needed_s, None)
    return ResponseCheck(available, bounds.needed_s, None if bounds.needed_s is None else available >= bounds.needed_s)
