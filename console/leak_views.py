"""Leak tests as people read them: the sentence, the terms, the chart as ready-made lines. Knows words and units."""

import math
from typing import Any, Final
from zoneinfo import ZoneInfo

from console import leak_words as words
from console.dip_views import round_step
from console.facts import Json
from console.figures import moment, shown

WIDTH: Final = 860
HEIGHT: Final = 280
LEFT: Final = 64
RIGHT: Final = 30
TOP: Final = 14
BOTTOM: Final = 34
TICKS: Final = 5


def sheet(result: Json, now: str, zone: ZoneInfo) -> Json:
    """One test, found or signed."""
    u = result["u_m3_per_h"]
    return {
        "tank": result["tank"],
        "product": result["product"],
        "verdict": words.verdict(result),
        "name": words.VERDICT_NAMES[result["verdict"]],
        "bad": result["verdict"] == "loss",
        "refusals": [words.refusal(said) for said in result["refusals"]],
        "from": result["from"],
        "to": result["to"],
        "window": None if result["from"] is None else _window(result, now, zone),
        "smallest": words.rate(result["smallest_m3_per_h"]),
        "figures": []
        if u is None
        else [(words.PAGE[name], words.litres(result[f"{name}_m3_per_h"])) for name in _SHOWN],
        "terms": [] if u is None else [_term(term, u) for term in result["terms"]],
        "chart": None if result["fit"] is None else chart(result),
        "first": words.FIRST if result["verdict"] == "loss" else (),
        "can_sign": u is not None,
    }


_SHOWN: Final = ("loss", "u", "threshold", "detectable")


def _window(result: Json, now: str, zone: ZoneInfo) -> str:
    return f"{moment(result['from'], now, zone)} to {moment(result['to'], now, zone)}, {result['hours']:g} h"


def _term(term: Json, u: float) -> Json:
    share = 100 * term["m3_per_h"] ** 2 / u**2 if u else 0.0
    return {
        "name": words.TERMS[term["name"]],
        "rate": words.litres(term["m3_per_h"], 1),
        "share": words.figure(share, 0),
    }


def suspected(found: Json | None, now: str, zone: ZoneInfo) -> Json | None:
    """The signed test that found a loss, while it stands."""
    if found is None:
        return None
    window = f"{moment(found['from'], now, zone)} to {moment(found['to'], now, zone)}"
    said = words.PAGE["suspected"].format(
        loss=words.litres(found["loss_m3_per_h"]), window=window, by=found["by"],
        signed=moment(found["signed"], now, zone),
    )  # fmt: skip
    return {"said": said}


def signed_rows(records: list[Json], now: str, zone: ZoneInfo) -> list[Json]:
    """The list of signed tests, newest first."""
    return [
        {
            "number": record["number"],
            "tank": record["tank"],
            "signed": moment(record["signed"], now, zone),
            "by": record["by"],
            "window": _window(record, now, zone),
            "name": words.VERDICT_NAMES[record["verdict"]],
            "loss": words.litres(record["loss_m3_per_h"]),
            "detectable": words.litres(record["detectable_m3_per_h"]),
            "comment": record["comment"],
        }
        for record in records
    ]


def chart(result: Json) -> Json:
    """Lines of an SVG of `WIDTH` by `HEIGHT`, volume above the straight line's first point over hours."""
    fit, hours, base = result["fit"], float(result["hours"]), float(result["fit"]["line_m3"][0])
    factor = shown("volume_m3").factor
    middle_m3 = (fit["line_m3"][0] + fit["line_m3"][-1]) / 2
    fall = [middle_m3 - result["threshold_m3_per_h"] * (hour - hours / 2) for hour in (0.0, hours)]
    series: dict[str, list[tuple[float, float]]] = {
        name: [(h, factor * (v - base)) for h, v in zip(fit["hours"], fit[key], strict=True)]
        for name, key in (("means", "gsv_m3"), ("line", "line_m3"), ("wave", "wave_m3"))
    }
    series["fall"] = [(h, factor * (v - base)) for h, v in zip((0.0, hours), fall, strict=True)]
    low = min(y for points in series.values() for _, y in points)
    high = max(y for points in series.values() for _, y in points)
    pad = 0.05 * (high - low) or 1.0
    low, high = low - pad, high + pad

    def x(hour: float) -> float:
        return round(LEFT + (WIDTH - LEFT - RIGHT) * hour / hours, 1)

    def y(volume: float) -> float:
        return round(TOP + (HEIGHT - TOP - BOTTOM) * (high - volume) / (high - low), 1)

    drawn: dict[str, Any] = {
        name: " ".join(f"{x(h)},{y(v)}" for h, v in points) for name, points in series.items() if name != "means"
    }
    drawn["means"] = [(x(h), y(v)) for h, v in series["means"]]
    step = round_step((high - low) / TICKS)
    levels = [step * k for k in range(math.ceil(low / step), math.floor(high / step) + 1)]
    places = max(0, -math.floor(math.log10(step) + 1e-9))
    drawn["across"] = [{"y": y(v), "text": words.figure(v, places)} for v in levels]
    drawn["along"] = [{"x": x(hours * k / 4), "text": f"{hours * k / 4:g} h"} for k in range(5)]
    return drawn | {"width": WIDTH, "height": HEIGHT, "left": LEFT, "right": WIDTH - RIGHT, "foot": HEIGHT - BOTTOM}
