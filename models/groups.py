"""Product groups of the volume correction tables: their words, constants and density limits. No formula.

Two editions, two sets of constants: `API_2004` (base 60 degF) and `METRIC_1980` (base 15 degC). In both, a refined
product's group follows from its density, never from its name: jet fuel at 775-840 kg/m3 lies in three of them.
"""

from collections.abc import Mapping
from enum import StrEnum
from types import MappingProxyType
from typing import Final, NamedTuple

from models.errors import GaugehouseError


class UnknownGroup(GaugehouseError):
    """A product group word that no table knows: a mistake in the site file; asking again does not help."""


class Commodity(StrEnum):
    """What the tables tell apart (their A, B, D and C columns, in this order)."""

    CRUDE = "crude"
    REFINED = "refined"
    LUBE = "lube"
    SPECIAL = "special"


PRODUCT_GROUPS: Final[Mapping[str, Commodity]] = MappingProxyType(
    {
        "crude": Commodity.CRUDE,
        "refined": Commodity.REFINED,
        "gasoline": Commodity.REFINED,
        "jet": Commodity.REFINED,
        "fuel oil": Commodity.REFINED,
        "lube": Commodity.LUBE,
        "special": Commodity.SPECIAL,
    }
)
"""The words of a product's `group`. The four refined ones differ only in the density check (`models.density`)."""


def commodity_of(product_group: str) -> Commodity:
    """The commodity that a product group word stands for. Raises `UnknownGroup` for any other word."""
    try:
        return PRODUCT_GROUPS[product_group]
    except KeyError:
        words = ", ".join(f'"{word}"' for word in PRODUCT_GROUPS)
        raise UnknownGroup(f'no product group "{product_group}"; use one of {words}') from None


class Group(NamedTuple):
    """Constants of thermal expansion, alpha = (k0 / rho + k1) / rho + k2, over low <= rho < high in kg/m3.

    step: the factor D_alpha by which the published iteration to the base density scales its temperature term.
    """

    name: str
    k0: float
    k1: float
    k2: float
    low: float
    high: float
    step: float


class Limits(NamedTuple):
    """Densities in kg/m3 that a commodity's procedure takes: at the base, and as observed."""

    base_low: float
    base_high: float
    observed_low: float
    observed_high: float


# Source: API MPMS Ch. 11.1-2004, 11.1.6.1-2 (constants, limits at 60 degF, D_alpha), alpha60 in 1/degF.
GASOLINE: Final = Group("gasoline", 192.4571, 0.2438, 0.0, 610.6, 770.3520, 1.5)
TRANSITION: Final = Group("transition", 1489.0670, 0.0, -0.00186840, 770.3520, 787.5195, 8.5)
JET: Final = Group("jet", 330.3010, 0.0, 0.0, 787.5195, 838.3127, 2.0)
FUEL_OIL: Final = Group("fuel oil", 103.8720, 0.2701, 0.0, 838.3127, 1163.5, 1.3)
CRUDE: Final = Group("crude", 341.0957, 0.0, 0.0, 610.6, 1163.5, 2.0)
LUBE: Final = Group("lube", 0.0, 0.34878, 0.0, 800.9, 1163.5, 1.0)

API_2004: Final[Mapping[Commodity, tuple[Group, ...]]] = MappingProxyType(
    {
        Commodity.CRUDE: (CRUDE,),
        Commodity.REFINED: (GASOLINE, TRANSITION, JET, FUEL_OIL),
        Commodity.LUBE: (LUBE,),
    }
)

LIMITS_2004: Final[Mapping[Commodity, Limits]] = MappingProxyType(
    {
        Commodity.CRUDE: Limits(610.6, 1163.5, 470.5, 1201.8),
        Commodity.REFINED: Limits(610.6, 1163.5, 470.4, 1209.5),
        Commodity.LUBE: Limits(800.9, 1163.5, 714.3, 1208.3),
        # the special application has limits of alpha only; densities as for refined products is our own reading
        Commodity.SPECIAL: Limits(610.6, 1163.5, 470.4, 1209.5),
    }
)

ALPHA60_LOW_PER_DEGF: Final = 230e-6
ALPHA60_HIGH_PER_DEGF: Final = 930e-6
"""Special application, thermal expansion at 60 degF. Source: API MPMS Ch. 11.1-2004."""

# Source: ASTM D1250-80 Tables 54A, 54B, 54D as several public codes carry them (secondary); alpha15 in 1/degC. The
# ranges are of the density rounded to 0.5 kg/m3: 770.0 is gasoline, 770.5 transition. Ranges of 54A, 54D: from memory.
METRIC_1980: Final[Mapping[Commodity, tuple[Group, ...]]] = MappingProxyType(
    {
        Commodity.CRUDE: (Group("crude", 613.9723, 0.0, 0.0, 610.5, 1075.5, 2.0),),
        Commodity.REFINED: (
            Group("gasoline", 346.4228, 0.4388, 0.0, 653.0, 770.5, 1.5),
            Group("transition", 2680.3206, 0.0, -0.00336312, 770.5, 788.0, 8.5),
            Group("jet", 594.5418, 0.0, 0.0, 788.0, 839.0, 2.0),
            Group("fuel oil", 186.9696, 0.4862, 0.0, 839.0, 1075.5, 1.3),
        ),
        Commodity.LUBE: (Group("lube", 0.0, 0.6278, 0.0, 800.0, 1164.5, 1.0),),
    }
)
