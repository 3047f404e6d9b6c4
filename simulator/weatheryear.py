"""Air and sun out of a typical year's file: real hours of a real place, asked as plain functions of time.

Reads the TMY2 format (NREL, "User's Manual for TMY2s", 1995, tables 3-1 and 3-2; open data of the United States). The
year of Miami is found in the package `pvlib`, which ships it. Within an hour values run straight; clouds that pass
within it are drawn by seed. Knows no tank.
"""

import math
from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from importlib.util import find_spec
from pathlib import Path
from random import Random
from typing import Final, NamedTuple

from simulator.errors import SimulatorError
from simulator.weather import Air

HOURS: Final = 8760
_HOUR_MS: Final = 3_600_000
_CLEAR_NOON_WPM2: Final = 1000.0
_MOST_WPM2: Final = 1150.0  # sun and the bright edge of a cloud together (invented)
_GUST: Final = 0.3  # how much passing clouds take and give within an hour under a half covered sky (invented)
_FILM_WPM2K: Final = 12.0  # how strongly moving air holds a roof to its own temperature (invented)
_STEFAN: Final = 5.670374e-8


class Hour(NamedTuple):
    """An hour of the file. `sun_Wpm2`: on level ground, mean of the hour that ends here; the rest at its end."""

    sun_Wpm2: float
    opaque_frac: float
    ambient_degC: float
    dew_degC: float
    humidity_percent: float
    wind_mps: float


class TypicalYear:
    """A year of hours, the same each year; 29 February is 28 February once more. `offset_h`: local time less UTC."""

    __slots__ = ("_cloud", "_hours", "_offset_h", "place")

    def __init__(self, hours: Sequence[Hour], offset_h: float, chance: Random, place: str = "") -> None:
        if len(hours) != HOURS:
            raise SimulatorError(f"a typical year has {HOURS} hours, this one {len(hours)}; take the whole file")
        self._hours, self._offset_h, self.place = tuple(hours), offset_h, place
        self._cloud = [(chance.uniform(0.15, 0.9) * _HOUR_MS, chance.uniform(0, math.tau)) for _ in range(3)]

    def at(self, time_ms: int) -> Air:
        before, after, part = self._around(time_ms)
        ambient = before.ambient_degC + part * (after.ambient_degC - before.ambient_degC)
        dew = before.dew_degC + part * (after.dew_degC - before.dew_degC)
        opaque = before.opaque_frac + part * (after.opaque_frac - before.opaque_frac)
        dark, light, turn = self._around(time_ms + _HOUR_MS // 2)  # an hour's sum belongs to its middle
        sun = dark.sun_Wpm2 + turn * (light.sun_Wpm2 - dark.sun_Wpm2)
        passing = sum(math.sin(math.tau * time_ms / period + phase) for period, phase in self._cloud) / 3
        sun *= 1 + _GUST * 4 * opaque * (1 - opaque) * passing
        return Air(ambient, min(max(0.0, sun), _MOST_WPM2) / _CLEAR_NOON_WPM2, _sky_K(ambient, dew, opaque))

    def humidity_percent(self, time_ms: int) -> float:
        before, after, part = self._around(time_ms)
        return before.humidity_percent + part * (after.humidity_percent - before.humidity_percent)

    def wind_mps(self, time_ms: int) -> float:
        before, after, part = self._around(time_ms)
        return before.wind_mps + part * (after.wind_mps - before.wind_mps)

    def _around(self, time_ms: int) -> tuple[Hour, Hour, float]:
        """The hours that end before and after a moment, and how far it is from the one to the other."""
        local = datetime.fromtimestamp(time_ms / 1000, UTC) + timedelta(hours=self._offset_h)
        day = local.timetuple().tm_yday
        if local.year % 4 == 0 and (local.year % 100 != 0 or local.year % 400 == 0) and day > 59:
            day -= 1
        ends = (day - 1) * 24 + local.hour  # place of the hour that ends at the next full hour
        part = (time_ms + self._offset_h * _HOUR_MS) % _HOUR_MS / _HOUR_MS
        return self._hours[ends - 1], self._hours[ends % HOURS], part


def _sky_K(ambient_degC: float, dew_degC: float, opaque_frac: float) -> float:
    """By how much a roof that sees the whole sky would stand below the air, sun aside.

    Clear sky: Berdahl and Martin, Solar Energy 32 (1984), emissivity by dew point; clouds: 0.84 of it gone under a
    closed sky. Both from memory.
    """
    dew = dew_degC / 100
    clear = 0.711 + 0.56 * dew + 0.73 * dew * dew
    loses = 0.9 * _STEFAN * (ambient_degC + 273.15) ** 4 * (1 - clear) * (1 - 0.84 * opaque_frac)
    return max(0.0, loses) / _FILM_WPM2K


def read_tmy2(path: Path) -> tuple[list[Hour], float, str]:
    """(hours, local time less UTC in h, name of the place) of a TMY2 file. Raises `SimulatorError` by line."""
    try:
        lines = path.read_text(encoding="ascii").splitlines()
    except (OSError, UnicodeDecodeError) as error:
        raise SimulatorError(f"weather file {path}: {error}; give a TMY2 file") from error
    hours: list[Hour] = []
    try:
        head = lines[0]
        place, offset_h = f"{head[7:29].strip()} {head[30:32].strip()}", float(head[33:36])
        for line in lines[1:]:
            hours.append(_hour(line))
    except (ValueError, IndexError) as error:
        raise SimulatorError(f"weather file {path}, line {len(hours) + 2}: {error}; give a TMY2 file") from error
    return hours, offset_h, place


def _hour(line: str) -> Hour:
    """A record's fields by column; temperatures and wind stand in tenths."""
    return Hour(
        sun_Wpm2=float(line[17:21]),
        opaque_frac=float(line[63:65]) / 10,
        ambient_degC=float(line[67:71]) / 10,
        dew_degC=float(line[73:77]) / 10,
        humidity_percent=float(line[79:82]),
        wind_mps=float(line[95:98]) / 10,
    )


def miami_file() -> Path:
    """Where `pvlib` keeps the year of Miami (WBAN 12839). The package is looked up, never imported."""
    found = find_spec("pvlib")
    if found is None or found.origin is None:
        raise SimulatorError("no typical year of Miami here: pip install pvlib, which ships it")
    return Path(found.origin).parent / "data" / "12839.tm2"


def miami(chance: Random) -> TypicalYear:
    """The typical year of Miami; `chance` draws only the clouds that pass within an hour."""
    hours, offset_h, place = read_tmy2(miami_file())
    return TypicalYear(hours, offset_h, chance, place)
