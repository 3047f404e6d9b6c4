"""From mass (in vacuo) to weight in air: what a scale would show, balanced against steel weights in air.

Source: API MPMS Ch. 11.5-2009 (excerpt): density in air = 1.000149926 x density in vacuo - 1.199407795 kg/m3, which is
air of 1.1992 kg/m3 and weights of 8000 kg/m3. The 1980 Table 56 has other air and weights: its factors differ by 2 to
3e-5.
"""

from typing import Final

from models.errors import OutOfRange

SLOPE: Final = 1.000149926
OFFSET_KGPM3: Final = 1.199407795

_LOWEST_KGPM3: Final = 400.0


def density_in_air_kgpm3(density_kgpm3: float) -> float:
    """Density in air of a density in vacuo at the same temperature. Raises `OutOfRange` for what is no liquid."""
    if not _LOWEST_KGPM3 <= density_kgpm3 <= 3000:
        raise OutOfRange(f"density {density_kgpm3:.1f} kg/m3 is no liquid's; allowed 400 to 3000 kg/m3")
    return SLOPE * density_kgpm3 - OFFSET_KGPM3


def air_factor(density_kgpm3: float) -> float:
    """Weight in air divided by mass, 0.99865 for a product of 800 kg/m3."""
    return density_in_air_kgpm3(density_kgpm3) / density_kgpm3


def weight_in_air_kg(mass_kg: float, density_kgpm3: float) -> float:
    """Weight in air, in kg, of a mass of liquid whose density is given at any one temperature (the base, as a rule)."""
    return mass_kg * air_factor(density_kgpm3)
