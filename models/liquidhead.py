"""Liquid head: an upright shell bulges under what stands in it, and a capacity table holds for one density only.

Knows the plates of a shell and what the table already includes; brings a table's volume to the density that is in the
tank. Thin-wall theory (`models.strapping.head_growth_m3`), from memory of ISO 7507-1 and API MPMS 2.2A; no published
worked example was at hand. Not for lying cylinders and spheres.
"""

from dataclasses import dataclass, field
from typing import Final, NamedTuple

from models.errors import OutOfRange
from models.strapping import STEEL_PA, Ring, head_growth_m3

LEAST_PLATE_M: Final = 0.002
MOST_PLATE_M: Final = 0.1


class Plates(NamedTuple):
    """One course of the shell, from the datum up: thickness of its plates and its height."""

    plate_m: float
    height_m: float


@dataclass(frozen=True, slots=True)
class LiquidHeadCorrection:
    """A shell as its drawing gives it. included_kgpm3: the density whose head the table includes; None where none."""

    diameter_m: float
    courses: tuple[Plates, ...]
    included_kgpm3: float | None = None
    elasticity_Pa: float = STEEL_PA
    rings: tuple[Ring, ...] = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        if not self.courses:
            raise OutOfRange("a shell without courses; give the plates of each, from the bottom up")
        rings, low = [], 0.0
        for number, (plate_m, height_m) in enumerate(self.courses, 1):
            if not (LEAST_PLATE_M <= plate_m <= MOST_PLATE_M and 0.1 <= height_m <= 6):
                raise OutOfRange(
                    f"course {number}: plates of {1000 * plate_m:g} mm, height {height_m:g} m; allowed 2 to 100 mm and "
                    "0.1 to 6 m"
                )
            rings.append(Ring(low, low + height_m, self.diameter_m / 2, plate_m))
            low += height_m
        object.__setattr__(self, "rings", tuple(rings))

    @property
    def top_m(self) -> float:
        return self.rings[-1].high_m

    def correction_m3(self, innage_m: float, density_kgpm3: float) -> float:
        """Volume to add to the table's (negative: to take off) with this density in the tank, at its temperature."""
        more = density_kgpm3 - (self.included_kgpm3 or 0.0)
        return head_growth_m3(self.rings, innage_m, more, self.elasticity_Pa)
