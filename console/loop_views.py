"""A 4-20 mA loop as people read it: the strip from 2 to 24 mA with its bands, the needle, the verdict in words.

Knows NE 43's bands as stretches of a strip; refuses to judge a current (the band comes with the state).
"""

from typing import Final
from zoneinfo import ZoneInfo

from console import check_views
from console.facts import Json
from console.fault_views import noise as noise_of
from console.figures import duration, moment, number, written
from console.words import BANDS, DEVICE, FAULTS, OUTCOMES, PAGE

LOW_MA: Final = 2.0
HIGH_MA: Final = 24.0
WIDTH: Final = 440
MARKS_MA: Final = (4, 8, 12, 16, 20)


def along(current_mA: float) -> float:
    """The place of a current on the strip; beyond its ends the needle rests at the end."""
    return round(min(max((current_mA - LOW_MA) / (HIGH_MA - LOW_MA), 0.0), 1.0) * WIDTH, 1)


def strip(ne43: Json) -> Json:
    """The bands, from left to right, and the current at each of their edges."""
    fail_low, low, high, fail_high = (ne43[key] for key in ("fail_low_mA", "low_mA", "high_mA", "fail_high_mA"))
    edges = (LOW_MA, fail_low, low, 4.0, 20.0, high, fail_high, HIGH_MA)
    kinds = ("fail", "gap", "edge", "normal", "edge", "gap", "fail")
    bands = [
        {"kind": kind, "x": along(start), "width": round(along(end) - along(start), 1)}
        for kind, start, end in zip(kinds, edges, edges[1:], strict=False)
    ]
    limits = [{"x": along(edge), "text": number(edge, 1)} for edge in (fail_low, low, high, fail_high)]
    return {"bands": bands, "limits": limits, "marks": [{"x": along(mA), "text": f"{mA}"} for mA in MARKS_MA]}


def view(entry: Json, names: dict[str, str], now: str, zone: ZoneInfo) -> Json:
    """Everything that moves for one loop, as texts."""
    current, outcome = entry["current_mA"], entry["outcome"]
    fault = entry.get("fault") or ""
    silent = outcome != "ok"
    noise = noise_of(entry)
    return {
        "current": {
            "t": written("current_mA", current),
            "q": "good" if current is not None and not silent else "bad",
            "n": "",
        },
        "needle": along(current) if current is not None else 0,
        "hidden": current is None or silent,
        "band": _band(entry),
        "outcome": _outcome(outcome),
        "verdict": _verdict(entry, fault),
        "faulty": "1" if fault else "",
        "since": PAGE["since"].format(time=moment(entry["fault_since"], now, zone)) if entry.get("fault_since") else "",
        "age": duration(entry["age_s"]) if entry.get("age_s") is not None else PAGE["never_read"],
        "check": check_views.view(entry.get("check"), now, zone),
        "tanks": ", ".join(names.get(tank, tank) for tank in entry["tanks"]),
        "noise": noise["figure"],
        "noise_note": noise["note"],
    }


def _verdict(entry: Json, fault: str) -> str:
    if entry.get("check"):
        return DEVICE["C"]
    return FAULTS.get(fault, fault) if fault else _no_fault(entry)


def _band(entry: Json) -> str:
    """Where the current lies; an instrument that answers without one says so."""
    if entry["outcome"] != "ok":
        return ""
    return PAGE["no_current"] if entry["current_mA"] is None else BANDS.get(entry.get("band") or "", "")


def _outcome(outcome: str | None) -> str:
    if outcome is None:
        return PAGE["never_read"]
    if outcome.startswith("exception-"):
        return PAGE["exception"].format(code=outcome.removeprefix("exception-"))
    return OUTCOMES.get(outcome, outcome)


def _no_fault(entry: Json) -> str:
    """No declared fault: say what is known instead of "good"."""
    if entry["outcome"] is None:
        return PAGE["never_read"]
    return PAGE["no_fault"] if entry["outcome"] == "ok" else _outcome(entry["outcome"])
