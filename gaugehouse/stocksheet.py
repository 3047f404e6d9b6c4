"""The stock sheet of a site: its tanks and their readings put together, and as the API tells it."""

from typing import Any, Final

from gaugehouse.core import Core
from gaugehouse.days import iso_ms
from inventory.sheet import SheetTank, StockSheet, stock_sheet

Json = dict[str, Any]

NEWEST_AGE_MS: Final = 10 * 60_000
"""A reading older than this is no measurement of the stock now."""


def sheet_now(core: Core, now_ms: int) -> StockSheet:
    """What every tank of a running core holds."""
    site = core.site
    lines = [
        SheetTank(tank.id, tank.name, site.product(tank.product).name, core.keepers[tank.id].latest)
        for tank in site.tanks
    ]
    return stock_sheet(lines, now_ms, NEWEST_AGE_MS)


def sheet_json(sheet: StockSheet) -> list[Json]:
    """The lines of the tanks, JSON-ready: times as ISO, qualities as words."""
    lines = []
    for line in sheet.tanks:
        row = line._asdict()
        time_ms = row.pop("time_ms")
        row["time"] = None if time_ms is None else iso_ms(time_ms)
        row["quality"], row["stock_quality"] = line.quality.word, line.stock_quality.word
        lines.append(row)
    return lines


def stock_json(sheet: StockSheet, at_ms: int) -> Json:
    """The whole sheet, JSON-ready."""
    return {
        "time": iso_ms(at_ms),
        "tanks": sheet_json(sheet),
        "products": [product._asdict() | {"missing": list(product.missing)} for product in sheet.products],
    }
