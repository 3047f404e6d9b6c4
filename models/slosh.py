"""How fast the surface of a round upright tank swings by itself.

Source: linear theory of small waves in an upright cylinder (NASA SP-106, from memory): f = sqrt(g k tanh(k h)) / 2 pi,
with k times the radius a zero of the derivative of a Bessel function.
"""

import math
from typing import Final

GRAVITY_MPS2: Final = 9.80665
"""Standard acceleration of free fall (ISO 80000-3)."""

ZEROS: Final = (1.841183781, 3.831705970, 5.331442774)
"""First zeros of J1', J0' and J1' again: from side to side, from the middle outwards, from side to side twice over.
Source: scipy.special.jnp_zeros agrees to all digits."""


def slosh_Hz(diameter_m: float, depth_m: float) -> tuple[float, ...]:
    """The frequencies of the three slowest modes that a gauge sees, in Hz, slowest first; depth above the bottom."""
    found = []
    for zero in ZEROS:
        k = zero / (diameter_m / 2)
        found.append(math.sqrt(GRAVITY_MPS2 * k * math.tanh(k * max(depth_m, 0.0))) / (2 * math.pi))
    return tuple(found)
