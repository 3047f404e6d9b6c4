"""The view model: one state of the daemon as everything that the pages show of it.

The first values that a page is served with and every later message of the page feed are made here, from the same
function, so that they cannot drift apart. Knows which views make up a page; refuses to know HTML or sockets.
"""

from zoneinfo import ZoneInfo

from console import alarm_views, bus_views, check_views, loop_views, status_views, tank_views
from console.facts import Facts, Json
from console.figures import clock, date, in_units, units_now
from console.words import NOT_WRITTEN


class Model:
    """Views of one site's states. What never changes is asked for once."""

    def __init__(self, facts: Facts) -> None:
        self._facts = facts
        self.zone = ZoneInfo(facts.site.zone)
        self._tank_facts: dict[str, Json] = {}
        self._fixed: dict[tuple[str, str], Json] = {}

    def tank_facts(self, tank: str) -> Json:
        if tank not in self._tank_facts:
            self._tank_facts[tank] = self._facts.tank_facts(tank)
        return self._tank_facts[tank]

    def fixed(self, tank: str) -> Json:
        """The tape and the other things of a tank that never move."""
        key = (units_now(), tank)
        if key not in self._fixed:
            self._fixed[key] = tank_views.fixed(self.tank_facts(tank))
        return self._fixed[key]

    def message_us(self, live: Json) -> Json:
        """The message in US customary units, for the pages that a person reads in them."""
        with in_units("us"):
            return self.message(live)

    def message(self, live: Json) -> Json:
        """Everything on the pages that moves, as texts and drawing units."""
        now, alarms, places = live["time"], live["alarms"], self.places(live)
        names = {entry["tank"]: entry["name"] for entry in live["tanks"]}
        return {
            "seq": live["seq"],
            "time": now,
            "clock": clock(now, self.zone),
            "date": date(now, self.zone),
            "head": alarm_views.head(alarms, places),
            "rev": alarm_views.revision(alarms, live["tests"]),
            "sound": alarm_views.sounding(alarms),
            "tanks": {
                entry["tank"]: tank_views.view(
                    entry, self.tank_facts(entry["tank"]), self.alarms_of(live, entry), now, self.zone
                )
                | {"status": status_views.words(entry, now, self.zone)}
                for entry in live["tanks"]
            },
            "alarms": {alarm["id"]: {"age": alarm_views.age(alarm["raised"], now)} for alarm in alarms},
            "loops": {entry["instrument"]: loop_views.view(entry, names, now, self.zone) for entry in live["loops"]},
            "buses": {entry["bus"]: bus_views.view(entry, now, self.zone) for entry in live["buses"]},
            "checks": check_views.strip(live, places, self.zone),
            "waits": waits(live),
            "points": {entry["id"]: bus_views.point(entry) for entry in live["points"]},
        }

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


def waits(live: Json) -> str:
    """Whether decisions cannot be written, and why: then nothing on a page is new."""
    why = live.get("waits", "")
    return NOT_WRITTEN.format(why=why) if why else ""
