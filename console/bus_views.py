"""A line as people read it: is it up, how busy is it, who answers how fast, and what goes wrong.

Knows how counters are written; refuses to judge them.
"""

from typing import Final
from zoneinfo import ZoneInfo

from console.facts import Json
from console.figures import NOTHING, duration, moment, number
from console.words import BUS_KINDS, BUS_PAGE, PAGE

COUNTED: Final = ("polls", "no_answer", "wrong_reply", "exceptions", "missed_ticks", "spared_ticks")


def view(entry: Json, now: str, zone: ZoneInfo) -> Json:
    """Everything that moves for one bus, as texts."""
    return {
        "state": _state(entry),
        "up": "1" if entry["connected"] else "",
        "busy": NOTHING if entry["utilisation"] is None else f"{number(100 * entry['utilisation'], 1)} %",
        "requests": number(entry["requests"], 0),
        "connects": number(entry["connects"], 0),
        "refused": number(entry["refused"], 0),
        "strays": number(entry["strays"], 0),
        "units": {unit["instrument"]: _unit(unit, now, zone) for unit in entry["units"]},
    }


def fixed(entry: Json) -> Json:
    """What never moves: its place, and the instruments on it."""
    return {
        "bus": entry["bus"],
        "kind": BUS_KINDS.get(entry["kind"], entry["kind"]),
        "where": entry["where"],
        "period": duration(entry["period_s"]),
        "units": [{key: unit[key] for key in ("instrument", "name", "unit")} for unit in entry["units"]],
    }


def point(entry: Json) -> Json:
    """A signal without a tank: its figure with unit and age."""
    value, age = entry["value"], entry["age_s"]
    return {
        "figure": NOTHING if value is None else f"{number(value, 3)} {entry['unit']}".rstrip(),
        "age": PAGE["never_read"] if age is None else duration(age),
    }


def _state(entry: Json) -> str:
    if entry["connected"]:
        return BUS_PAGE["connected"]
    return BUS_PAGE["down"].format(why=entry["fault"]) if entry["fault"] else BUS_PAGE["not_connected"]


def _unit(unit: Json, now: str, zone: ZoneInfo) -> Json:
    counts = {key: number(unit[key], 0) for key in COUNTED}
    share = unit["ok"] / unit["polls"] if unit["polls"] else None
    return {
        **counts,
        "answered": NOTHING if share is None else f"{number(100 * share, 1)} %",
        "last": _ms(unit["latency_ms"]),
        "half": _ms(unit["latency_p50_ms"]),
        "most": _ms(unit["latency_p95_ms"]),
        "waits": _ms(unit["timeout_ms"]),
        "good": PAGE["never_read"] if unit["last_good"] is None else moment(unit["last_good"], now, zone),
        "failure": unit["failure"],
        "failing": "1" if unit["failures_in_a_row"] else "",
    }


def _ms(value: float | None) -> str:
    return NOTHING if value is None else number(value, 0 if value >= 10 else 1)
