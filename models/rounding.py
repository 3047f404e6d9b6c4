"""Rounding to an increment as API MPMS Ch. 11.1-2004, 11.1.5.4 has it: to the nearest, ties to the even multiple.

Increments of the standard are constants here. Figures are rounded on their decimal writing, so that 790.55 kg/m3 is a
tie although no binary float holds it.
"""

from decimal import ROUND_HALF_EVEN, Decimal
from typing import Final

TEMPERATURE_DEGC: Final = 0.05
TEMPERATURE_DEGF: Final = 0.1
PRESSURE_KPA: Final = 5.0
DENSITY_KGPM3: Final = 0.1
FACTOR: Final = 0.00001
ALPHA_PER_DEGF: Final = 1e-7
ALPHA_PER_DEGC: Final = 2e-7


def to_increment(value: float, increment: float) -> float:
    """The multiple of the increment nearest to the value; a tie goes to the even multiple."""
    step = Decimal(repr(increment))
    return float((Decimal(repr(float(value))) / step).quantize(Decimal(1), ROUND_HALF_EVEN) * step)
