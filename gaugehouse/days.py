"""A site's days: they begin at `day_starts` in its own zone and have 23, 24 or 25 hours.

Pure arithmetic on UTC milliseconds; the clock is the caller's.
"""

from datetime import UTC, date, datetime, timedelta
from functools import lru_cache
from typing import Final, NamedTuple
from zoneinfo import ZoneInfo

MINUTE_MS: Final = 60_000
FIRST_MS: Final = -62_135_596_800_000
LAST_MS: Final = 253_402_300_799_999
"""The first millisecond of the year 1 and the last of the year 9999: a time beyond cannot be written."""


class Day(NamedTuple):
    """One site day, start <= t < end, in UTC milliseconds; `date` is the day on which it begins, ISO."""

    date: str
    start_ms: int
    end_ms: int


class Days:
    """Finds the site day of an instant. `starts_min`: minutes after local midnight at which a day begins."""

    __slots__ = ("_starts", "_zone")

    def __init__(self, zone: str, starts_min: int) -> None:
        self._zone = ZoneInfo(zone)
        self._starts = timedelta(minutes=starts_min)

    def at(self, time_ms: int) -> Day:
        """The day that holds an instant."""
        local = datetime.fromtimestamp(time_ms / 1000, UTC).astimezone(self._zone)
        day = self.on((local.replace(tzinfo=None) - self._starts).date().isoformat())
        if time_ms < day.start_ms:  # the clock was set forward over the day's start
            return self.on(self._after(day.date, -1))
        if time_ms >= day.end_ms:  # the clock was set back over it: its hour comes twice, and counts the first time
            return self.on(self._after(day.date))
        return day

    def on(self, date: str) -> Day:
        """The day that begins on an ISO date."""
        return Day(date, self._start_ms(date), self._start_ms(self._after(date)))

    @staticmethod
    def _after(day: str, days: int = 1) -> str:
        return (date.fromisoformat(day) + timedelta(days=days)).isoformat()

    def _start_ms(self, date: str) -> int:
        wall = datetime.fromisoformat(date) + self._starts
        return round(wall.replace(tzinfo=self._zone).timestamp() * 1000)


def day_of(zone: str, time_ms: int) -> date:
    """The date of a moment on a zone's clock."""
    return datetime.fromtimestamp(time_ms / 1000, UTC).astimezone(ZoneInfo(zone)).date()


def iso_ms(time_ms: int) -> str:
    """`2026-01-31T08:00:00.000Z`: how every time leaves the house."""
    seconds, millis = divmod(time_ms, 1000)
    return f"{_iso_s(seconds)}.{millis:03d}Z"


@lru_cache(maxsize=64)
def _iso_s(seconds: int) -> str:
    """Most rows share their second with the row before."""
    return datetime.fromtimestamp(seconds, UTC).strftime("%Y-%m-%dT%H:%M:%S")


def parse_ms(text: str) -> int:
    """UTC milliseconds of an ISO 8601 time with an offset or Z. ValueError says what is wrong with any other text."""
    moment = datetime.fromisoformat(text)
    if moment.tzinfo is None:
        raise ValueError(f"time {text!r} has no offset; write it as 2026-01-31T08:00:00Z or with +hh:mm")
    found_ms = (moment - datetime(1970, 1, 1, tzinfo=UTC)) // timedelta(milliseconds=1)
    if not FIRST_MS <= found_ms <= LAST_MS:
        raise ValueError(f"time {text!r} lies, in UTC, outside of the years 1 to 9999")
    return found_ms
