"""From mass (in vacuo) to weight in air: what a scale would show, balanced against steel weights in air.

Source: API MPMS Ch. 11.5-2009 (excerpt): density in air = 1.000149926 x density in vacuo - 1.199407795 kg/m3, which is
air of 1.1992 kg/m3 and weights of 8000 kg/m3. The 1980 Table 56 has other air and weights: its factors differ by 2 to
3e-5. A site high above the sea may say so: then buoyancy is that of its own thin air, by Archimedes.
"""

from typing import Final

from models.errors import OutOfRange
from models.moistair import air_density_kgpm3, pressure_at_Pa, temperature_at_degC

SLOPE: Final = 1.000149926
OFFSET_KGPM3: Final = 1.199407795

WEIGHTS_KGPM3: Final = 8000.0
"""Density of the weights that a balance is trimmed with (OIML D 28, from memory; API MPMS 11.5 has the same)."""

_LOWEST_KGPM3: Final = 400.0


def density_in_air_kgpm3(density_kgpm3: float) -> float:
    """Density in air of a density in vacuo at the same temperature. Raises `OutOfRange` for what is no liquid."""
    if not _LOWEST_KGPM3 <= density_kgpm3 <= 3000:
        raise OutOfRange(f"density {density_kgpm3:.1f} kg/m3 is no liquid's; allowed 400 to 3000 kg/m3")
    return SLOPE * density_kgpm3 - OFFSET_KGPM3


def air_factor(density_kgpm3: float, air_kgpm3: float | None = None) -> float:
    """Weight in air divided by mass, 0.99865 for a product of 800 kg/m3.

    air_kgpm3: of the air itself, for another than that of API MPMS 11.5: (1 - air / liquid) / (1 - air / weights).
    """
    in_air = density_in_air_kgpm3(density_kgpm3)
    if air_kgpm3 is None:
        return in_air / density_kgpm3
    if not 0 <= air_kgpm3 <= 2:
        raise OutOfRange(f"air of {air_kgpm3:g} kg/m3; allowed 0 to 2 kg/m3")
    return (1 - air_kgpm3 / density_kgpm3) / (1 - air_kgpm3 / WEIGHTS_KGPM3)


def weight_in_air_kg(mass_kg: float, density_kgpm3: float, air_kgpm3: float | None = None) -> float:
    """Weight in air, in kg, of a mass of liquid whose density is given at any one temperature (the base, as a rule)."""
    return mass_kg * air_factor(density_kgpm3, air_kgpm3)


def air_at_kgpm3(altitude_m: float) -> float:
    """Density of dry air at an altitude, of the standard atmosphere: 1.225 at the sea, 1.112 at 1000 m."""
    return air_density_kgpm3(temperature_at_degC(altitude_m), 0.0, pressure_at_Pa(altitude_m))
