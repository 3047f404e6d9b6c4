"""A fixed-roof tank breathes: by how much its vapour space warms in a day, and how much air that drives in and out.

Knows the coefficients of US EPA AP-42 chapter 7.1 in its 2006 and its 2020 edition, and what each paint absorbs;
refuses to know weather and stock. The emission factors of that chapter are for vapours of the product; here its
temperatures serve to bound the air, and with it the water, that comes in when the tank cools. Jet fuel's own vapour
pressure is so low (below 0.1 kPa, from memory) that its change in a day is left out unless it is given.
Source: AP-42 7.1 (2006), equations 1-5 to 1-8 and 1-26; coefficients of the 2020 edition by way of public code; metric
twin: French arrete of 3 October 2010 (DEVP1025848A), annex III.
"""

from collections.abc import Mapping
from enum import StrEnum
from types import MappingProxyType
from typing import Final, NamedTuple

from models.errors import OutOfRange
from models.moistair import SEA_LEVEL_PA

BTU_PER_FT2: Final = 11_356.53
"""J/m2. Source: the units' definitions, Btu (IT)."""
J_PER_CM2: Final = 10_000.0
KELVIN: Final = 273.15
_DEGR: Final = 5 / 9

MOST_INSOLATION: Final = 42e6
"""J/m2 a day: what reaches the ground nowhere on earth for a whole clear summer's day (from memory)."""


class Edition(StrEnum):
    """Editions of AP-42 chapter 7.1 whose coefficients differ."""

    Y2006 = "AP-42 2006"
    Y2020 = "AP-42 2020"


class Coefficients(NamedTuple):
    """range = a x range of the air + b x absorbed sun; surface = c x air + (1 - c) x bulk + d x absorbed sun.

    b and d in K for each J/m2 of a day.
    """

    air_range: float
    sun_range: float
    air_surface: float
    sun_surface: float


COEFFICIENTS: Final[Mapping[Edition, Coefficients]] = MappingProxyType(
    {
        Edition.Y2006: Coefficients(0.72, 0.028 * _DEGR / BTU_PER_FT2, 0.44, 0.0079 * _DEGR / BTU_PER_FT2),
        Edition.Y2020: Coefficients(0.70, 0.020 * _DEGR / BTU_PER_FT2, 0.40, 0.0050 * _DEGR / BTU_PER_FT2),
    }
)

PAINTS: Final[Mapping[str, tuple[float, float]]] = MappingProxyType(
    {
        "white": (0.17, 0.34),
        "cream": (0.35, 0.49),
        "bright aluminium": (0.39, 0.49),
        "matt aluminium": (0.60, 0.68),
        "polished": (0.10, 0.15),
        "light grey": (0.54, 0.63),
        "medium grey": (0.68, 0.74),
        "brown": (0.43, 0.55),
        "chestnut": (0.58, 0.67),
        "rust": (0.43, 0.55),
        "red": (0.89, 0.91),
        "dark green": (0.89, 0.91),
        "black": (0.97, 0.97),
    }
)
"""Part of the sun that a paint takes up, in good and in poor state. Source: arrete of 3 October 2010, annex III."""


def vapour_range_K(
    air_range_K: float, absorptance: float, insolation_Jpm2: float, edition: Edition = Edition.Y2020
) -> float:
    """By how much the vapour space warms and cools in a day, lowest to highest, in K.

    air_range_K: the same of the air outside. insolation: what falls on a level square metre in that day.
    """
    _checked(air_range_K, absorptance, insolation_Jpm2)
    by = COEFFICIENTS[edition]
    return by.air_range * air_range_K + by.sun_range * absorptance * insolation_Jpm2


def surface_degC(
    air_degC: float, bulk_degC: float, absorptance: float, insolation_Jpm2: float, edition: Edition = Edition.Y2020
) -> float:
    """Mean temperature of the liquid's surface over a day; air and bulk are the day's means."""
    _checked(0.0, absorptance, insolation_Jpm2)
    by = COEFFICIENTS[edition]
    return by.air_surface * air_degC + (1 - by.air_surface) * bulk_degC + by.sun_surface * absorptance * insolation_Jpm2


def bulk_degC(air_degC: float, absorptance: float) -> float:
    """Mean temperature of a liquid that nobody measures: the air's, warmer by its paint.

    Source: AP-42 7.1 (1996 and 2006), 6 x absorptance - 1 in degrees Rankine.
    """
    return air_degC + (6 * absorptance - 1) * _DEGR


def expansion(
    range_K: float,
    surface_mean_degC: float,
    *,
    vent_range_Pa: float = 0.0,
    pressure_Pa: float = SEA_LEVEL_PA,
    vapour_Pa: float = 0.0,
    vapour_range_Pa: float = 0.0,
) -> float:
    """Part of the vapour space that goes out, and comes in again, in a day. Never below zero: a vent that holds more
    than the day's breath lets nothing through.

    vent_range_Pa: between the pressure at which the vent lets out and the vacuum at which it lets in.
    """
    if not 0 <= vapour_Pa < pressure_Pa:
        raise OutOfRange(f"vapour pressure {vapour_Pa:g} Pa under air of {pressure_Pa:g} Pa")
    change = range_K / (surface_mean_degC + KELVIN)
    return max(0.0, change + (vapour_range_Pa - vent_range_Pa) / (pressure_Pa - vapour_Pa))


def breathed_m3(vapour_space_m3: float, expansion_frac: float) -> float:
    """Air that comes in while the tank cools once, as much as went out while it warmed."""
    return max(0.0, vapour_space_m3) * expansion_frac


def _checked(air_range_K: float, absorptance: float, insolation_Jpm2: float) -> None:
    if not 0 <= air_range_K <= 60:
        raise OutOfRange(f"the air's range of a day {air_range_K:g} K; allowed 0 to 60 K")
    if not 0 <= absorptance <= 1:
        raise OutOfRange(f"absorptance {absorptance:g}; allowed 0 to 1")
    if not 0 <= insolation_Jpm2 <= MOST_INSOLATION:
        raise OutOfRange(f"insolation {insolation_Jpm2:g} J/m2 a day; allowed 0 to {MOST_INSOLATION:g}")
