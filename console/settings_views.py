"""The settings as people read them: what the daemon made of the site file, in parts, each value with its unit.

Knows the units that stand in a key's name; refuses to know what a key means. Secrets are not among the settings (they
are kept elsewhere, and only where is told); what could carry one, an address, is shown as far as its host.
"""

import re
from collections.abc import Mapping, Sequence
from typing import Any, Final
from zoneinfo import ZoneInfo

from console.facts import Json
from console.figures import NBSP, duration, moment, number, written
from console.words import LIMITS

ADDRESS: Final = re.compile(r"([a-z][a-z0-9+.-]*://)([^\s/?#@]*@)?([^\s/?#]*)([/?#]\S*)?", re.IGNORECASE)
OPENS: Final = re.compile(r"(password|token|secret|services)(?!\w*_(file|env)\b)", re.IGNORECASE)
HIDDEN: Final = "***"
KEY: Final = re.compile(r"([a-z_]+)(?:\[([^\]]*)\])?\.?(.*)")

PARTS: Final = (
    ("site", "Site"), ("bus", "Lines"), ("instrument", "Instruments"), ("product", "Products"), ("tank", "Tanks"),
    ("meter", "Meters"), ("point", "Points"), ("supply", "Supplies"), ("loop", "Circuits of the loops"),
    ("stock", "Stock rules"), ("alarms", "Alarms"), ("alarm", "Alarm sheet"), ("faults", "Fault traces"),
    ("loop_check", "Loop checks"), ("notify", "Notification"), ("mqtt", "Broker"), ("register_server", "Control room"),
    ("store", "Store"), ("console", "Console"), ("system", "The daemon itself"),
)  # fmt: skip
UNITS: Final = (
    ("_m3_per_s", 60_000.0, "L/min"), ("_kgpm3", 1.0, "kg/m³"), ("_percent", 1.0, "%"), ("_degC", 1.0, "°C"),
    ("_m3", 1000.0, "L"), ("_mA", 1.0, "mA"), ("_ohm", 1.0, "Ω"), ("_V", 1.0, "V"), ("_m", 1000.0, "mm"),
)  # fmt: skip
"""Ends of keys, longest first where one is the end of another; the factor to the shown unit."""


def masked(text: str) -> str:
    """A text with every address in it cut down to its host: what follows it, and what stands before an @, may open a
    door."""
    return ADDRESS.sub(lambda m: f"{m[1]}{HIDDEN + '@' if m[2] else ''}{m[3]}{'/' + HIDDEN if m[4] else ''}", text)


def safe(settings: Mapping[str, Any]) -> Json:
    """The settings without anything that could be a secret."""
    return {
        key: HIDDEN if value is not None and OPENS.search(key) else masked(value) if isinstance(value, str) else value
        for key, value in settings.items()
    }


def parts(settings: Mapping[str, Any]) -> list[Json]:
    """The settings in parts ``{title, places: [{id, rows: [{key, name, value}]}]}``, in the order of the site file."""
    heads = dict(PARTS)
    found: dict[str, dict[str, list[Json]]] = {head: {} for head in heads}
    for key, value in safe(settings).items():
        match = KEY.fullmatch(key)
        head, place, rest = match.groups() if match else (key, None, "")
        row = {"key": key, "name": (rest or head).replace("_", " "), "value": shown(key, value)}
        found.setdefault(head, {}).setdefault(place or "", []).append(row)
    return [
        {"title": heads.get(head, head.replace("_", " ")), "places": [{"id": i, "rows": r} for i, r in places.items()]}
        for head, places in found.items()
        if places
    ]


def shown(key: str, value: Any) -> str:
    """A value with the unit that its key names."""
    if value is None:
        return "not set"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if not isinstance(value, int | float):
        return str(value) or "empty"
    if key.endswith("_ms"):
        return f"{value}{NBSP}ms" if value % 1000 else duration(value / 1000)
    if key.endswith("day_starts_min"):
        return f"{int(value) // 60:02d}:{int(value) % 60:02d}"
    for end, factor, unit in UNITS:
        if key.endswith(end):
            return f"{_plain(value * factor)}{NBSP}{unit}"
    return _plain(value)


def _plain(value: float) -> str:
    """As many decimals as the value has, six at most."""
    text = f"{value:.6f}".rstrip("0").rstrip(".")
    return number(value, len(text.partition(".")[2]))


def tank_row(facts: Json) -> Json:
    """A tank in the table at the head: what it is, and its limits from the top down."""
    limits = {limit["condition"]: written("level_m", limit["at_m"]) for limit in facts["limits"]}
    return {
        "id": facts["id"],
        "name": facts["name"],
        "product": facts["product"],
        "instrument": facts["instrument"],
        "capacity": written("tov_m3", facts["capacity_m3"]),
        "reach": written("level_m", facts["reach_m"]),
        "limits": [limits.get(condition, "–") for condition in LIMITS],
    }


def changed(started: Json | None, rows: Sequence[Json], now: str, zone: ZoneInfo) -> Json:
    """What the newest start found changed: ``{when, lines}``, in the order in which it was written."""
    if started is None:
        return {"when": "", "lines": []}
    return {"when": moment(started["time"], now, zone), "lines": changes(started, rows)}


def changes(started: Json, rows: Sequence[Json]) -> list[str]:
    """Of entries `setting_changed`, newest first: the lines of those that belong to a start, oldest first."""
    mine = [row for row in rows if row["n"] > started["n"]]
    return [masked(str(row["body"]["change"])) for row in reversed(mine)]
