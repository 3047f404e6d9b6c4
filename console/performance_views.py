"""How the alarms perform, as people read it: figures with their decimals, verdicts in words, names instead of ids.

Knows words and decimals; the figures and verdicts come from `console.facts.Facts.performance`.
"""

from collections.abc import Callable, Iterable, Mapping
from zoneinfo import ZoneInfo

from console.alarm_views import name_of, place_of
from console.facts import Json
from console.figures import NBSP, NOTHING, date, duration, moment, number
from console.words import VERDICTS


def view(figures: Json, alarms: Mapping[str, Json], places: dict[str, str], now: str, zone: ZoneInfo) -> Json:
    """The page's values. alarms: every alarm of the site by its id, for names; one that is gone keeps its id."""

    def named(alarm_id: str) -> str:
        alarm = alarms.get(alarm_id)
        return alarm_id if alarm is None else f"{place_of(alarm, places)}: {name_of(alarm)}"

    whole = figures["whole"]
    at = figures["now"]
    return {
        "from": date(figures["from"], zone),
        "to": date(figures["to"], zone),
        "positions": figures["operator_positions"],
        "convention": figures["convention"],
        "enough": figures["enough"],
        "enough_days": figures["enough_days"],
        "flood_since": moment(at["flood_since"], now, zone) if at["flood_since"] else "",
        "chattering_now": [named(alarm) for alarm in at["chattering"]],
        "stale_now": [named(alarm) for alarm in at["stale"]],
        "judged": [_judged(aim, judged) for aim, judged in zip(figures["aims"], whole["judged"], strict=True)],
        "annunciations": str(whole["annunciations"]),
        "floods": _floods(whole),
        "top": _counts(whole["top"], named),
        "chattering": _counts(whole["chattering"], named),
        "fleeting": _counts(whole["fleeting"], named),
        "stale": [named(alarm) for alarm in whole["stale"]],
        "months": [_row(period, zone, day=False) for period in figures["months"]],
        "days": [_row(period, zone, day=True) for period in reversed(figures["days"])],
    }


def _judged(aim: Json, judged: Json) -> Json:
    unit = f"{NBSP}%" if aim["unit"] == "%" else ""
    bound = "below" if aim["below"] else "about" if aim["figure"].startswith("priority") else "at most"
    manageable = "" if aim["manageable"] is None else f"{number(aim['manageable'], 0)}{unit}"
    return {
        "words": aim["words"],
        "value": NOTHING if judged["value"] is None else f"{number(judged['value'], 2)}{unit}",
        "aim": f"{bound} {number(aim['acceptable'], 0)}{unit}",
        "manageable": manageable,
        "verdict": VERDICTS[judged["verdict"]],
        "missed": judged["verdict"] == "missed",
    }


def _floods(figures: Json) -> str:
    if not figures["floods"]:
        return "none"
    return (
        f"{figures['floods']}, {duration(figures['flood_s'])} in all, the largest of {figures['largest_flood']} alarms"
    )


def _counts(counts: Iterable[Json], named: Callable[[str], str]) -> list[Json]:
    return [{"name": named(count["id"]), "times": str(count["times"])} for count in counts]


def _row(period: Json, zone: ZoneInfo, *, day: bool) -> Json:
    parts = period["by_priority"]
    return {
        "name": date(period["from"], zone).rsplit(" ", 1)[0] if day else period["name"],
        "annunciations": str(period["annunciations"]),
        "peak_10min": number(period["peak_10min"], 0),
        "flood": number(period["flood_percent"], 1),
        "chattering": str(len(period["chattering"])),
        "fleeting": str(len(period["fleeting"])),
        "stale": str(len(period["stale"])),
        "priorities": " / ".join(str(part) for part in parts),
        "missed": _missed(period["judged"]),
    }


def _missed(judged: Iterable[Json]) -> str:
    verdicts = [one["verdict"] for one in judged]
    return VERDICTS["not judged"] if "not judged" in verdicts else str(verdicts.count("missed"))
