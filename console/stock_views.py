"""Stock as people read it. Knows words and units; refuses to count."""

from zoneinfo import ZoneInfo

from console.facts import Json
from console.figures import NOTHING, moment, written


def sheet(stock: Json, now: str, zone: ZoneInfo) -> Json:
    """What the tanks hold at this moment: a line each, then the sums of the products."""
    return {
        "at": moment(stock["time"], now, zone),
        "tanks": [
            {
                "tank": line["tank"],
                "name": line["name"],
                "product": line["product"],
                "read": moment(line["time"], now, zone),
                "uncertain": line["stock_quality"] == "Uncertain",
                "why": line["why"],
                **{name: written(name, line[name]) for name in ("level_m", "temperature_degC", "gov_m3", "gsv_m3")},
                "u95": _within(line["gsv_u95_m3"]),
                "mass_kg": written("mass_kg", line["mass_kg"]),
            }
            for line in stock["tanks"]
        ],
        "products": [
            {
                "product": line["product"],
                **{name: written(name, line[name]) for name in ("gov_m3", "gsv_m3", "mass_kg")},
                "u95": _within(line["gsv_u95_m3"]),
                "missing": ", ".join(line["missing"]),
            }
            for line in stock["products"]
        ],
    }


def _within(u95_m3: float | None) -> str:
    return NOTHING if u95_m3 is None else f"± {written('gsv_u95_m3', u95_m3)}"
