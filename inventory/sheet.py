"""The stock sheet: what every tank held at one instant, and the sum of each product.

A tank without a usable reading is there as not measured, and its product's sum is then not known: a sum that leaves a
tank out would look like stock.
"""

import math
from collections.abc import Iterable, Sequence
from typing import NamedTuple

from models.reading import Quality, Reading


class TankStock(NamedTuple):
    """A line of the sheet. Volumes in m3, mass in kg; None where the figure cannot be stood by.

    gsv_u95_m3: expanded uncertainty of `gsv_m3`, 95 %; None where it is not known.
    """

    tank: str
    name: str
    product: str
    time_ms: int | None
    quality: Quality
    stock_quality: Quality
    level_m: float | None
    temperature_degC: float | None
    tov_m3: float | None
    gov_m3: float | None
    gsv_m3: float | None
    mass_kg: float | None
    why: str
    gsv_u95_m3: float | None = None


class ProductStock(NamedTuple):
    """The sum of a product's tanks. None where any of them is not measured; `missing` names those.

    gsv_u95_m3: of the sum, the tanks' own taken as independent (JCGM 100, 5.1.2, from memory); what they share, such
    as one hydrometer, is left out. None where any tank's is not known.
    """

    product: str
    gov_m3: float | None
    gsv_m3: float | None
    mass_kg: float | None
    missing: tuple[str, ...]
    gsv_u95_m3: float | None = None


class StockSheet(NamedTuple):
    tanks: tuple[TankStock, ...]
    products: tuple[ProductStock, ...]

    @property
    def complete(self) -> bool:
        """True when every tank's standard volume is known."""
        return all(tank.gsv_m3 is not None for tank in self.tanks)


class SheetTank(NamedTuple):
    """What the sheet is told of a tank: its ids and the reading that counts, None when there is none."""

    tank: str
    name: str
    product: str
    reading: Reading | None


def stock_sheet(tanks: Iterable[SheetTank], at_ms: int, max_age_ms: int) -> StockSheet:
    """The sheet at an instant. A reading older than `max_age_ms` then is no measurement of the stock."""
    lines = tuple(_line(tank, at_ms, max_age_ms) for tank in tanks)
    products = dict.fromkeys(line.product for line in lines)
    return StockSheet(lines, tuple(_sum(product, lines) for product in products))


def _line(tank: SheetTank, at_ms: int, max_age_ms: int) -> TankStock:
    reading = tank.reading
    bad = Quality.BAD
    if reading is None:
        return TankStock(*tank[:3], None, bad, bad, *(None,) * 6, "no reading")
    age_ms = at_ms - reading.time_ms
    if age_ms > max_age_ms:
        return TankStock(*tank[:3], reading.time_ms, bad, bad, *(None,) * 6, f"no reading for {age_ms // 1000} s")
    if reading.quality is bad:
        why = f"level is Bad: {reading.reason}"
    elif reading.gsv_m3 is None:
        why = "no standard volume: temperature or water is missing"
    else:
        why = ""
    usable = reading.quality is not bad
    return TankStock(
        *tank[:3],
        reading.time_ms,
        reading.quality,
        reading.stock_quality,
        reading.level_m if usable else None,
        reading.temperature_degC,
        reading.tov_m3 if usable else None,
        reading.gov_m3 if usable else None,
        reading.gsv_m3 if usable else None,
        reading.mass_kg if usable else None,
        why,
        reading.gsv_u95_m3 if usable and reading.gsv_m3 is not None else None,
    )


def _sum(product: str, lines: Sequence[TankStock]) -> ProductStock:
    """Sums in the order of the sheet, not rounded."""
    of = [line for line in lines if line.product == product]
    missing = tuple(line.tank for line in of if line.gsv_m3 is None)
    gov, gsv, mass = zip(*((line.gov_m3, line.gsv_m3, line.mass_kg) for line in of), strict=True)
    squares = _total([None if line.gsv_u95_m3 is None else line.gsv_u95_m3**2 for line in of])
    u95 = None if squares is None or missing else math.sqrt(squares)
    return ProductStock(product, _total(gov), _total(gsv), _total(mass), missing, u95)


def _total(figures: Sequence[float | None]) -> float | None:
    total = 0.0
    for figure in figures:
        if figure is None:
            return None
        total += figure
    return total
