"""Ids in addresses: their form, and whether the site knows them. An unknown one is answered with the known ones."""

from datetime import datetime
from typing import Annotated

from fastapi import Path

from console.facts import Json
from console.figures import parse_time
from console.problems import Refused

ID_PATTERN = "^[A-Za-z0-9_-]{1,32}$"
ALARM_PATTERN = r"^[A-Za-z0-9_-]{1,32}\.[a-z0-9_]{1,32}$"

TankId = Annotated[str, Path(pattern=ID_PATTERN, description="a tank's id as in the site file")]
InstrumentId = Annotated[str, Path(pattern=ID_PATTERN, description="an instrument's id as in the site file")]
AlarmId = Annotated[str, Path(pattern=ALARM_PATTERN, description="source and condition, with a dot between")]


def known_tank(live: Json, tank: str) -> Json:
    return _known(live["tanks"], "tank", tank)


def known_loop(live: Json, instrument: str) -> Json:
    return _known(live["loops"], "instrument", instrument)


def _known(entries: list[Json], key: str, wanted: str) -> Json:
    for entry in entries:
        if entry[key] == wanted:
            return entry
    known = ", ".join(str(entry[key]) for entry in entries) or "none"
    raise Refused(404, f"this site has no {key} {wanted}; it has: {known}")


def time_ms(time: str | datetime) -> int:
    """UTC milliseconds of an ISO time or of an aware datetime, exact."""
    moment = parse_time(time) if isinstance(time, str) else time
    return round(moment.timestamp() * 1000)
