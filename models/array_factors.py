"""CTL and CTPL of one product for whole arrays of temperatures, in every edition and form that the scalar chain knows.

Unrounded factors are the scalar formulas on arrays. Rounded ones stand on the standard's own grid of temperatures (0.05
degC, or 0.1 degF), so that the scalar chain is asked once for each point of it, and rows only look up: equal to the
last digit. Rows off the limits are the caller's to mark; here they give some number or NaN.
"""

from typing import Final, Protocol

import numpy as np
from numpy.typing import NDArray

from models import rounding, vcf, vcf1980
from models.correction import Edition, Form
from models.errors import OutOfRange
from models.groups import commodity_of
from models.quantity import Calculation, Gauging, Product, Vessel

Floats = NDArray[np.float64]

_TIE: Final = 1e-7
"""As near to a tie as this, a row is rounded on its decimal writing, as the scalar form does."""


class ArrayFactors(Protocol):
    """CTL and CTPL row by row, between two temperatures in degC (both allowed)."""

    @property
    def low_degC(self) -> float: ...

    @property
    def high_degC(self) -> float: ...

    def __call__(self, t_degC: Floats) -> tuple[Floats, Floats]: ...


def t68_shift_degF(t90_degC: Floats) -> Floats:
    """T68 of a temperature less T68 of 60 degF, in degF: the dT of the correction."""
    tau = t90_degC * (1 / 630)
    *lower, highest = vcf.ITS90
    shift = tau * highest
    for a in reversed(lower):
        shift += a
        shift *= tau
    np.subtract(t90_degC, shift, out=shift)
    shift *= 1.8
    shift += 32 - vcf.BASE60_T68
    return shift


def ctl_of_alpha(t_degC: Floats, alpha: float | Floats, per_base: float | Floats) -> Floats:
    """exp(-alpha dT (1 + 0.8 (alpha dT + alpha delta60))) x per_base, API MPMS 11.1-2004 11.1.6.1."""
    thermal = t68_shift_degF(t_degC)
    thermal *= alpha
    bend: Floats = 0.8 * thermal
    bend += 1 + 0.8 * alpha * vcf.DELTA60
    thermal *= bend
    np.negative(thermal, out=thermal)
    np.exp(thermal, out=thermal)
    thermal *= per_base
    return thermal


class Unrounded2004:
    """API MPMS 11.1-2004 with all digits, at one gauge pressure."""

    low_degC = vcf.T_LOW_DEGC
    high_degC = vcf.T_HIGH_DEGC

    def __init__(self, product: Product, pressure_kPa: float) -> None:
        commodity = commodity_of(product.group)
        line = vcf.line_of(commodity, product.base_density_kgpm3, product.base_degC, product.alpha60_per_degF)
        self._alpha, self._per_base = line.alpha60_per_degF, 1 / line.ctl_base
        self._rho_star = line.rho_star
        self._psi = vcf.psi_of(pressure_kPa)

    def __call__(self, t_degC: Floats) -> tuple[Floats, Floats]:
        thermal = ctl_of_alpha(t_degC, self._alpha, self._per_base)
        if self._psi == 0:
            return thermal, thermal
        a, b, c, d = vcf.FP
        square = self._rho_star * self._rho_star
        log_fp = (b + d / square) * (t68_shift_degF(t_degC) + vcf.BASE60_T68) + (a + c / square)
        return thermal, thermal / (1 - 1e-5 * self._psi * np.exp(log_fp))


class Unrounded1980:
    """The 1980 tables with all digits; they know no pressure."""

    low_degC = vcf1980.T_LOW_DEGC

    def __init__(self, product: Product) -> None:
        line = vcf1980.line_of(commodity_of(product.group), product.base_density_kgpm3)
        self._alpha, self.high_degC = line.alpha_per_degC, line.t_high_degC

    def __call__(self, t_degC: Floats) -> tuple[Floats, Floats]:
        thermal = self._alpha * (t_degC - vcf1980.BASE_DEGC)
        factor: Floats = np.exp(-thermal * (1 + 0.8 * thermal))
        return factor, factor


class Rounded:
    """Factors as an edition prints them: a table over its grid of temperatures, made by the scalar chain. NaN where
    that refuses a temperature."""

    def __init__(self, vessel: Vessel, product: Product) -> None:
        self._fahrenheit = product.base_degC not in (15.0, 20.0)
        self._step = rounding.TEMPERATURE_DEGF if self._fahrenheit else rounding.TEMPERATURE_DEGC
        calculate, steps = Calculation(vessel, product), round(1 / self._step)
        low, high = (-58.0, 302.0) if self._fahrenheit else (vcf.T_LOW_DEGC, vcf.T_HIGH_DEGC)
        self._first = round(low * steps) - 1
        rows = []
        for k in range(self._first, round(high * steps) + 2):
            q = calculate(Gauging(liquid_degC=(k / steps - 32) / 1.8 if self._fahrenheit else k / steps))
            rows.append((np.nan, np.nan) if q.ctl is None or q.ctpl is None else (q.ctl, q.ctpl))
        self._ctl, self._ctpl = np.array(rows).T
        # the 2004 edition judges a temperature before it is rounded, the tables of 1980 after
        slack = 0.0 if product.edition == Edition.API_2004 else self._step
        self.low_degC, self.high_degC = vcf.T_LOW_DEGC - slack, vcf.T_HIGH_DEGC + slack

    def __call__(self, t_degC: Floats) -> tuple[Floats, Floats]:
        t = np.round(t_degC * 1.8 + 32, 9) if self._fahrenheit else t_degC
        place = t / self._step
        index = np.rint(place)
        ties = np.abs(np.abs(place - index) - 0.5) < _TIE
        if ties.any():
            index[ties] = np.rint([rounding.to_increment(value, self._step) / self._step for value in t[ties].tolist()])
        rows = index.astype(np.intp) - self._first
        return self._ctl.take(rows, mode="clip"), self._ctpl.take(rows, mode="clip")


def factors_of(vessel: Vessel, product: Product) -> ArrayFactors:
    """The factors of a product in a vessel. Raises `OutOfRange` for a density or a pressure that the edition does not
    take."""
    pressure_kPa = max(0.0, vessel.pressure_kPa)
    older = product.edition != Edition.API_2004
    if older and pressure_kPa > 0:
        raise OutOfRange(f"gauge pressure {pressure_kPa:g} kPa: only API MPMS 11.1-2004 corrects for pressure")
    if product.form == Form.ROUNDED:
        return Rounded(vessel, product)
    Calculation(vessel, product)  # refuses what is no edition, no base and no density
    return Unrounded1980(product) if older else Unrounded2004(product, pressure_kPa)
