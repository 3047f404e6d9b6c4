"""Volume correction by API MPMS Ch. 11.1-2004 (ASTM D1250-04, IP 200/04): CTL, CPL, CTPL and the base density.

Observed density -> density at the base, and a base density -> factors at another temperature and pressure, for bases
of 60 degF, 15 and 20 degC. Temperatures are ITS-90 in degC, gauge pressures kPa, densities kg/m3; inside, as in the
standard, degF of IPTS-68 and psi. Nothing is clamped: outside of the limits `OutOfRange` says which one.
Clause numbers were read in API's own test program of 2003, not on paper.
"""

import math
from functools import lru_cache
from typing import Final, NamedTuple

from models.errors import OutOfRange
from models.groups import (
    ALPHA60_HIGH_PER_DEGF,
    ALPHA60_LOW_PER_DEGF,
    API_2004,
    LIMITS_2004,
    Commodity,
    Group,
)

SIXTY_DEGF: Final = 140 / 9
"""60 degF in degC."""

T_LOW_DEGC: Final = -50.0
T_HIGH_DEGC: Final = 150.0
P_HIGH_PSI: Final = 1500.0
KPA_PER_PSI: Final = 6.894757
"""As the standard has it (11.1.5.1), two units in its last place off the exact value."""

WATER_60_KGPM3: Final = 999.016
"""Water at 60 degF, the unit of relative density. Source: API MPMS Ch. 11.1-2004; the 1980 tables used 999.012."""

DELTA60: Final = 0.01374979547
"""Shift of the 60 degF base between IPTS-68 and the scale of the data, degF (11.1.6.1)."""

BASE60_T68: Final = 60.0068749
"""60 degF on ITS-90 as IPTS-68 (11.1.6.1)."""

ITS90: Final = (-0.148759, -0.267408, 1.080760, 1.269056, -4.089591, -1.871251, 7.438081, -3.536296)
"""ITS-90 less IPTS-68 in degC as a polynomial in t90 / 630, lowest power first (11.1.5.3)."""

_A1, _A2, _A3, _A4, _A5, _A6, _A7, _A8 = ITS90

_CLOSE_KGPM3: Final = 1e-9
FP: Final = (-1.9947, 0.00013427, 793920.0, 2326.0)
"""Compressibility: ln Fp = A + B T* + (C + D T*) / rho*^2. Source: API MPMS Ch. 11.1-2004, 11.1.6.1 step 6."""
_FP_A, _FP_B, _FP_C, _FP_D = FP

_PUBLISHED_CLOSE_KGPM3: Final = 1e-6
_STEPS: Final = 15
_SLACK: Final = 1e-9  # a limit reached through degF and psi must not fail on the last bit
_BORDER_KGPM3: Final = 0.001
"""The lines of two neighbouring groups miss each other by up to 6.3e-5 kg/m3 (at 150 degC); more is no border."""


class Factors(NamedTuple):
    """Corrections from the base to a temperature and pressure: V(base) = V x CTPL, rho = rho(base) x CTPL.

    fp_per_kPa: compressibility, 1/kPa. All unrounded; `models.rounding` has the printed forms.
    """

    ctl: float
    fp_per_kPa: float
    cpl: float
    ctpl: float


class Line(NamedTuple):
    """All that hangs on the product and its base density only; the temperature then costs one exponential.

    ctl_base: CTL from 60 degF to the base temperature, by which every CTL is divided (11.1.7).
    """

    group: str
    rho60: float
    rho_star: float
    alpha60_per_degF: float
    ctl_base: float


class BaseDensity(NamedTuple):
    """What an observed density comes to at the base, with the factors that led there."""

    density_kgpm3: float
    line: Line
    factors: Factors


def t68_degF(t90_degC: float) -> float:
    """IPTS-68 temperature in degF of an ITS-90 temperature in degC. Source: API MPMS Ch. 11.1-2004, 11.1.5.3."""
    tau = t90_degC / 630
    shift = (_A1 + (_A2 + (_A3 + (_A4 + (_A5 + (_A6 + (_A7 + _A8 * tau) * tau) * tau) * tau) * tau) * tau) * tau) * tau
    return 1.8 * (t90_degC - shift) + 32


def ctl(line: Line, temperature_degC: float) -> float:
    """Unrounded CTL from the base to a temperature. Source: 11.1.6.1 step 5, 11.1.7.1."""
    if not T_LOW_DEGC - _SLACK <= temperature_degC <= T_HIGH_DEGC + _SLACK:
        raise OutOfRange(_temperature_words(temperature_degC))
    d_t = t68_degF(temperature_degC) - BASE60_T68
    thermal = line.alpha60_per_degF * d_t
    return math.exp(-thermal * (1 + 0.8 * (thermal + line.alpha60_per_degF * DELTA60))) / line.ctl_base


def factors(line: Line, temperature_degC: float, pressure_kPa: float = 0.0) -> Factors:
    """CTL, compressibility, CPL and CTPL at a temperature and gauge pressure; a negative pressure counts as 0."""
    thermal = ctl(line, temperature_degC)
    psi = psi_of(pressure_kPa)
    fp = _fp_per_1e5_psi(t68_degF(temperature_degC), line.rho_star)
    cpl = 1 / (1 - 1e-5 * fp * psi)
    return Factors(thermal, 1e-5 * fp / KPA_PER_PSI, cpl, thermal * cpl)


@lru_cache(maxsize=4096)
def line_of(
    commodity: Commodity,
    base_density_kgpm3: float,
    base_degC: float = 15.0,
    alpha60_per_degF: float | None = None,
) -> Line:
    """The line of a product from its density at the base. Raises `OutOfRange` outside of the commodity's densities.

    base_degC: 15, 20 or `SIXTY_DEGF`. alpha60_per_degF: with `special` only. Source: 11.1.7.1 for metric bases.
    """
    _check_alpha(commodity, alpha60_per_degF)
    if not math.isfinite(base_density_kgpm3):
        raise OutOfRange(f"base density {base_density_kgpm3} kg/m3 is no number")
    if _is_sixty(base_degC):
        limits = LIMITS_2004[commodity]
        if not limits.base_low <= base_density_kgpm3 <= limits.base_high:
            raise OutOfRange(_base_words(commodity, base_density_kgpm3))
        return _line60(commodity, base_density_kgpm3, alpha60_per_degF)
    if base_degC not in (15.0, 20.0):
        raise OutOfRange(f"base temperature {base_degC:g} degC; API MPMS 11.1-2004 has 15 degC, 20 degC and 60 degF")
    line = _solve(commodity, base_density_kgpm3, base_degC, 0.0, alpha60_per_degF, "base density")
    return line._replace(ctl_base=ctl(line, base_degC))


def base_density(
    commodity: Commodity,
    observed_kgpm3: float,
    temperature_degC: float,
    pressure_kPa: float = 0.0,
    *,
    base_degC: float = 15.0,
    alpha60_per_degF: float | None = None,
) -> BaseDensity:
    """Density at the base from one observed at a temperature and gauge pressure. Source: 11.1.6.2, 11.1.7.2.

    The observed density is of a densitometer, or of a hydrometer whose glass is already corrected for.
    """
    _check_alpha(commodity, alpha60_per_degF)
    if not T_LOW_DEGC - _SLACK <= temperature_degC <= T_HIGH_DEGC + _SLACK:
        raise OutOfRange(_temperature_words(temperature_degC))
    limits = LIMITS_2004[commodity]
    if not limits.observed_low <= observed_kgpm3 <= limits.observed_high:
        raise OutOfRange(
            f"observed density {observed_kgpm3:.2f} kg/m3 is outside of {limits.observed_low} to "
            f"{limits.observed_high} kg/m3 that API MPMS 11.1-2004 takes for {commodity.value} products"
        )
    line = _solve(
        commodity, observed_kgpm3, temperature_degC, psi_of(pressure_kPa), alpha60_per_degF, "observed density"
    )
    if not _is_sixty(base_degC):
        if base_degC not in (15.0, 20.0):
            raise OutOfRange(
                f"base temperature {base_degC:g} degC; API MPMS 11.1-2004 has 15 degC, 20 degC and 60 degF"
            )
        line = line._replace(ctl_base=ctl(line, base_degC))
    return BaseDensity(line.rho60 * line.ctl_base, line, factors(line, temperature_degC, pressure_kPa))


def expansion_per_degC(line: Line, temperature_degC: float) -> float:
    """-d ln(CTL) / dT in 1/degC: by how much of itself the liquid grows in one degree at that temperature."""
    d_t = t68_degF(temperature_degC) - BASE60_T68
    alpha = line.alpha60_per_degF
    return 1.8 * alpha * (1 + 0.8 * alpha * (2 * d_t + DELTA60))


def _line60(commodity: Commodity, rho60: float, alpha60: float | None) -> Line:
    """Base density shift and thermal expansion at 60 degF (11.1.6.1 steps 2-4)."""
    if alpha60 is not None:
        half = 0.5 * alpha60 * DELTA60
        return Line("special", rho60, rho60 * math.exp(half * (1 + 0.8 * half)), alpha60, 1.0)
    group = _group(commodity, rho60)
    k0, k1, k2 = group.k0, group.k1, group.k2
    a = DELTA60 / 2 * ((k0 / rho60 + k1) / rho60 + k2)
    b = (2 * k0 + k1 * rho60) / (k0 + (k1 + k2 * rho60) * rho60)
    rho_star = rho60 * (1 + math.expm1(a * (1 + 0.8 * a)) / (1 + a * (1 + 1.6 * a) * b))
    return Line(group.name, rho60, rho_star, (k0 / rho_star + k1) / rho_star + k2, 1.0)


def _group(commodity: Commodity, rho60: float) -> Group:
    for group in API_2004[commodity]:
        if rho60 < group.high:
            return group
    return API_2004[commodity][-1]


def _fp_per_1e5_psi(t68: float, rho_star: float) -> float:
    """Compressibility in 1e-5/psi (11.1.6.1 step 6)."""
    return math.exp(_FP_A + _FP_B * t68 + (_FP_C + _FP_D * t68) / (rho_star * rho_star))


def _solve(
    commodity: Commodity, density: float, temperature_degC: float, psi: float, alpha60: float | None, what: str
) -> Line:
    """The line whose density at that temperature and pressure is the given one (11.1.6.2).

    The group is chosen anew at each step, as the standard does: frozen at the start it lands in the wrong one. We go on
    past the published 1e-6 kg/m3, so that base -> observed -> base closes.
    """
    limits = LIMITS_2004[commodity]
    t68 = t68_degF(temperature_degC)
    d_t = t68 - BASE60_T68
    rho = min(max(density, limits.base_low), limits.base_high)
    residual = math.inf
    seen: list[Line] = []
    for _ in range(_STEPS):
        line = _line60(commodity, rho, alpha60)
        alpha = line.alpha60_per_degF
        thermal = alpha * d_t
        fp = _fp_per_1e5_psi(t68, line.rho_star)
        cpl = 1 / (1 - 1e-5 * fp * psi)
        ctpl = math.exp(-thermal * (1 + 0.8 * (thermal + alpha * DELTA60))) * cpl
        residual = density / ctpl - rho
        if abs(residual) <= _CLOSE_KGPM3:
            return line
        seen.append(line)
        if (rho == limits.base_low and residual < 0) or (rho == limits.base_high and residual > 0):
            if abs(residual) <= _PUBLISHED_CLOSE_KGPM3:
                return line
            raise OutOfRange(_outside_words(commodity, density, temperature_degC, rho + residual, what))
        step = 0.0 if alpha60 is not None else _group(commodity, rho).step
        by_t = step * thermal * (1 + 1.6 * thermal)
        by_p = 2e-5 * cpl * psi * fp * (793920 + 2326 * t68) / (rho * rho)
        rho = min(max(rho + residual / (1 + by_t - by_p), limits.base_low), limits.base_high)
    if abs(residual) <= _PUBLISHED_CLOSE_KGPM3:
        return seen[-1]
    return _between_groups(commodity, seen, residual, what, density)


def _between_groups(commodity: Commodity, seen: list[Line], residual: float, what: str, density: float) -> Line:
    """Two neighbouring groups' lines do not quite meet: in the gap no base density fits exactly, so take the border."""
    if seen[-1].group != seen[-2].group and abs(residual) <= _BORDER_KGPM3:
        return max(seen[-2:], key=lambda line: line.rho60)
    raise OutOfRange(f"{what} {density:.3f} kg/m3: the iteration of API MPMS 11.1-2004 found no base density")


def psi_of(pressure_kPa: float) -> float:
    """Gauge pressure in the standard's own psi; a negative one counts as 0, one above 1500 psi is refused."""
    psi = max(0.0, pressure_kPa / KPA_PER_PSI)
    if not psi <= P_HIGH_PSI + _SLACK:
        raise OutOfRange(
            f"gauge pressure {pressure_kPa:.1f} kPa ({psi:.2f} psi) is above the 1500 psi that API MPMS 11.1-2004 takes"
        )
    return psi


def _is_sixty(base_degC: float) -> bool:
    return abs(base_degC - SIXTY_DEGF) < 1e-4


def _check_alpha(commodity: Commodity, alpha60: float | None) -> None:
    if (commodity is Commodity.SPECIAL) != (alpha60 is not None):
        raise OutOfRange(
            "the special application needs its own alpha60"
            if alpha60 is None
            else f"an alpha60 is given for {commodity.value} products; only the group special takes one"
        )
    if alpha60 is not None and not ALPHA60_LOW_PER_DEGF <= alpha60 <= ALPHA60_HIGH_PER_DEGF:
        raise OutOfRange(f"alpha60 {alpha60:g} /degF is outside of the 230e-6 to 930e-6 /degF of API MPMS 11.1-2004")


def _temperature_words(temperature_degC: float) -> str:
    return f"temperature {temperature_degC:.3f} degC is outside of the -50 to 150 degC that API MPMS 11.1-2004 takes"


def _base_words(commodity: Commodity, rho60: float) -> str:
    limits = LIMITS_2004[commodity]
    return (
        f"density {rho60:.2f} kg/m3 at 60 degF is outside of {limits.base_low} to {limits.base_high} kg/m3 that "
        f"API MPMS 11.1-2004 takes for {commodity.value} products"
    )


def _outside_words(commodity: Commodity, density: float, temperature_degC: float, rho60: float, what: str) -> str:
    return f"{what} {density:.2f} kg/m3 at {temperature_degC:.2f} degC: {_base_words(commodity, rho60)}"
