"""Water, forecast and the due list as people read them: volumes, lengths, days, and a drawing of the water cut.

Knows words, units and drawing places; refuses to judge (verdicts come with the state).
"""

from typing import Any, Final
from zoneinfo import ZoneInfo

from console.facts import Json
from console.figures import NOTHING, moment, number, parse_time, plainly, with_unit, written
from console.units import INCH_M, units_now
from console.water_words import DUE, RESULTS, SOURCES, STATES, VERDICTS, WATER
from console.words import MONTHS

WIDTH: Final = 640
HEIGHT: Final = 150
LEFT: Final = 44
TOP: Final = 14
BOTTOM: Final = 24
DAY_S: Final = 86_400
GAP_S: Final = 2.5 * DAY_S
STEPS_MM: Final = (5, 10, 20, 50, 100, 200, 500, 1000, 2000)
STEPS_IN: Final = (0.25, 0.5, 1, 2, 3, 6, 12, 24, 72)


def account(told: Json, name: str, now: str, zone: ZoneInfo) -> Json:
    """One tank's account: what is expected, what was found, the verdict, and its water cut over time."""
    slope = told["trend"]
    return {
        "tank": told["tank"],
        "name": name,
        "span": f"{_day(told['from'])} to {_day(told['to'])}",
        "verdict": VERDICTS[told["verdict"]],
        "more": "1" if told["verdict"] == "more than expected" else "",
        "why": told["why"],
        "expected": _litres(told["expected_low_m3"], told["expected_high_m3"]),
        "found": _litres(told["found_low_m3"], told["found_high_m3"]),
        "drained": _litres(told["drained_low_m3"], told["drained_high_m3"]),
        "lying": _litres(told["lying_low_m3"], told["lying_high_m3"]),
        "terms": [
            {"term": term["term"], "litres": _litres(term["low_m3"], term["high_m3"]), "note": _signs(term["note"])}
            for term in told["terms"]
        ],
        "slope": _slope(slope),
        "rises": "1" if slope["rises"] else "",
        "drains": [
            {"day": _day(one["day"]), "litres": _one_litre(one["water_m3"]), "by": one["by"], "how": one["how"]}
            for one in told["drained"]
        ],
        "flows": WATER["flows"].format(by=told["flows_by"]) if told["flows_by"] else WATER["no_flows"],
        "chart": _chart(told, name, zone),
    }


def _signs(text: str) -> str:
    """Units as a page writes them."""
    return text.replace("m3", "m³").replace("degC", "°C")


def _slope(slope: Json) -> str:
    if slope["slope_m_per_day"] is None:
        return str(slope["why"])
    told = WATER["slope"].format(
        slope=with_unit("drift_m_per_day", slope["slope_m_per_day"], signed=True),
        error=with_unit("drift_m_per_day", slope["standard_error_m_per_day"]),
        count=slope["cuts"],
    )
    return f"{told}: {WATER['rises' if slope['rises'] else 'no_rise']}"


def _litres(low: float | None, high: float | None) -> str:
    if low is None or high is None:
        return WATER["not_known"]
    return f"{written('small_m3', low)} … {with_unit('small_m3', high)}"


def _one_litre(m3: float) -> str:
    return with_unit("drained_m3", m3)


def _day(iso: str) -> str:
    year, month, day = iso.split("-")
    return f"{int(day)} {MONTHS[int(month) - 1]} {year}"


def _chart(told: Json, name: str, zone: ZoneInfo) -> Json | None:
    """Where everything stands in a drawing of 640 by 150; None where there is nothing to draw."""
    cuts = told["cuts"]
    if not cuts:
        return None
    start = parse_time(f"{told['from']}T00:00:00").replace(tzinfo=zone).timestamp()
    span = max(1.0, told["days"] * DAY_S)
    per_m, steps = (1 / INCH_M, STEPS_IN) if units_now() == "us" else (1000.0, STEPS_MM)
    values = [per_m * cut["water_m"] for cut in cuts]
    top = next((step for step in steps if step >= max(values)), steps[-1])

    def x(time: str) -> float:
        part = float((parse_time(time).timestamp() - start) / span)
        return round(LEFT + min(1.0, max(0.0, part)) * (WIDTH - LEFT), 1)

    def y(water_m: float) -> float:
        part = min(1.0, max(0.0, per_m * water_m / top))
        return float(round(TOP + (1 - part) * (HEIGHT - TOP - BOTTOM), 1))

    return {
        "width": WIDTH,
        "height": HEIGHT,
        "left": LEFT,
        "top": TOP,
        "base": HEIGHT - BOTTOM,
        "end": WIDTH,
        "foot": HEIGHT - 6,
        "highest": number(top, 0 if top >= 1 else 2),
        "unit": "in" if units_now() == "us" else "mm",
        "first": _day(told["from"]),
        "last": _day(told["to"]),
        "lines": _lines([cut for cut in cuts if cut["source"] == "signal"], x, y),
        "dips": [{"x": x(cut["time"]), "y": y(cut["water_m"])} for cut in cuts if cut["source"] == "dip"],
        "drains": [x(one["time"]) for one in told["drained"] if one["water_m3"] > 0],
        "sources": [SOURCES[word] for word in SOURCES if any(cut["source"] == word for cut in cuts)],
        "words": WATER["chart"].format(
            name=name, first=_day(told["from"]), last=_day(told["to"]), low=written("water_m", min(values) / per_m),
            high=with_unit("water_m", max(values) / per_m),
        ),
    }  # fmt: skip


def _lines(cuts: list[Json], x: Any, y: Any) -> list[str]:
    """The signal as lines that end where a day is missing: a gap is shown as a gap."""
    lines: list[list[str]] = []
    before = None
    for cut in cuts:
        at = parse_time(cut["time"]).timestamp()
        if before is None or at - before > GAP_S:
            lines.append([])
        lines[-1].append(f"{x(cut['time'])},{y(cut['water_m'])}")
        before = at
    return [" ".join(line if len(line) > 1 else line * 2) for line in lines]


def checks(rows: list[Json], names: dict[str, str], now: str, zone: ZoneInfo) -> list[Json]:
    """Drain checks, newest first, withdrawn ones struck."""
    return [
        {
            "number": row["number"],
            "tank": names.get(row["tank"], row["tank"]),
            "day": _day(row["day"]),
            "by": row["by"],
            "result": RESULTS[row["result"]],
            "water": NOTHING if not row["water_m3"] else with_unit("drop_m3", row["water_m3"]),
            "looked": row["appearance"],
            "note": "; ".join(filter(None, (row["why"], row["comment"], _document(row), _withdrawn(row)))),
            "gone": row["withdrawn"] is not None,
            "time": moment(row["time"], now, zone),
        }
        for row in rows
    ]


def _document(row: Json) -> str:
    return "" if row["document"] is None else f"document {row['document']}"


def _withdrawn(row: Json) -> str:
    return "" if row["withdrawn"] is None else WATER["withdrawn"].format(**row["withdrawn"])


def due(told: Json, names: dict[str, str], now: str, zone: ZoneInfo) -> Json:
    """The due list in its groups, empty groups left out; times as days on the site's calendar."""
    groups = []
    for state, word in STATES.items():
        rows = [_due_row(row, names, now, zone) for row in told["dues"] if row["state"] == state]
        if rows:
            groups.append({"state": state, "name": word, "count": len(rows), "rows": rows})
    return {
        "groups": groups,
        "counts": ", ".join(f"{told['counts'][state]} {word.lower()}" for state, word in STATES.items()),
        "empty": "" if groups else DUE["nothing"],
    }


def _due_row(row: Json, names: dict[str, str], now: str, zone: ZoneInfo) -> Json:
    return {
        "kind": row["kind"],
        "about": names.get(row["about"], row["about"]),
        "what": plainly(row["what"], now, zone),
        "until": DUE["no_date"] if row["until"] is None else _until(row["until"], zone),
        "who": row["who"],
        "last": plainly(row["last"], now, zone),
        "note": plainly(row["note"], now, zone),
        "rule": row["rule"],
        "link": row["link"],
    }


def _until(text: str, zone: ZoneInfo) -> str:
    local = parse_time(text).astimezone(zone)
    return f"{local.day} {MONTHS[local.month - 1]} {local.year} {local:%H:%M}"
