"""The air and the sun over the farm, as plain functions of time: asked twice for one moment they say the same.

Invented warm climate: a daily swing, slow weather of a few days, clouds, damp air towards dawn. Knows no tank.
"""

import math
from random import Random
from typing import Final, NamedTuple, Protocol

from simulator.chance import stream

DAY_MS: Final = 86_400_000

_SLOW: Final = 3


class Air(NamedTuple):
    """The air at one moment; `sun_frac` is the strength of the sun against a clear noon overhead.

    sky_K: by how much a clear sky pulls a roof below the air, sun aside.
    """

    ambient_degC: float
    sun_frac: float
    sky_K: float = 0.0


class Sky(Protocol):
    """Whatever tells a farm its weather; times are ms since 1970, UTC."""

    def at(self, time_ms: int) -> Air: ...

    def humidity_percent(self, time_ms: int) -> float: ...


class Weather:
    """Ambient temperature, sun and humidity. noon_ms: milliseconds after 00:00 UTC at which the sun stands highest.

    swing_degC and slow_degC are half of the daily and of the slow movement; both 0 makes still air for tests.
    dew_below_degC: by how much the dew point lies under the mean temperature, before its own slow weather.
    """

    __slots__ = ("_cloud", "_dew", "_dew_degC", "_mean", "_noon_ms", "_slow", "_sun", "_swing")

    def __init__(
        self,
        chance: Random,
        *,
        mean_degC: float = 26.0,
        swing_degC: float = 4.5,
        slow_degC: float = 1.2,
        sun: float = 1.0,
        noon_ms: int = DAY_MS // 2,
        dew_below_degC: float = 5.0,
    ) -> None:
        self._mean, self._swing, self._sun, self._noon_ms = mean_degC, swing_degC, sun, noon_ms
        self._slow = [
            (slow_degC / _SLOW, chance.uniform(2, 9) * DAY_MS, chance.uniform(0, math.tau)) for _ in range(_SLOW)
        ]
        self._cloud = [(chance.uniform(0.03, 0.3) * DAY_MS, chance.uniform(0, math.tau)) for _ in range(_SLOW)]
        self._dew_degC = mean_degC - dew_below_degC
        self._dew = [(slow_degC / 2, chance.uniform(1.5, 6) * DAY_MS, chance.uniform(0, math.tau)) for _ in range(2)]

    def at(self, time_ms: int) -> Air:
        turn = math.tau * ((time_ms - self._noon_ms) % DAY_MS) / DAY_MS
        warmest = (
            turn - math.tau * 3 / 24
        )  # the air is warmest about three hours after noon (common practice, no source)
        ambient = self._mean + self._swing * math.cos(warmest)
        for size, period, phase in self._slow:
            ambient += size * math.sin(math.tau * time_ms / period + phase)
        clear = 0.75 + 0.25 * sum(math.sin(math.tau * time_ms / p + f) for p, f in self._cloud) / _SLOW
        return Air(ambient, self._sun * max(0.0, math.cos(turn)) * clear)

    def humidity_percent(self, time_ms: int) -> float:
        """Relative humidity: by the dew point. Magnus formula, constants of WMO (from memory)."""
        dew = self._dew_degC + sum(size * math.sin(math.tau * time_ms / p + f) for size, p, f in self._dew)
        return min(100.0, 100 * math.exp(_magnus(dew) - _magnus(self.at(time_ms).ambient_degC)))


def _magnus(degC: float) -> float:
    return 17.62 * degC / (243.12 + degC)


def still(temperature_degC: float) -> Weather:
    """Air that never changes, and no sun: what a test of volumes wants."""
    return Weather(stream(0, "still"), mean_degC=temperature_degC, swing_degC=0, slow_degC=0, sun=0)
