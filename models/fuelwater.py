"""How much water kerosene holds in solution, and how much of it becomes free when the fuel cools.

Two statements of the solubility are at hand and neither is a standard's text, so every answer is a pair of bounds:
an engineers' forum gives 28, 45 and 82 ppm by volume at 0, 20 and 40 degC for kerosene (secondary); the trade's rule of
thumb is as many ppm as degrees Fahrenheit (from memory). Batches differ (hydrocarbons, surfactants), wide-cut fuel and
avgas hold more: this is of kerosene only. Knows no tank and no clock.
"""

import math
from itertools import pairwise
from typing import Final

from models.bounds import Bounds
from models.errors import OutOfRange

PPM: Final = 1e-6

FORUM: Final[tuple[tuple[float, float], ...]] = ((0.0, 28.0), (20.0, 45.0), (40.0, 82.0))
"""degC and ppm by volume, kerosene column. Source: engineers' forum thread on water in turbine fuels (secondary)."""

T_LOW_DEGC: Final = -10.0
T_HIGH_DEGC: Final = 60.0
"""The rows are continued this far: straight in the logarithm, which is how solubility goes with temperature."""

SATURATED: Final = Bounds(1.0, 1.0)

FREE_WATER_PPM: Final = 30.0
"""Free water that civil practice accepts at most. Source: a public answer that quotes IATA's guidance material and FAA
AC 20-125 (secondary)."""


def forum_ppm(temperature_degC: float) -> float:
    """Solubility by the forum's rows, ppm by volume, logarithm straight between them."""
    _checked(temperature_degC)
    for (t0, s0), (t1, s1) in pairwise(FORUM):
        if temperature_degC <= t1 or t1 == FORUM[-1][0]:
            part = (temperature_degC - t0) / (t1 - t0)
            return math.exp(math.log(s0) + part * math.log(s1 / s0))
    raise AssertionError("the last row ends the loop")


def rule_ppm(temperature_degC: float) -> float:
    """Solubility by the rule of thumb: as many ppm by volume as degrees Fahrenheit (from memory)."""
    _checked(temperature_degC)
    return 32 + 1.8 * temperature_degC


def solubility_ppm(temperature_degC: float) -> Bounds:
    """Water that saturated kerosene holds in solution, ppm by volume; -10 to 60 degC, else `OutOfRange`."""
    ends = (forum_ppm(temperature_degC), rule_ppm(temperature_degC))
    return Bounds(min(ends), max(ends))


def shed_frac(from_degC: float, to_degC: float, saturation: Bounds = SATURATED) -> Bounds:
    """Water that becomes free when fuel goes from one temperature to another, as a fraction of its volume.

    saturation: what part of the solubility at the first temperature it held. Zero where it warms, or where what it held
    still dissolves: fuel that is not saturated sheds later and less.
    """
    if not 0 <= saturation.low <= saturation.high <= 1:
        raise OutOfRange(f"saturation {saturation.low:g} to {saturation.high:g}; allowed 0 to 1")
    curves = (forum_ppm, rule_ppm)
    low = min(max(0.0, saturation.low * ppm(from_degC) - ppm(to_degC)) for ppm in curves)
    high = max(max(0.0, saturation.high * ppm(from_degC) - ppm(to_degC)) for ppm in curves)
    return Bounds(PPM * low, PPM * high)


def _checked(temperature_degC: float) -> None:
    if not T_LOW_DEGC <= temperature_degC <= T_HIGH_DEGC:
        text = f"fuel at {temperature_degC:.1f} degC; its water is known from {T_LOW_DEGC:g} to {T_HIGH_DEGC:g} degC"
        raise OutOfRange(text)
