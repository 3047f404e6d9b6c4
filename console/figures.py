"""How a figure is written for a person: unit, decimals, thin spaces, a true minus, and what to think of it.

Knows the shown unit of every column; refuses to compute a figure. Digits are grouped by three with a narrow no-break
space. Source: ISO 80000-1, 7.3.1 (from memory). The sign always stands on a rate.
"""

import re
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from contextvars import ContextVar
from datetime import datetime, timedelta
from functools import lru_cache
from types import MappingProxyType
from typing import Final, NamedTuple
from zoneinfo import ZoneInfo

from console.words import DAYS, MONTHS, PAGE

THIN: Final = "\N{NARROW NO-BREAK SPACE}"
MINUS: Final = "\N{MINUS SIGN}"
NBSP: Final = "\N{NO-BREAK SPACE}"
NOTHING: Final = "– – –"


class Shown(NamedTuple):
    """Shown figure = column * factor + offset, in `unit`, with so many decimals."""

    factor: float
    unit: str
    decimals: int
    signed: bool = False
    offset: float = 0.0


SHOWN: Final[Mapping[str, Shown]] = MappingProxyType(
    {
        "tov_m3": Shown(1000, "L", 0),
        "gov_m3": Shown(1000, "L", 0),
        "gsv_m3": Shown(1000, "L", 0),
        "gsv_u95_m3": Shown(1000, "L", 0),
        "room_m3": Shown(1000, "L", 0),
        "usable_m3": Shown(1000, "L", 0),
        "dead_m3": Shown(1000, "L", 0),
        "level_m": Shown(1000, "mm", 0),
        "ullage_m": Shown(1000, "mm", 0),
        "water_m": Shown(1000, "mm", 0),
        "temperature_degC": Shown(1, "°C", 1),
        "volume_percent": Shown(1, "%", 1),
        "level_percent": Shown(1, "%", 1),
        "rate_m3_per_h": Shown(1000 / 60, "L/min", 0, signed=True),
        "mass_kg": Shown(1, "kg", 0),
        "current_mA": Shown(1, "mA", 3),
        "noise_m": Shown(1000, "mm", 1),
    }
)

INCH_M: Final = 0.0254
GALLON_M3: Final = 231 * INCH_M**3
POUND_KG: Final = 0.45359237
"""Exact. Source: NIST SP 811 (2008), appendix B.8 (inch, gallon U.S., pound avoirdupois, degree Fahrenheit)."""

_GALLONS: Final = Shown(1 / GALLON_M3, "US gal", 0)
_INCHES: Final = Shown(1 / INCH_M, "in", 2)
US: Final[Mapping[str, Shown]] = MappingProxyType(
    {name: _GALLONS for name, one in SHOWN.items() if one.unit == "L"}
    | {name: _INCHES for name, one in SHOWN.items() if one.unit == "mm"}
    | {
        "noise_m": Shown(1 / INCH_M, "in", 3),
        "temperature_degC": Shown(1.8, "°F", 1, offset=32.0),
        "rate_m3_per_h": Shown(1 / GALLON_M3 / 60, "gal/min", 0, signed=True),
        "mass_kg": Shown(1 / POUND_KG, "lb", 0),
    }
)
"""US customary units, where they differ. A page shows them only when it names all its units by `unit`."""

UNITS: Final = ("metric", "us")
_units: ContextVar[str] = ContextVar("units", default="metric")


@contextmanager
def in_units(units: str) -> Iterator[None]:
    """Figures are written in these units meanwhile, by this task only; an unknown word means metric."""
    before = _units.set(units if units in UNITS else "metric")
    try:
        yield
    finally:
        _units.reset(before)


def units_now() -> str:
    return _units.get()


def shown(column: str) -> Shown:
    """How a column is shown in the units of the moment."""
    return _shown(column, units_now())


def _shown(column: str, units: str) -> Shown:
    return (US.get(column) if units == "us" else None) or SHOWN[column]


def unit(column: str) -> str:
    return shown(column).unit


_KEPT: Final = 32_768
"""Figures that are kept as written: most of a farm's are those of the second before."""
_NO_FIGURE: Final = f"0.{THIN}"


def number(value: float, decimals: int, *, signed: bool = False) -> str:
    """Fixed decimals, grouped, true minus; what rounds to zero has no sign."""
    return _number(value, decimals, signed)


@lru_cache(maxsize=_KEPT)
def _number(value: float, decimals: int, signed: bool) -> str:
    text = f"{abs(value):_.{decimals}f}".replace("_", THIN)
    if not text.strip(_NO_FIGURE):
        return text
    return (MINUS if value < 0 else "+" if signed else "") + text


def written(column: str, value: float | None) -> str:
    """A column's figure in its shown unit, without the unit; "– – –" where there is none."""
    return NOTHING if value is None else _written(column, value, units_now())


@lru_cache(maxsize=_KEPT)
def _written(column: str, value: float, units: str) -> str:
    by = _shown(column, units)
    return number(value * by.factor + by.offset, by.decimals, signed=by.signed)


def with_unit(column: str, value: float | None) -> str:
    return NOTHING if value is None else f"{written(column, value)}{NBSP}{unit(column)}"


def duration(seconds: float) -> str:
    """A length of time in its two largest units, rounded down: what is left never looks longer than it is."""
    s = max(0, int(seconds))
    for unit, size, lesser, below in (("d", 86400, "h", 3600), ("h", 3600, "min", 60)):
        if s >= size:
            rest = s % size // below
            return NBSP.join([f"{s // size}", unit, *([f"{rest}", lesser] if rest else [])])
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
