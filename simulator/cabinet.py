"""What stands around a loop: its supply, the heater of the gauge's window on the same supply, the air at the gauge.

Knows volts, the heater's thermostat and how wet a window or a junction box is; refuses to know levels and registers.
All figures are invented.
"""

from collections.abc import Container
from random import Random
from typing import Final

from simulator.faults import FaultKind
from simulator.layout import CabinetLayout

WET_FROM_PERCENT: Final = 86.0
WET_WITHOUT_HEATER_PERCENT: Final = 78.0
LEAKS_FROM_PERCENT: Final = 74.0
_SOAKS_IN_S: Final = 4000.0
_BACK_FEED_V: Final = 0.4


class Cabinet:
    """Supply, heater and damp of one loop. `wet`: how wet the window is, `soaked`: a junction box; both 0 to 1."""

    __slots__ = (
        "_chance", "_last_ms", "_layout", "ambient_degC", "heater_mA", "heater_on", "humidity_percent", "soaked",
        "supply_V", "wet",
    )  # fmt: skip

    def __init__(self, layout: CabinetLayout, chance: Random) -> None:
        self._layout, self._chance = layout, chance
        self._last_ms = 0
        self.ambient_degC, self.humidity_percent = 20.0, 50.0
        self.supply_V = layout.supply_V
        self.heater_mA = 0.0
        self.heater_on = False
        self.soaked = self.wet = 0.0

    def air(self, ambient_degC: float, humidity_percent: float, *, at_start: bool = False) -> None:
        """The air of this moment; the junction box follows it late."""
        self.ambient_degC, self.humidity_percent = ambient_degC, humidity_percent
        if at_start:
            self.soaked = _damp(humidity_percent, LEAKS_FROM_PERCENT)

    def update(self, time_ms: int, faults: Container[FaultKind], loop_mA: float) -> None:
        """Volts, heater and damp at a moment at which the loop draws `loop_mA`."""
        layout, dt_s = self._layout, (time_ms - self._last_ms) / 1000
        self._last_ms = time_ms
        humidity = self.humidity_percent
        dead = FaultKind.HEATER_DEAD in faults or layout.heater_mA == 0
        self.wet = _damp(humidity, WET_WITHOUT_HEATER_PERCENT if dead else WET_FROM_PERCENT)
        self.soaked += (_damp(humidity, LEAKS_FROM_PERCENT) - self.soaked) * min(1.0, dt_s / _SOAKS_IN_S)
        lost = FaultKind.SUPPLY_LOST in faults
        self.heater_on = not dead and not lost and time_ms / 1000 % layout.period_s < layout.duty * layout.period_s
        self.heater_mA = layout.heater_mA * self._chance.gauss(1, 0.01) if self.heater_on else 0.0
        if lost:
            self.supply_V = _BACK_FEED_V * self._chance.random()
        else:
            load_A = (loop_mA + self.heater_mA) / 1000
            self.supply_V = layout.supply_V - layout.source_ohm * load_A + self._chance.gauss(0, 0.003)


def _damp(humidity_percent: float, above_percent: float) -> float:
    return min(1.0, max(0.0, (humidity_percent - above_percent) / (100 - above_percent)))
