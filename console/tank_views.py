"""A tank as people read it: every figure with what to think of it, its state in words, what comes next.

Knows words and marks; refuses to compute stock. Source of "a figure whose validity could not be checked is shown so":
NUREG-0700 rev. 2.
"""

from collections.abc import Sequence
from typing import Final
from zoneinfo import ZoneInfo

from console import dip_views, tape
from console.alarm_views import ASIDE, name_of, ordered, standing_first, state_words, tab
from console.facts import Json
from console.figures import NOTHING, Figure, clock, duration, figure, moment, number, with_unit, written
from console.words import DEVICE, FLOWS, LIMITS, PAGE, QUALITIES, REASONS, WATER

FOLLOW_LEVEL: Final = (
    "level_m", "tov_m3", "volume_percent", "level_percent", "ullage_m", "rate_m3_per_h", "room_m3", "usable_m3",
    "dead_m3",
)  # fmt: skip
FOLLOW_STOCK: Final = ("gov_m3", "gsv_m3", "mass_kg")
OWN: Final = ("temperature_degC", "water_m", "current_mA")
UNITS: Final = {"m3": "m³", "kg/m3": "kg/m³", "m3/h": "m³/h", "degC": "°C"}
CONCERNS: Final = ("high_high", "critical_high")
ARROWS: Final = {"filling": "↑ ", "emptying": "↓ ", "still": ""}


def view(entry: Json, facts: Json, alarms: Sequence[Json], now: str, zone: ZoneInfo) -> Json:
    """Everything that moves for one tank, as texts."""
    stale = stale_words(entry, facts)
    figures = {name: fig.as_json() for name, fig in figures_of(entry, stale).items()}
    torn = _torn(entry, stale)
    state = _state(alarms, now, zone)
    return {
        **figures,
        **state,
        "flow": _flow(entry, torn=torn["torn"]),
        "note": _note(entry, stale, now, zone),
        "stale": bool(stale),
        "torn": torn,
        "next": _next_limit(entry, torn=torn["torn"]),
        "plan": _plan(entry),
        "concern": {name: _concern(entry, name, torn=torn["torn"]) for name in CONCERNS},
        **_room(entry, figures["room_m3"]),
        "water_note": _water_note(entry),
        **dip_views.line(entry.get("dip"), now, zone),
        "u95": f"± {with_unit('gsv_u95_m3', entry.get('gsv_u95_m3'))}" if entry.get("gsv_u95_m3") is not None else "",
        "gsv_u95": _with_u95(entry),
        "day": _extremes(entry, "day"),
        "reset": _extremes(entry, "since_reset"),
        "reset_since": PAGE["since"].format(time=moment(entry["since_reset_time"], now, zone))
        if entry.get("since_reset_time")
        else "",
        "read": clock(entry["time"], zone) if entry.get("time") else PAGE["never_read"],
        "lying": tape.cut(tape.lying(facts), entry, torn=torn["torn"]),
        "standing": tape.cut(tape.standing(facts), entry, torn=torn["torn"]),
        "notch": _notch_tabs(facts, alarms),
        "pin": _pin(facts, alarms),
    }


def stale_words(entry: Json, facts: Json) -> str:
    """Why the figures are old, or empty: no reading at all came for longer than this tank's polls explain."""
    age = entry["age_s"]
    return "" if age is None or age <= facts["stale_after_s"] else PAGE["reading_age"].format(age=duration(age))


def figures_of(entry: Json, stale: str) -> dict[str, Figure]:
    """The tank's figures with their marks. Volumes follow the level's quality, standard volumes the stock's."""
    reason = REASONS.get(entry["reason"], entry["reason"])
    quality, bound = entry["quality"], entry.get("bound") or ""
    marked = {
        name: figure(name, entry.get(name), quality=quality, bound=_turned(name, bound), stale=stale, note=reason)
        for name in FOLLOW_LEVEL
    }
    for name in FOLLOW_STOCK:
        marked[name] = figure(
            name, entry.get(name), quality=entry.get("stock_quality") or quality, bound=bound, stale=stale, note=reason
        )
    for name in OWN:
        marked[name] = figure(name, entry.get(name), quality="Good", bound="", stale=stale)
    return marked


def _turned(name: str, bound: str) -> str:
    """Where the level is "at least", what is left above it is "at most", and a rate is neither.

    So is what lies dead under the suction."""
    if name in ("rate_m3_per_h", "dead_m3"):
        return ""
    if name in ("ullage_m", "room_m3"):
        return {"ge": "le", "le": "ge"}.get(bound, bound)
    return bound


def _state(alarms: Sequence[Json], now: str, zone: ZoneInfo) -> Json:
    """The alarm that a person looks at first, its state and how many more stand."""
    standing = standing_first(alarms)
    if not standing:
        return {"alarm": "", "alarm_state": "", "more": "", "tab": tab(None), "invert": ""}
    first = standing[0]
    more = PAGE["more"].format(count=len(standing) - 1) if len(standing) > 1 else ""
    urgent = any(alarm["priority"] == 1 and alarm["state"] not in ASIDE for alarm in standing)
    return {
        "alarm": name_of(first),
        "alarm_state": state_words(first, now, zone),
        "more": more,
        "tab": tab(first),
        "invert": "1" if urgent else "",
    }


def _torn(entry: Json, stale: str) -> Json:
    """The torn tape: where the level can no longer be trusted, with the device's status letter and word."""
    torn = entry.get("torn")
    lost = entry.get("level_m") is None or (entry["quality"] == "Bad" and not entry.get("bound")) or bool(stale)
    if torn:
        return {"torn": lost, "letter": torn["status"], "word": torn["word"] or DEVICE.get(torn["status"], "")}
    return {"torn": lost, "letter": "", "word": ""}


def _flow(entry: Json, *, torn: bool) -> str:
    """Which way the level goes; never empty."""
    if torn:
        return PAGE["level_unknown"]
    flow = entry["flow"]
    return ARROWS[flow] + FLOWS[flow] if flow in FLOWS else PAGE["flow_unknown"]


def _note(entry: Json, stale: str, now: str, zone: ZoneInfo) -> str:
    """The small line under the volume: why it is not good, and the last good one."""
    if stale:
        return stale
    if entry["quality"] == "Good":
        return ""
    parts = [REASONS.get(entry["reason"], entry["reason"])]
    if entry.get("tov_m3") is None and entry.get("last_good_tov_m3") is not None:
        parts.append(
            PAGE["last_good"].format(
                figure=with_unit("tov_m3", entry["last_good_tov_m3"]), time=moment(entry["last_good_time"], now, zone)
            )
        )
    return "; ".join(part for part in parts if part)


def _next_limit(entry: Json, *, torn: bool) -> Json:
    """The next limit, the time and the volume to it; never empty while the level moves."""
    coming = entry.get("next_limit")
    if torn:
        return {"name": "", "time": NOTHING, "volume": ""}
    if coming:
        seconds = coming.get("seconds")
        return {
            "name": LIMITS.get(coming["condition"], coming["condition"]),
            "time": PAGE["within"].format(time=duration(seconds)) if seconds is not None else PAGE["limit_unknown"],
            "volume": with_unit("tov_m3", abs(coming["volume_m3"])) if coming.get("volume_m3") is not None else "",
        }
    words = {"filling": PAGE["past_all_high"], "emptying": PAGE["past_all_low"], "still": PAGE["not_moving"]}
    return {"name": words.get(entry["flow"], PAGE["limit_unknown"]), "time": "", "volume": ""}


def _plan(entry: Json) -> str:
    """The movement that was ordered, and how far it is; empty where none was."""
    plan = entry.get("plan")
    if not plan:
        return ""
    receipt = plan["kind"] == "receipt"
    volume = with_unit("tov_m3", max(0.0, plan["moved_m3"]))
    moved = (
        PAGE["plan_in" if receipt else "plan_out"].format(volume=volume) if plan["begun"] else PAGE["plan_not_begun"]
    )
    return PAGE["plan_receipt" if receipt else "plan_issue"].format(
        quantity=with_unit("tov_m3", plan["quantity_m3"]), by=plan["by"], moved=moved
    )


def _with_u95(entry: Json) -> str:
    """The standard volume with its expanded uncertainty (95 %); in words where there is none."""
    volume, u95 = entry.get("gsv_m3"), entry.get("gsv_u95_m3")
    if volume is None or u95 is None:
        return PAGE["u95_unknown"]
    return PAGE["u95_of"].format(volume=written("gsv_m3", volume), u95=with_unit("gsv_u95_m3", u95))


def _concern(entry: Json, name: str, *, torn: bool) -> Json:
    """Time to high-high or critical high, and between what it lies; empty while the level does not move there."""
    coming = (entry.get("time_to") or {}).get(name)
    if torn or not coming or coming["seconds"] is None:
        return {"time": "", "span": ""}
    earliest, latest = coming["earliest_s"], coming["latest_s"]
    if latest is None:
        span = PAGE["or_later"].format(earliest=duration(earliest))
    else:
        ends = {"earliest": duration(earliest), "latest": duration(latest)}
        span = PAGE["from_to"].format(**ends) if ends["earliest"] != ends["latest"] else ""
    return {"time": PAGE["within"].format(time=duration(coming["seconds"])), "span": span}


def _room(entry: Json, shown: Json) -> Json:
    """What still fits below the maximum working level; past it, zero and by how much."""
    room = entry.get("room_m3")
    if room is not None and room < 0 and shown["q"] in ("good", "uncertain", "bound"):
        over = PAGE["over_by"].format(volume=written("room_m3", -room))
        return {"room": {**shown, "t": written("room_m3", 0.0)}, "room_note": over}
    return {"room": shown, "room_note": ""}


def _water_note(entry: Json) -> str:
    source = entry.get("water_source") or "none"
    age = entry.get("water_age_s")
    word = WATER.get(source, source)
    if source == "dips" and entry["water_m"] is None:
        return PAGE["water_undipped"] if age is None else PAGE["water_too_old"].format(age=duration(age))
    if source == "none" or age is None or age < 60:
        return word
    return f"{word} {duration(age - age % 3600 if age >= 3600 else age)} ago"


def _extremes(entry: Json, which: str) -> Json:
    return {end: written("level_m", entry.get(f"{which}_{end}_m")) for end in ("low", "high")}


def _notch_tabs(facts: Json, alarms: Sequence[Json]) -> Json:
    """The tab of each notch of the standing tape; empty where no alarm of that limit stands."""
    standing = {alarm["condition"]: alarm for alarm in alarms}
    return {limit["condition"]: tab(standing.get(limit["condition"])) for limit in facts["limits"]}


def _pin(facts: Json, alarms: Sequence[Json]) -> Json:
    """The one tab that the lying tape has room for: the most pressing level alarm, at its notch."""
    places = {limit["condition"]: limit["at_m"] for limit in facts["limits"]}
    first = next((alarm for alarm in ordered(alarms) if alarm["condition"] in places), None)
    at = tape.lying(facts).along(places[first["condition"]]) if first else 0
    return {"tab": tab(first), "at": at}


def fixed(facts: Json) -> Json:
    """Everything that never moves for one tank: outlines, graduation, notches, capacity."""
    lies, stands = tape.lying(facts), tape.standing(facts)
    return {
        "id": facts["id"],
        "name": facts["name"],
        "product": facts["product"],
        "instrument": facts["instrument"],
        "capacity": with_unit("tov_m3", facts["capacity_m3"]),
        "reference_height": with_unit("level_m", facts["reference_height_m"]),
        "top": with_unit("level_m", facts["top_m"]),
        "reach": with_unit("level_m", facts["reach_m"]) if facts.get("reach_m") is not None else "",
        "lying": {
            "outline": tape.outline(lies, facts["profile"], lies=True),
            "marks": tape.graduation(lies, fewest_apart=7),
            "notches": tape.notches(lies, facts["limits"]),
            "end": lies.along(facts["reference_height_m"]),
            "top": lies.along(facts["top_m"]),
        },
        "standing": {
            "outline": tape.outline(stands, facts["profile"], lies=False),
            "marks": tape.graduation(stands, fewest_apart=9),
            "notches": tape.notches(stands, facts["limits"], label_gap=34),
            "end": stands.along(facts["reference_height_m"]),
            "top": stands.along(facts["top_m"]),
            "range": _range(stands, facts),
        },
        "marks": _marks(facts),
        "suction": facts.get("suction") is not None,
        "concerns": [
            {"condition": limit["condition"], "name": LIMITS[limit["condition"]]}
            for limit in reversed(facts["limits"])
            if limit["condition"] in CONCERNS
        ],
        "limits": [
            {
                "name": LIMITS.get(limit["condition"], limit["condition"]),
                "level": written("level_m", limit["at_m"]),
                "volume": written("tov_m3", limit.get("volume_m3")),
            }
            for limit in facts["limits"]
        ],
    }


def _marks(facts: Json) -> list[Json]:
    """Levels of the site's own that raise no alarm: the safe fill with its rule, and the lowest suction."""
    found = []
    for key in ("safe_fill", "suction"):
        mark = facts.get(key)
        if mark is not None:
            found.append(
                {
                    "name": PAGE[key],
                    "level": written("level_m", mark["level_m"]),
                    "volume": written("tov_m3", mark["volume_m3"]),
                    "rule": mark.get("rule", ""),
                }
            )
    return found


def _range(frame: tape.Frame, facts: Json) -> Json | None:
    """The stretch between the loop's ends, labelled by current."""
    ends = facts.get("range_m")
    if not ends:
        return None
    return {"low": frame.along(min(ends)), "high": frame.along(max(ends)), "reversed": ends[0] > ends[1]}


def chain_rows(chain: Json) -> list[Json]:
    """The steps from the raw register to mass, as a table."""
    rows = []
    for step in chain["steps"]:
        quality, _, reason = step["quality"].partition(" ")
        words = (QUALITIES.get(quality, quality), REASONS.get(reason, reason))
        rows.append(
            {
                "symbol": step["symbol"],
                "name": step["name"],
                "value": _plain(step["value"]),
                "unit": UNITS.get(step["unit"], step["unit"]),
                "rule": step["rule"],
                "quality": ": ".join(word for word in words if word),
                "trust": {"Good": "good", "Uncertain": "uncertain", "Bad": "bad"}.get(quality, "good"),
            }
        )
    return rows


def _plain(value: float | int | str | None) -> str:
    """A step's value as it was computed: whole numbers whole, others to at most seven digits after the point."""
    if value is None:
        return NOTHING
    if isinstance(value, str):
        return value
    if isinstance(value, int):
        return number(value, 0)
    size = abs(value)
    decimals = 7 if size < 10 else 4 if size < 1000 else 3
    return number(value, len(f"{value:.{decimals}f}".partition(".")[2].rstrip("0")))
