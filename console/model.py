"""The view model: one state of the daemon as everything that the pages show of it.

The first values that a page is served with and every later message of the page feed are made here, from the same
function, so that they cannot drift apart. Knows which views make up a page; refuses to know HTML or sockets.
"""

from collections.abc import Iterator
from typing import Any
from zoneinfo import ZoneInfo

from console import alarm_views, bus_views, check_views, loop_views, status_views, tank_views
from console.chosen import AS_USUAL, Choice, choice_now, chosen
from console.facts import Facts, Json
from console.figures import clock, date
from console.words import NOT_WRITTEN

Parts = Iterator[tuple[str, Any]]
"""Name and value of each part of a message, JSON-ready; a long part is such pairs itself and comes entry by entry."""


class Model:
    """Views of one site's states. What never changes is asked for once."""

    def __init__(self, facts: Facts) -> None:
        self._facts = facts
        self.zone = ZoneInfo(facts.site.zone)
        self._tank_facts: dict[str, Json] = {}
        self._fixed: dict[tuple[Choice, str], Json] = {}

    def tank_facts(self, tank: str) -> Json:
        if tank not in self._tank_facts:
            self._tank_facts[tank] = self._facts.tank_facts(tank)
        return self._tank_facts[tank]

    def fixed(self, tank: str) -> Json:
        """The tape and the other things of a tank that never move."""
        key = (choice_now(), tank)
        if key not in self._fixed:
            self._fixed[key] = tank_views.fixed(self.tank_facts(tank))
        return self._fixed[key]

    def message(self, live: Json) -> Json:
        """Everything on the pages that moves, as texts and drawing units."""
        return _whole(self.parts(live, choice_now()))

    def parts(self, live: Json, choice: Choice = AS_USUAL) -> Parts:
        """The message in the order in which it is sent. What has an entry for each tank, loop or line of the site is
        made as it is asked for, entry by entry: whoever sends it may let others have a turn in between."""
        for name, value in _chosen(self._parts(live), choice):
            yield name, _chosen(value, choice) if isinstance(value, Iterator) else value

    def _parts(self, live: Json) -> Parts:
        now, zone, alarms, places = live["time"], self.zone, live["alarms"], self.places(live)
        names = {entry["tank"]: entry["name"] for entry in live["tanks"]}
        yield "seq", live["seq"]
        yield "time", now
        yield "clock", clock(now, zone)
        yield "date", date(now, zone)
        yield "head", alarm_views.head(alarms, places)
        yield "rev", alarm_views.revision(alarms, live["tests"])
        yield "sound", alarm_views.sounding(alarms)
        yield "tanks", self._tanks(live)
        yield "alarms", {alarm["id"]: {"age": alarm_views.age(alarm["raised"], now)} for alarm in alarms}
        yield "loops", ((one["instrument"], loop_views.view(one, names, now, zone)) for one in live["loops"])
        yield "buses", ((one["bus"], bus_views.view(one, now, zone)) for one in live["buses"])
        yield "checks", check_views.strip(live, places, zone)
        yield "waits", waits(live)
        yield "points", {entry["id"]: bus_views.point(entry) for entry in live["points"]}

    def _tanks(self, live: Json) -> Iterator[tuple[str, Json]]:
        now, zone = live["time"], self.zone
        standing = {alarm["id"]: (place, alarm) for place, alarm in enumerate(live["alarms"])}
        for entry in live["tanks"]:
            ids, facts = entry["alarms"], self.tank_facts(entry["tank"])
            alarms = [alarm for _, alarm in sorted((standing[i] for i in ids if i in standing), key=_place)]
            view = tank_views.view(entry, facts, alarms, now, zone)
            view["status"] = status_views.words(entry, now, zone)
            yield entry["tank"], view

    def alarm_list(self, live: Json) -> list[Json]:
        """The standing alarms in the order in which a person should take them, in parts ``{heading, alarms}``."""
        places, now = self.places(live), live["time"]
        return [
            {"heading": heading, "alarms": [alarm_views.view(alarm, places, now, self.zone) for alarm in part]}
            for heading, part in alarm_views.grouped(live["alarms"])
        ]

    @staticmethod
    def places(live: Json) -> dict[str, str]:
        """Names for people by the ids of tanks and instruments."""
        loops = {entry["instrument"]: entry["name"] for entry in live["loops"]}
        return loops | {entry["tank"]: entry["name"] for entry in live["tanks"]}

    @staticmethod
    def alarms_of(live: Json, entry: Json) -> list[Json]:
        ids = set(entry["alarms"])
        return [alarm for alarm in live["alarms"] if alarm["id"] in ids]


def _chosen(made: Parts, choice: Choice) -> Parts:
    """Each part is made as it was chosen; whoever takes it is left with its own choice."""
    while True:
        with chosen(choice):
            part = next(made, None)
        if part is None:
            return
        yield part


def _whole(parts: Parts) -> Json:
    return {name: dict(value) if isinstance(value, Iterator) else value for name, value in parts}


def _place(placed: tuple[int, Json]) -> int:
    return placed[0]


def waits(live: Json) -> str:
    """Whether decisions cannot be written, and why: then nothing on a page is new."""
    why = live.get("waits", "")
    return NOT_WRITTEN.format(why=why) if why else ""
