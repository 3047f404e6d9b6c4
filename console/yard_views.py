"""A tank as it is read from the yard: one figure, a word, what still fits, and what to do while an alarm stands.

Knows which alarm comes first and where its action may be cut; refuses to know sizes. A figure that cannot be trusted
is not shown at all here: from afar a mark beside it would be overlooked.
"""

import re
from collections.abc import Iterable, Sequence
from typing import Final

from console import tank_views
from console.alarm_views import ASIDE, name_of, waits
from console.facts import Json
from console.figures import NBSP, clock, number, unit, written
from console.model import Model
from console.yard_words import FLOWS, PAGE, SHOWN

CLAUSE: Final = re.compile(r"[.,;:]\s|\.$|\s(?:then|and then)\s")
"""Where the first instruction of an operator action ends."""


def message(model: Model, live: Json) -> Json:
    """One state for every yard screen: ``{seq, time, clock, tanks, site}``; `site` is the alarm of no tank."""
    cards = {
        entry["tank"]: card(entry, model.tank_facts(entry["tank"]), model.alarms_of(live, entry))
        for entry in live["tanks"]
    }
    ids = {tank for entry in live["tanks"] for tank in entry["alarms"]}
    own = [alarm for alarm in live["alarms"] if alarm["id"] not in ids and alarm["priority"] == 1]
    places = Model.places(live)
    first = next(iter(standing(own)), None)
    place = "" if first is None else places.get(str(first["source"]), str(first["source"]))
    site = {"place": place, **_order(standing(own))}
    return {
        "seq": live["seq"],
        "time": live["time"],
        "clock": clock(live["time"], model.zone) if live["time"] else PAGE["nothing"],
        "tanks": cards,
        "site": site,
    }


def card(entry: Json, facts: Json, alarms: Sequence[Json]) -> Json:
    """What moves on one tank's card, as texts. `data` is empty while no figure can be trusted."""
    stale = tank_views.stale_words(entry, facts)
    figures = tank_views.figures_of(entry, stale)
    lost = bool(stale) or figures["tov_m3"].trust == "bad"
    shown = {name: PAGE["nothing"] if lost else figures[column].text for name, (column, _) in SHOWN.items()}
    if not lost:  # whole percents: four tanks have room then, and nobody reads tenths from afar
        whole = number(entry["volume_percent"], 0)
        shown["percent"] = shown["percent"].replace(written("volume_percent", entry["volume_percent"]), whole)
    return {
        **shown,
        "data": "" if lost else "1",
        "flow": PAGE["flow_unknown"] if lost else FLOWS.get(entry["flow"], PAGE["flow_unknown"]),
        "fits": "" if lost else _fits(entry, figures["room_m3"].text),
        **_order(standing(alarms)),
    }


def standing(alarms: Iterable[Json]) -> list[Json]:
    """Alarms whose cause is there or that hold until reset: the most urgent first, then the not acknowledged, the
    oldest. One that is set aside or has gone asks nobody in the yard for anything."""
    stand = [
        alarm
        for alarm in alarms
        if alarm["state"] not in ASIDE and (not alarm["returned"] or alarm["state"].startswith("latched"))
    ]
    return sorted(stand, key=lambda a: (a["priority"], not waits(a), a["raised"] or "", a["id"]))


def first_words(action: str) -> str:
    """The first instruction of an operator action, up to where its sentence or clause ends."""
    words = action.strip()
    found = CLAUSE.search(words)
    return words[: found.start()] if found else words


def _order(stand: Sequence[Json]) -> Json:
    """The alarm and what to do about it. `pin` is "1" for one of priority 1: it goes on top, inverted."""
    if not stand:
        return {"alarm": "", "action": "", "pin": ""}
    first = stand[0]
    return {
        "alarm": name_of(first),
        "action": first_words(first.get("action") or ""),
        "pin": "1" if first["priority"] == 1 else "",
    }


def _fits(entry: Json, text: str) -> str:
    room = entry.get("room_m3")
    if room is None:
        return PAGE["fits_unknown"]
    if room <= 0:
        return PAGE["full"]
    return PAGE["fits"].format(volume=f"{text}{NBSP}{unit('room_m3')}")
