"""The one door to volume correction: CTL of a product at a temperature, by the edition that the site has chosen.

Knows which edition and which form (unrounded or as printed); the formulas are in `models.vcf` and `models.vcf1980`.
"""

from collections.abc import Callable
from enum import StrEnum
from functools import lru_cache, partial
from typing import Final, NamedTuple

from models import rounding, vcf, vcf1980
from models.errors import OutOfRange
from models.groups import commodity_of


class Edition(StrEnum):
    """Which tables correct a volume; printed on every sheet. The words are those of the site file."""

    API_2004 = "API MPMS 11.1-2004"
    TABLES_1980 = "1980 tables"


class Form(StrEnum):
    """Whether factors keep all their digits or are those that the tables print."""

    UNROUNDED = "unrounded"
    ROUNDED = "rounded"


class Expansion(NamedTuple):
    """How the density of a product sets its thermal expansion near the base, for budgets of uncertainty.

    alpha_per_degC: at the base; alpha_slope: its change by one kg/m3 of base density.
    """

    alpha_per_degC: float
    alpha_slope: float


_API: Final = Edition.API_2004.value


def ctl(
    product_group: str,
    base_density_kgpm3: float,
    temperature_degC: float,
    base_degC: float = 15.0,
    edition: str = _API,
    *,
    alpha60_per_degF: float | None = None,
) -> float:
    """Unrounded correction for the temperature of the liquid: volume at the base = CTL x volume at the temperature.

    product_group: a word of `models.groups.PRODUCT_GROUPS`. base_degC: 15, 20 or 60 degF (15.5556); the 1980 tables
    have 15 only. alpha60_per_degF: with the group "special" only. What hangs on the density is kept, so that the next
    temperature of the same product costs about a microsecond. Raises `OutOfRange` with the reason.
    """
    if edition == _API:
        commodity = commodity_of(product_group)
        return vcf.ctl(vcf.line_of(commodity, base_density_kgpm3, base_degC, alpha60_per_degF), temperature_degC)
    return vcf1980.vcf(_line_1980(product_group, base_density_kgpm3, base_degC, edition), temperature_degC)


def ctl_rounded(
    product_group: str,
    base_density_kgpm3: float,
    temperature_degC: float,
    base_degC: float = 15.0,
    edition: str = _API,
    *,
    alpha60_per_degF: float | None = None,
) -> float:
    """CTL with its inputs and result rounded: 2004 to 0.1 kg/m3, 0.05 degC (0.1 degF at 60 degF) and 5 decimals;
    1980 as Table 54 prints it. Source: API MPMS Ch. 11.1-2004, 11.1.5.4."""
    if edition != _API:
        _line_1980(product_group, base_density_kgpm3, base_degC, edition)
        return vcf1980.table_54(commodity_of(product_group), base_density_kgpm3, temperature_degC)
    density = rounding.to_increment(base_density_kgpm3, rounding.DENSITY_KGPM3)
    if alpha60_per_degF is not None:
        alpha60_per_degF = rounding.to_increment(alpha60_per_degF, rounding.ALPHA_PER_DEGF)
    ctl(product_group, base_density_kgpm3, temperature_degC, base_degC, edition, alpha60_per_degF=alpha60_per_degF)
    temperature = round_temperature(temperature_degC, base_degC)
    factor = ctl(product_group, density, temperature, base_degC, edition, alpha60_per_degF=alpha60_per_degF)
    return rounding.to_increment(factor, rounding.FACTOR)


def corrector(
    product_group: str,
    base_density_kgpm3: float,
    base_degC: float = 15.0,
    edition: str = _API,
    form: str = Form.UNROUNDED,
    *,
    alpha60_per_degF: float | None = None,
) -> Callable[[float], float]:
    """CTL of one product as a function of its temperature alone: what hangs on the density is worked out once.

    Raises `OutOfRange` for the density at once, the function for a temperature.
    """
    group_name(product_group, base_density_kgpm3, base_degC, edition, alpha60_per_degF)
    if form == Form.ROUNDED:

        def rounded(temperature_degC: float) -> float:
            return ctl_rounded(
                product_group,
                base_density_kgpm3,
                temperature_degC,
                base_degC,
                edition,
                alpha60_per_degF=alpha60_per_degF,
            )

        return rounded
    if edition == _API:
        return partial(
            vcf.ctl, vcf.line_of(commodity_of(product_group), base_density_kgpm3, base_degC, alpha60_per_degF)
        )
    return partial(vcf1980.vcf, _line_1980(product_group, base_density_kgpm3, base_degC, edition))


def round_temperature(temperature_degC: float, base_degC: float) -> float:
    """To 0.05 degC, or to 0.1 degF where the base is 60 degF."""
    if base_degC in (15.0, 20.0):
        return rounding.to_increment(temperature_degC, rounding.TEMPERATURE_DEGC)
    degF = rounding.to_increment(round(temperature_degC * 1.8 + 32, 9), rounding.TEMPERATURE_DEGF)
    return (degF - 32) / 1.8


def group_name(
    product_group: str,
    base_density_kgpm3: float,
    base_degC: float = 15.0,
    edition: str = _API,
    alpha60_per_degF: float | None = None,
) -> str:
    """The group that the density falls in: gasoline, transition, jet, fuel oil, crude, lube or special."""
    if edition == _API:
        return vcf.line_of(commodity_of(product_group), base_density_kgpm3, base_degC, alpha60_per_degF).group
    return _line_1980(product_group, base_density_kgpm3, base_degC, edition).group


@lru_cache(maxsize=1024)
def expansion(
    product_group: str,
    base_density_kgpm3: float,
    base_degC: float = 15.0,
    edition: str = _API,
    alpha60_per_degF: float | None = None,
) -> Expansion:
    """Thermal expansion at the base and its slope with density, which is taken inside the density's own group."""

    def alpha(density: float) -> tuple[str, float]:
        if edition == _API:
            line = vcf.line_of(commodity_of(product_group), density, base_degC, alpha60_per_degF)
            return line.group, vcf.expansion_per_degC(line, base_degC)
        older = _line_1980(product_group, density, base_degC, edition)
        return older.group, older.alpha_per_degC

    group, here = alpha(base_density_kgpm3)
    for step in (0.01, -0.01):
        try:
            other, there = alpha(base_density_kgpm3 + step)
        except OutOfRange:
            continue
        if other == group:
            return Expansion(here, (there - here) / step)
    return Expansion(here, 0.0)


def _line_1980(product_group: str, density: float, base_degC: float, edition: str) -> vcf1980.Line1980:
    if edition != Edition.TABLES_1980:
        words = ", ".join(f'"{word.value}"' for word in Edition)
        raise OutOfRange(f'no edition "{edition}" of the volume correction; use one of {words}')
    if base_degC != vcf1980.BASE_DEGC:
        raise OutOfRange(f"base temperature {base_degC:g} degC; the 1980 metric tables have 15 degC only")
    return vcf1980.line_of(commodity_of(product_group), density)
