"""Volume correction by the 1980 tables at 15 degC (ASTM D1250-80 Tables 53 and 54, letters A, B, D), a chosen edition.

`vcf` is the unrounded formula, `table_54` the printed figure: density to 0.5 kg/m3, temperature to 0.05 degC, alpha to
1e-7 /degC, factor to 4 decimals. Also Table 53 (observed -> 15 degC) and the glass of a hydrometer. The printed books
were not read; constants are those that several public codes agree on (see `models.groups`).
"""

import math
from functools import lru_cache
from typing import Final, NamedTuple

from models.errors import OutOfRange
from models.groups import METRIC_1980, Commodity, Group
from models.rounding import to_increment

BASE_DEGC: Final = 15.0

T_LOW_DEGC: Final = -40.0
"""Lowest temperature of the printed 54B tables that a national authority issued in 2016; the books of 1980 are quoted
as starting at -18 degC (secondary)."""

_T_HIGH_DEGC: Final = ((778.0, 95.0), (824.0, 125.0), (math.inf, 150.0))
"""Highest temperature by density at 15 degC (secondary)."""


class Line1980(NamedTuple):
    """What hangs on the density at 15 degC only."""

    group: str
    rho15_kgpm3: float
    alpha_per_degC: float
    t_high_degC: float


def vcf(line: Line1980, temperature_degC: float) -> float:
    """Unrounded VCF to 15 degC: exp[-alpha dt (1 + 0.8 alpha dt)]. Raises `OutOfRange` off the tables' temperatures."""
    if not T_LOW_DEGC <= temperature_degC <= line.t_high_degC:
        raise OutOfRange(
            f"temperature {temperature_degC:.2f} degC is outside of the {T_LOW_DEGC:g} to {line.t_high_degC:g} degC "
            f"of the 1980 tables at {line.rho15_kgpm3:.1f} kg/m3"
        )
    thermal = line.alpha_per_degC * (temperature_degC - BASE_DEGC)
    return math.exp(-thermal * (1 + 0.8 * thermal))


@lru_cache(maxsize=4096)
def line_of(commodity: Commodity, rho15_kgpm3: float) -> Line1980:
    """Group and thermal expansion of a density at 15 degC. Raises `OutOfRange` outside of the commodity's table."""
    group = _group(commodity, rho15_kgpm3)
    return Line1980(group.name, rho15_kgpm3, _alpha(group, rho15_kgpm3), _t_high(rho15_kgpm3))


def table_54(commodity: Commodity, rho15_kgpm3: float, temperature_degC: float) -> float:
    """VCF as Table 54A, 54B or 54D prints it: inputs, alpha and result rounded. Checked against 390 printed entries
    of Measurement Canada (2016), which come out equal only with alpha rounded to 1e-7."""
    rho = to_increment(rho15_kgpm3, 0.5)
    line = line_of(commodity, rho)
    line = line._replace(alpha_per_degC=to_increment(line.alpha_per_degC, 1e-7))
    return to_increment(vcf(line, to_increment(temperature_degC, 0.05)), 0.0001)


def glass_factor(temperature_degC: float, graduated_degC: float = BASE_DEGC) -> float:
    """By what a hydrometer's reading is multiplied for the growth of its glass since the temperature that it is
    graduated at (15 or 20 degC; the form at 20 degC is from memory). Not for densitometers."""
    d_t = temperature_degC - graduated_degC
    return 1 - 0.000023 * d_t - 2e-8 * d_t * d_t


def glass_factor_60F(temperature_degF: float) -> float:
    """The same for a hydrometer graduated at 60 degF."""
    d_t = temperature_degF - 60
    return 1 - 1.278e-5 * d_t - 6.2e-9 * d_t * d_t


def table_53(commodity: Commodity, observed_kgpm3: float, temperature_degC: float, *, hydrometer: bool = True) -> float:
    """Density at 15 degC of one observed at a temperature, unrounded (the tables print 0.1 kg/m3).

    hydrometer: the reading is of a glass hydrometer graduated at 15 degC, and its glass is corrected for. The table's
    own iteration stops at 0.05 kg/m3; here the interval is halved to the end, the group chosen anew at every step.
    """
    rho = observed_kgpm3 * (glass_factor(temperature_degC) if hydrometer else 1.0)
    if not math.isfinite(rho):
        raise OutOfRange(f"observed density {observed_kgpm3} kg/m3 is no number")
    groups = _groups(commodity)
    low, high = groups[0].low, groups[-1].high - 0.5
    if not _at(commodity, low, temperature_degC) <= rho <= _at(commodity, high, temperature_degC):
        raise OutOfRange(
            f"observed density {observed_kgpm3:.1f} kg/m3 at {temperature_degC:.2f} degC comes to no density at 15 "
            f"degC within {low:g} to {high:g} kg/m3 of the 1980 tables"
        )
    middle = (low + high) / 2
    while low < middle < high:
        if _at(commodity, middle, temperature_degC) <= rho:
            low = middle
        else:
            high = middle
        middle = (low + high) / 2
    vcf(line_of(commodity, middle), temperature_degC)  # refuses a temperature beyond the table of that density
    return middle


def _at(commodity: Commodity, rho15: float, temperature_degC: float) -> float:
    """Density at a temperature; the temperature's upper limit is that of the heaviest products here."""
    alpha = _alpha(_group(commodity, rho15), rho15)
    return rho15 * vcf(Line1980("", rho15, alpha, _T_HIGH_DEGC[-1][1]), temperature_degC)


def _group(commodity: Commodity, rho15: float) -> Group:
    groups = _groups(commodity)
    on_grid = to_increment(rho15, 0.5) if math.isfinite(rho15) else math.nan
    for group in groups:
        if group.low <= on_grid < group.high:
            return group
    raise OutOfRange(
        f"density {rho15:.1f} kg/m3 at 15 degC is outside of the {groups[0].low:g} to {groups[-1].high - 0.5:g} kg/m3 "
        f"of the 1980 tables for {commodity.value} products"
    )


def _groups(commodity: Commodity) -> tuple[Group, ...]:
    if commodity is Commodity.SPECIAL:
        raise OutOfRange("the 1980 tables A, B and D know no alpha of one's own; use the group crude, refined or lube")
    return METRIC_1980[commodity]


def _alpha(group: Group, rho15: float) -> float:
    return (group.k0 / rho15 + group.k1) / rho15 + group.k2


def _t_high(rho15: float) -> float:
    return next(t for below, t in _T_HIGH_DEGC if rho15 < below)
