"""How a figure is written for a person: its number with its unit, times, and what to think of it.

Knows words and marks; refuses to compute a figure. The units are of `console.units`, the digits of `console.numbers`.
The sign always stands on a rate.
"""

import re
from datetime import datetime, timedelta
from functools import lru_cache
from typing import Final, NamedTuple
from zoneinfo import ZoneInfo

from console.numbers import KEPT, MINUS, THIN, feet, feet_in_words, number, number_in, style_now
from console.units import shown, shown_in, unit, units_now
from console.words import DAYS, MONTHS, PAGE

__all__ = [
    "MINUS", "NBSP", "NOTHING", "THIN", "Figure", "clock", "date", "duration", "figure", "moment", "number",
    "parse_time", "plainly", "shown", "trimmed", "unit", "until", "with_unit", "written",
]  # fmt: skip

NBSP: Final = "\N{NO-BREAK SPACE}"
NOTHING: Final = "– – –"


def written(column: str, value: float | None, *, signed: bool | None = None, decimals: int | None = None) -> str:
    """A figure in its shown unit, without the unit; "– – –" where there is none. signed, decimals: None = as usual."""
    return NOTHING if value is None else _written(column, value, signed, decimals, units_now(), style_now())


@lru_cache(maxsize=KEPT)
def _written(column: str, value: float, signed: bool | None, decimals: int | None, units: str, style: str) -> str:
    by = shown_in(column, units)
    told = value * by.factor + by.offset
    if by.form == "feet":
        return feet(told)
    places = by.decimals if decimals is None else decimals
    return number_in(told, places, by.signed if signed is None else signed, style)


def with_unit(column: str, value: float | None, *, signed: bool | None = None, decimals: int | None = None) -> str:
    if value is None:
        return NOTHING
    by = shown(column)
    if by.form == "feet":
        return feet_in_words(value * by.factor + by.offset)
    return f"{written(column, value, signed=signed, decimals=decimals)}{NBSP}{by.unit.replace(' ', NBSP)}"


def trimmed(column: str, value: float | None, *, signed: bool = False) -> str:
    """As `written`, without decimals where they are all zero: a paper of whole litres looks like one."""
    if value is None:
        return NOTHING
    by = shown(column)
    told = round(value * by.factor + by.offset, by.decimals)
    return written(column, value, signed=signed, decimals=0 if told == round(told) else by.decimals)


def duration(seconds: float) -> str:
    """A length of time in its two largest units, rounded down: what is left never looks longer than it is."""
    s = max(0, int(seconds))
    for name, size, lesser, below in (("d", 86400, "h", 3600), ("h", 3600, "min", 60)):
        if s >= size:
            rest = s % size // below
            return NBSP.join([f"{s // size}", name, *([f"{rest}", lesser] if rest else [])])
    if s >= 600:
        return f"{s // 60}{NBSP}min"
    if s >= 120:
        return f"{s // 60}{NBSP}min" + (f"{NBSP}{s % 60}{NBSP}s" if s % 60 else "")
    return f"{s}{NBSP}s"


def parse_time(text: str) -> datetime:
    """An ISO time of the feed; always aware."""
    return datetime.fromisoformat(text)


@lru_cache(maxsize=4096)
def _local(text: str, zone: ZoneInfo) -> datetime:
    """On the site's clock. Kept: a state says the same few times in hundreds of places."""
    return parse_time(text).astimezone(zone)


def clock(text: str, zone: ZoneInfo) -> str:
    """hh:mm:ss on the site's clock."""
    return _clock(_local(text, zone))


def _clock(local: datetime) -> str:
    return f"{local.hour:02}:{local.minute:02}:{local.second:02}"


def date(text: str, zone: ZoneInfo) -> str:
    """Tue 24 Nov 2026 and the zone's abbreviation, on the site's calendar."""
    local = _local(text, zone)
    return f"{DAYS[local.weekday()]} {local.day} {MONTHS[local.month - 1]} {local.year} {local.tzname() or ''}".rstrip()


def moment(text: str | None, now: str, zone: ZoneInfo) -> str:
    """A past time as short as can be told: hh:mm:ss today, with day and month before it, with the year further off."""
    if not text:
        return NOTHING
    then, today = _local(text, zone), _local(now, zone)
    if then.date() == today.date():
        return _clock(then)
    day = f"{then.day} {MONTHS[then.month - 1]}"
    if abs(today - then) > timedelta(days=300):
        day += f" {then.year}"
    return f"{day} {then:%H:%M:%S}"


def until(text: str, now: str, zone: ZoneInfo) -> str:
    """A coming time: hh:mm today, with day and month before it otherwise."""
    then, today = _local(text, zone), _local(now, zone)
    clock_ = f"{then:%H:%M}"
    return clock_ if then.date() == today.date() else f"{then.day} {MONTHS[then.month - 1]} {clock_}"


_WRITTEN: Final = re.compile(r"(?<![\w-])(\d{4})-(\d\d)-(\d\d)(T\d\d:\d\d:\d\d(?:\.\d+)?Z)?(?![\w-])")


def plainly(text: str, now: str, zone: ZoneInfo) -> str:
    """A sentence of the core with its days and times as people say them, on the site's clock: 31 Jan."""

    def worded(found: re.Match[str]) -> str:
        year, month, day, time = found.groups()
        if time:
            return until(found[0], now, zone)
        if not (1 <= int(month) <= 12 and 1 <= int(day) <= 31):
            return found[0]
        far = year != str(_local(now, zone).year)
        return f"{int(day)}{NBSP}{MONTHS[int(month) - 1]}" + (f" {year}" if far else "")

    return _WRITTEN.sub(worded, text)


class Figure(NamedTuple):
    """A figure as a page shows it: text, what to think of it, and that in words.

    trust: "good", "uncertain", "bound", "bad", "stale". The page marks each differently, and never by colour alone.
    """

    text: str
    trust: str
    note: str = ""

    def as_json(self) -> dict[str, str]:
        return {"t": self.text, "q": self.trust, "n": self.note}


def figure(column: str, value: float | None, *, quality: str, bound: str, stale: str = "", note: str = "") -> Figure:
    """Mark a figure by its trust. `stale`: why it is old, in words, empty for a fresh one; `note`: the reason."""
    text = written(column, value)
    if value is None:
        return Figure(text, "bad", stale or note)
    if stale:
        return Figure(text, "stale", stale)
    if bound == "ge":
        return Figure(f"≥ {text}", "bound", PAGE["at_least"])
    if bound == "le":
        return Figure(f"≤ {text}", "bound", PAGE["at_most"])
    if quality == "Good":
        return Figure(text, "good")
    if quality == "Uncertain":
        return Figure(f"≈ {text}", "uncertain", note or PAGE["uncertain"])
    return Figure(NOTHING, "bad", note)
