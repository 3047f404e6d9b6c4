"""Densities of products and water: from a sample to the base, from one base to another, and whether they can be true.

Knows limits of products and the density of water; the correction itself is of `models.correction`.
"""

from enum import StrEnum
from typing import Final, NamedTuple

from models import vcf, vcf1980
from models.correction import Edition
from models.errors import OutOfRange
from models.groups import commodity_of


class DensityMeter(StrEnum):
    """What a sample's density was read on: a hydrometer's glass grows with temperature, a densitometer has its own."""

    HYDROMETER = "hydrometer"
    DENSITOMETER = "densitometer"


class DensityRange(NamedTuple):
    """Densities in kg/m3 at 15 degC within which a product can be what its name says."""

    low: float
    high: float
    source: str


DENSITY_RANGES: Final = {
    "jet": DensityRange(775.0, 840.0, "ASTM D1655 Table 1, jet A and A-1 at 15 degC (secondary)"),
}
"""Products without an entry are held to the limits of the volume correction only."""

CERTIFICATE_LIMIT_KGPM3: Final = 3.0
"""Default for a sample against the certificate at 15 degC (from memory); a site sets its own."""


def base_density_of_sample(
    product_group: str,
    observed_kgpm3: float,
    temperature_degC: float,
    meter: DensityMeter,
    *,
    base_degC: float = 15.0,
    edition: str = Edition.API_2004,
    alpha60_per_degF: float | None = None,
) -> float:
    """Density at the base, in kg/m3, of a sample read at its own temperature and no pressure.

    A hydrometer is taken to be graduated at the base temperature; its glass is corrected for first (the 2004 edition,
    unlike the tables of 1980, leaves that to the user). Raises `OutOfRange` with the reason.
    """
    commodity = commodity_of(product_group)
    hydrometer = meter is DensityMeter.HYDROMETER
    if edition == Edition.TABLES_1980:
        if base_degC != vcf1980.BASE_DEGC:
            raise OutOfRange(f"base temperature {base_degC:g} degC; the 1980 metric tables have 15 degC only")
        return vcf1980.table_53(commodity, observed_kgpm3, temperature_degC, hydrometer=hydrometer)
    if edition != Edition.API_2004:
        raise OutOfRange(f'no edition "{edition}" of the volume correction')
    if hydrometer:
        observed_kgpm3 *= glass_factor(temperature_degC, base_degC)
    return vcf.base_density(
        commodity, observed_kgpm3, temperature_degC, base_degC=base_degC, alpha60_per_degF=alpha60_per_degF
    ).density_kgpm3


def glass_factor(temperature_degC: float, graduated_degC: float) -> float:
    """Correction for a hydrometer's glass, graduated at 15 or 20 degC or at 60 degF."""
    if abs(graduated_degC - vcf.SIXTY_DEGF) < 1e-4:
        return vcf1980.glass_factor_60F(temperature_degC * 1.8 + 32)
    return vcf1980.glass_factor(temperature_degC, graduated_degC)


def rebased_kgpm3(
    product_group: str,
    density_kgpm3: float,
    from_degC: float,
    to_degC: float,
    alpha60_per_degF: float | None = None,
) -> float:
    """A density at one base as density at another, by API MPMS Ch. 11.1-2004 (by way of 60 degF)."""
    if from_degC == to_degC:
        return density_kgpm3
    commodity = commodity_of(product_group)
    rho60 = vcf.line_of(commodity, density_kgpm3, from_degC, alpha60_per_degF).rho60
    line60 = vcf.line_of(commodity, rho60, vcf.SIXTY_DEGF, alpha60_per_degF)
    return rho60 * vcf.ctl(line60, to_degC)


def density_objection(
    product_group: str,
    base_density_kgpm3: float,
    base_degC: float = 15.0,
    limits: DensityRange | None = None,
    alpha60_per_degF: float | None = None,
) -> str | None:
    """Why a base density cannot be that of the product, or None where nothing speaks against it.

    limits: the site's own; without them those of the group's specification, where it has one. A density that the
    volume correction itself does not take is not judged here.
    """
    limits = limits or DENSITY_RANGES.get(product_group)
    if limits is None:
        return None
    try:
        at_15 = rebased_kgpm3(product_group, base_density_kgpm3, base_degC, 15.0, alpha60_per_degF)
    except OutOfRange:
        return None
    if limits.low <= at_15 <= limits.high:
        return None
    return (
        f"density {at_15:.1f} kg/m3 at 15 degC is outside of {limits.low:g} to {limits.high:g} kg/m3 for "
        f"{product_group} ({limits.source}); look at the sample, its temperature and the product of the tank"
    )


def certificate_objection(
    sample_15_kgpm3: float, certificate_15_kgpm3: float, limit_kgpm3: float = CERTIFICATE_LIMIT_KGPM3
) -> str | None:
    """Why a sample does not belong to a certificate (both at 15 degC), or None."""
    difference = sample_15_kgpm3 - certificate_15_kgpm3
    if abs(difference) <= limit_kgpm3:
        return None
    return (
        f"sample {sample_15_kgpm3:.1f} kg/m3 is {difference:+.1f} kg/m3 off the certificate "
        f"({certificate_15_kgpm3:.1f} kg/m3) at 15 degC; the site allows {limit_kgpm3:g} kg/m3"
    )


def kgpm3_of_degapi(degapi: float) -> float:
    """Density at 60 degF of an API gravity: 141.5 / (degAPI + 131.5) times water, as API MPMS Ch. 11.1-2004."""
    if not degapi > -131.5:
        raise OutOfRange(f"API gravity {degapi:g} is no density")
    return 141.5 / (degapi + 131.5) * vcf.WATER_60_KGPM3


def degapi_of_kgpm3(density_60_kgpm3: float) -> float:
    """API gravity of a density at 60 degF."""
    if not density_60_kgpm3 > 0:
        raise OutOfRange(f"density {density_60_kgpm3:g} kg/m3 has no API gravity")
    return 141.5 / (density_60_kgpm3 / vcf.WATER_60_KGPM3) - 131.5


def water_kgpm3(temperature_degC: float) -> float:
    """Density of air-free water at 101325 Pa, 0 to 40 degC.

    Source: CIPM formula, Tanaka et al., Metrologia 38 (2001) 301; coefficients as several public codes carry them.
    """
    if not 0 <= temperature_degC <= 40:
        raise OutOfRange(f"water at {temperature_degC:.2f} degC; the CIPM formula holds from 0 to 40 degC")
    t = temperature_degC
    return 999.974950 * (1 - (t - 3.983035) ** 2 * (t + 301.797) / (522528.9 * (t + 69.34881)))
