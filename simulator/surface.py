"""The liquid's surface under the gauge: slosh that pumps set off and that dies away, wind ripple, and a generator.

Knows how far the surface is from its calm level at a moment; refuses to know what a gauge makes of it.
"""

import math
from random import Random
from typing import Final

DECAY_S: Final = 75.0
"""Time in which a slosh falls to 1/e (invented; baffles and a coned bottom shorten it in life)."""

_KICK_M_PER_M3PS: Final = 0.10  # amplitude set off by a sudden change of flow: 2000 L/min kicks 3 mm (invented)
_STIR_M: Final = 0.012  # how a running flow keeps stirring, per m3/s and root second (invented)
_CALM_M: Final = 2e-6


class Surface:
    """Slosh as a turning vector (in-phase, quadrature), stepped exactly; ripple and vibration are added when read."""

    __slots__ = ("_chance", "_flow", "_generator_hz", "_inphase", "_phase", "_quadrature", "_ripple_m", "vibration_m")

    def __init__(self, chance: Random, *, ripple_m: float, generator_hz: float) -> None:
        self._chance = chance
        self._ripple_m = ripple_m
        self._generator_hz = generator_hz
        self._inphase = self._quadrature = self._flow = 0.0
        self._phase = chance.uniform(0, math.tau)
        self.vibration_m = 0.0

    @property
    def slosh_m(self) -> float:
        """Where the slosh stands now, seen at the gauge."""
        return self._inphase

    @property
    def amplitude_m(self) -> float:
        return math.hypot(self._inphase, self._quadrature)

    def step(self, dt_s: float, flow_m3ps: float, slosh_hz: float) -> None:
        """Move on by a step during which the sum of all flows, either way, was `flow_m3ps` at its end."""
        change = flow_m3ps - self._flow
        self._flow = flow_m3ps
        if flow_m3ps == 0 and change == 0 and self.amplitude_m < _CALM_M:
            return
        turn, fade = math.tau * slosh_hz * dt_s, math.exp(-dt_s / DECAY_S)
        c, s = fade * math.cos(turn), fade * math.sin(turn)
        x, y = self._inphase, self._quadrature
        stir = _STIR_M * flow_m3ps * math.sqrt(dt_s)
        self._inphase = x * c - y * s + self._chance.gauss(0, 1) * stir
        self._quadrature = x * s + y * c + self._chance.gauss(0, 1) * stir + _KICK_M_PER_M3PS * change

    def height_m(self, time_ms: int) -> float:
        """The surface's distance from calm at a moment. The generator is far faster than any gauge's own updates, so
        what a gauge catches of it is folded: its frequency stays true here and the sampling does the rest."""
        height = self._inphase + self._chance.gauss(0, self._ripple_m)
        if self.vibration_m:
            cycles = (time_ms % 1000) * self._generator_hz / 1000 + (time_ms // 1000) * (self._generator_hz % 1)
            height += self.vibration_m * math.sin(math.tau * (cycles % 1) + self._phase)
        return height
