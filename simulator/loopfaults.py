"""What disturbs a loop from inside and outside: brown-outs, damp, pick-up, surges, a wet window.

Each has its own luck and its own course in time; `simulator.gauge` asks what is left of a current. The figures are
invented, the courses follow what the trade tells of them (common practice, no source).
"""

import math
from collections.abc import Mapping
from random import Random
from typing import Final

from simulator.cabinet import Cabinet
from simulator.faults import Fault, FaultKind

LIVE_ZERO_MA: Final = 4.0
LIFT_OFF_V: Final = 10.5
STARTS_IN_S: Final = 9.0
"""From a brown-out to the first measurement: dead for a moment, then the start-up current."""

MAINS_HZ: Final = 50.0
_EPISODE_S: Final = 45.0

Standing = Mapping[FaultKind, Fault]


class Disturbed:
    """The state of the disturbances of one loop."""

    __slots__ = (
        "_bend", "_cabinet", "_chance", "_dead_s", "_episode_until_ms", "_fails_mA", "_hz", "_near", "_phase",
        "_roughness", "_start_mA",
    )  # fmt: skip

    def __init__(self, chance: Random, cabinet: Cabinet) -> None:
        self._chance, self._cabinet = chance, cabinet
        self._hz = MAINS_HZ + chance.uniform(-0.45, 0.45)
        self._phase = chance.uniform(0, math.tau)
        self._bend = chance.uniform(-0.03, 0.03)
        self._roughness = chance.uniform(0.5, 3.0)
        self._start_mA = chance.choice((3.4, 3.5, 3.6, 3.7))
        self._dead_s = chance.uniform(0.8, 2.5)
        self._fails_mA = chance.choice((3.4, 3.55, 21.4, 22.0))
        self._episode_until_ms = -1
        self._near = False

    def most_mA(self, loop_ohm: float) -> float:
        """The highest current that the supply of this moment drives through a loop, by Ohm's law."""
        return max(0.0, 1000 * (self._cabinet.supply_V - LIFT_OFF_V) / loop_ohm)

    def near_echo(self, time_ms: int, now: Standing) -> bool:
        """True while a wet window shows a near echo. Episodes come by chance, more of them the wetter it is."""
        fault = now.get(FaultKind.FOULED) or now.get(FaultKind.HEATER_DEAD)
        if fault is None:
            return False
        if time_ms >= self._episode_until_ms:
            if self._chance.random() < 0.01 * fault.value * self._cabinet.wet:
                self._episode_until_ms = time_ms + round(1000 * (6 + self._chance.expovariate(1 / _EPISODE_S)))
                self._near = self._chance.random() < 0.4
            else:
                self._near = False
                return False
        return self._near

    def gauge_mA(self, measured_mA: float, time_ms: int, now: Standing) -> float:
        """The current that the gauge lets flow."""
        current = measured_mA
        if (FaultKind.FOULED in now or FaultKind.HEATER_DEAD in now) and time_ms < self._episode_until_ms:
            return current if self._near else self._fails_mA + self._chance.gauss(0, 0.001)
        if resetting := now.get(FaultKind.RESETTING):
            since_s = (time_ms - resetting.start_ms) / 1000 % resetting.value
            if since_s < self._dead_s:
                return abs(self._chance.gauss(0, 0.01))
            if since_s < STARTS_IN_S:
                return self._start_mA
            current += (self._start_mA - current) * math.exp(-(since_s - STARTS_IN_S) / 2.5)
        if surge := now.get(FaultKind.SURGE):
            current += self._bend * (current - LIVE_ZERO_MA) + surge.value
            current += self._chance.gauss(0, 0.001 * self._roughness)
        return current

    def panel_mA(self, field_mA: float, time_ms: int, now: Standing) -> float:
        """What of it arrives at the panel."""
        current = field_mA
        if leak := now.get(FaultKind.LEAK):
            soaked = self._cabinet.soaked
            current += leak.value * soaked * (1 + self._chance.gauss(0, 0.04))
        if ripple := now.get(FaultKind.INTERFERENCE):
            cycles = (time_ms % 1000) * self._hz / 1000 + (time_ms // 1000) * (self._hz % 1)
            current += ripple.value * math.sin(math.tau * (cycles % 1) + self._phase)
            current += self._chance.gauss(0, ripple.value / 5)
        return current
