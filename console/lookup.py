"""Ids in addresses: their form, and whether the site knows them. An unknown one is answered with the known ones."""

from datetime import datetime
from typing import Annotated, Final

from fastapi import Path

from console.facts import Json
from console.figures import parse_time
from console.problems import Refused

ID_PATTERN = "^[A-Za-z0-9_-]{1,32}$"
ALARM_PATTERN = r"^[A-Za-z0-9_-]{1,32}\.[a-z0-9_]{1,32}$"

FIRST_MS: Final = -62_135_596_800_000
LAST_MS: Final = 253_402_300_799_999
"""The first millisecond of the year 1 and the last of the year 9999, which no calendar here goes beyond."""

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
    found_ms = round(moment.timestamp() * 1000)
    if not FIRST_MS <= found_ms <= LAST_MS:
        raise Refused(422, f"the time {moment.isoformat()} lies, in UTC, outside of the years 1 to 9999")
    return found_ms


def stretch_ms(start: datetime, span_s: float, points: int = 1) -> tuple[int, int]:
    """Start and length in ms of a stretch that is asked for in so many points, each of 1 ms at the least."""
    start_ms, span_ms = time_ms(start), max(1, round(span_s * 1000))
    if span_ms < points:
        raise Refused(422, f"query.span: {span_s:g} s in {points} points; a point is 1 ms or longer, ask for fewer")
    if start_ms + span_ms > LAST_MS:
        raise Refused(422, "query.start: the stretch ends after the year 9999; ask for an earlier one")
    return start_ms, span_ms
