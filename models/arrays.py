"""The chain level -> GSV and mass for whole arrays: history, Monte Carlo, requalified stretches. Only numpy's user.

Same formulas as the scalar forms, to the last few bits, in blocks that stay in the processor's cache. A row that cannot
be (level off the table, a temperature that the correction does not take, water above the level, a roof in its critical
zone, not a number) is not `valid` and is NaN everywhere: arrays have no None. Nothing is clamped. All editions and
forms, roofs, liquid head and pressure; the function `ctl` by itself is API MPMS 11.1-2004, unrounded, no pressure.
"""

from typing import Final, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from models import vcf
from models.airweight import density_in_air_kgpm3
from models.array_factors import Floats, ctl_of_alpha, factors_of
from models.capacity import CapacityTable
from models.correction import Form
from models.errors import OutOfRange
from models.groups import API_2004, LIMITS_2004, Commodity, commodity_of
from models.liquidhead import LiquidHeadCorrection
from models.quantity import Product, Shell, Vessel
from models.roof import FloatingRoof
from models.strapping import GRAVITY

_BLOCK: Final = 8192
_LOOKUP_LIMIT: Final = 1_000_000


class StockArrays(NamedTuple):
    """Figures row by row; NaN where `valid` is False."""

    valid: NDArray[np.bool_]
    tov_m3: Floats
    gov_m3: Floats
    gsv_m3: Floats
    mass_kg: Floats


class FastTable:
    """A capacity table for arrays: the segment of a level by one multiplication, where rows are evenly spaced.

    Stretches with closer rows (the ends of a lying cylinder), and tables of odd spacing, are searched instead.
    """

    __slots__ = ("_crowded", "_first", "_levels", "_offset", "_per_m", "_slope", "_volumes", "bottom_m", "top_m")

    def __init__(self, table: CapacityTable) -> None:
        levels = self._levels = np.asarray(table.levels_m)
        volumes = self._volumes = np.asarray(table.volumes_m3)
        self.bottom_m, self.top_m = float(levels[0]), float(levels[-1])
        width = float(np.median(np.diff(levels)))
        cells = min(int(np.ceil((self.top_m - self.bottom_m) / width - 1e-6)), _LOOKUP_LIMIT)
        width = max(width, (self.top_m - self.bottom_m) / cells)
        edges = self.bottom_m + width * np.arange(cells + 1)
        edges[-1] = self.top_m
        fuzz = 1e-9 * (1 + self.top_m - self.bottom_m)
        inside_from = np.searchsorted(levels, edges[:-1] + fuzz, side="right")
        inside_to = np.searchsorted(levels, edges[1:] - fuzz, side="left")
        segment = np.clip(inside_from - 1, 0, len(levels) - 2)
        slope = (np.diff(volumes) / np.diff(levels))[segment]
        # one straight line a cell, anchored at the cell's lower edge so that no digits cancel
        self._slope = np.append(slope, slope[-1])
        self._first = edges
        offset = volumes[segment] + (edges[:-1] - levels[segment]) * slope
        self._offset = np.append(offset, volumes[-1])
        crowded = np.append(inside_to > inside_from, False)
        self._crowded = crowded if crowded.any() else None
        self._per_m = 1 / width

    def volume_m3(self, level_m: Floats) -> Floats:
        """Volumes of levels that all lie within bottom_m to top_m."""
        cell = ((level_m - self.bottom_m) * self._per_m).astype(np.intp)
        volume: Floats = level_m - self._first.take(cell, mode="clip")
        volume *= self._slope.take(cell, mode="clip")
        volume += self._offset.take(cell, mode="clip")
        if self._crowded is not None:
            crowded = self._crowded.take(cell, mode="clip")
            if crowded.any():
                volume[crowded] = np.interp(level_m[crowded], self._levels, self._volumes)
        return volume


def ctl(
    product_group: str,
    base_density_kgpm3: ArrayLike,
    temperature_degC: ArrayLike,
    base_degC: float = 15.0,
    alpha60_per_degF: float | None = None,
) -> Floats:
    """Unrounded CTL of API MPMS 11.1-2004 row by row; NaN where density or temperature are outside of its limits.

    One density for all rows is the fast way; a density a row is solved row by row, in the same blocks.
    """
    t = np.atleast_1d(np.asarray(temperature_degC, dtype=np.float64))
    densities = np.asarray(base_density_kgpm3, dtype=np.float64)
    if densities.ndim:
        t, densities = np.broadcast_arrays(t, densities)
    out = np.empty(t.shape)
    flat, source = out.reshape(-1), t.reshape(-1)
    if densities.ndim == 0:
        line = vcf.line_of(commodity_of(product_group), float(densities), base_degC, alpha60_per_degF)
        for start in range(0, flat.size, _BLOCK):
            part = slice(start, start + _BLOCK)
            flat[part] = ctl_of_alpha(source[part], line.alpha60_per_degF, 1 / line.ctl_base)
    else:
        rows = densities.reshape(-1)
        for start in range(0, flat.size, _BLOCK):
            part = slice(start, start + _BLOCK)
            alpha, at_base = _lines(commodity_of(product_group), rows[part], base_degC, alpha60_per_degF)
            flat[part] = ctl_of_alpha(source[part], alpha, 1 / at_base)
    out[~((t >= vcf.T_LOW_DEGC) & (t <= vcf.T_HIGH_DEGC))] = np.nan
    return out


def _lines(commodity: Commodity, densities: Floats, base_degC: float, alpha60: float | None) -> tuple[Floats, Floats]:
    """alpha60 and CTL from 60 degF to the base, row by row: plain substitution, as the base is near 60 degF."""
    if abs(base_degC - vcf.SIXTY_DEGF) < 1e-4:
        alpha = _alpha60(commodity, densities, alpha60)
        return alpha, np.ones_like(densities)
    if base_degC not in (15.0, 20.0):
        raise OutOfRange(f"base temperature {base_degC:g} degC; API MPMS 11.1-2004 has 15 degC, 20 degC and 60 degF")
    base = np.full(densities.shape, base_degC)
    rho60 = densities.copy()
    limits = LIMITS_2004[commodity]
    for _ in range(12):
        alpha = _alpha60(commodity, np.clip(rho60, limits.base_low, limits.base_high), alpha60)
        at_base = ctl_of_alpha(base, alpha, 1.0)
        rho60 = densities / at_base
    outside = ~((rho60 >= limits.base_low) & (rho60 <= limits.base_high))
    alpha[outside] = np.nan
    return alpha, at_base


def _alpha60(commodity: Commodity, rho60: Floats, given: float | None) -> Floats:
    if (commodity is Commodity.SPECIAL) != (given is not None):
        raise OutOfRange("an alpha60 goes with the group special, and only with it")
    if given is not None:
        return np.full_like(rho60, given)
    groups = API_2004[commodity]
    which = np.searchsorted([group.high for group in groups[:-1]], rho60, side="right")
    k0, k1, k2 = (np.array([g[i] for g in groups])[which] for i in (1, 2, 3))
    a = vcf.DELTA60 / 2 * ((k0 / rho60 + k1) / rho60 + k2)
    b = (2 * k0 + k1 * rho60) / (k0 + (k1 + k2 * rho60) * rho60)
    rho_star = rho60 * (1 + np.expm1(a * (1 + 0.8 * a)) / (1 + a * (1 + 1.6 * a) * b))
    alpha: Floats = (k0 / rho_star + k1) / rho_star + k2
    limits = LIMITS_2004[commodity]
    alpha[~((rho60 >= limits.base_low) & (rho60 <= limits.base_high))] = np.nan
    return alpha


class ArrayChain:
    """Level -> TOV, GOV, GSV, mass for one tank and product, many rows at a time. Build once, call often.

    An ambient temperature that is NaN is "not known", as None is in the scalar chain. Raises `OutOfRange` for a density
    or a pressure that the edition does not take.
    """

    def __init__(self, vessel: Vessel, product: Product) -> None:
        self._factors = factors_of(vessel, product)
        self._density = product.base_density_kgpm3
        self._in_air = density_in_air_kgpm3(product.base_density_kgpm3)
        self._vessel = vessel
        self._table = FastTable(vessel.table)
        rounded = product.form == Form.ROUNDED
        self._shell = None if vessel.shell is None else ArrayShell(vessel.shell, rounded)

    def __call__(
        self,
        innage_m: Floats,
        liquid_degC: Floats,
        water_m: Floats | None = None,
        ambient_degC: Floats | None = None,
    ) -> StockArrays:
        """All arrays are one-dimensional and of one length; water is needed where the tank's water is measured."""
        if (water_m is None) == self._vessel.water_measured:
            raise OutOfRange("give the water innages of a tank whose water is measured, and only of such a tank")
        n = len(innage_m)
        for other in (liquid_degC, water_m, ambient_degC):
            if other is not None and len(other) != n:
                raise OutOfRange(f"{len(other)} rows beside {n} innages")
        result = StockArrays(np.empty(n, dtype=np.bool_), np.empty(n), np.empty(n), np.empty(n), np.empty(n))
        for start in range(0, n, _BLOCK):
            part = slice(start, start + _BLOCK)
            self._block(
                innage_m[part],
                liquid_degC[part],
                None if water_m is None else water_m[part],
                None if ambient_degC is None else ambient_degC[part],
                StockArrays(
                    result.valid[part],
                    result.tov_m3[part],
                    result.gov_m3[part],
                    result.gsv_m3[part],
                    result.mass_kg[part],
                ),
            )
        return result

    def _block(self, level: Floats, t: Floats, water: Floats | None, ambient: Floats | None, out: StockArrays) -> None:
        table, factors, vessel = self._table, self._factors, self._vessel
        good = (level >= table.bottom_m) & (level <= table.top_m) & (t >= factors.low_degC) & (t <= factors.high_degC)
        if water is not None:
            good &= (water >= 0) & (water <= level)
        if not good.all():  # bad rows ride along as harmless ones and are blanked at the end
            level, t = np.where(good, level, table.bottom_m), np.where(good, t, 15.0)
            water = None if water is None else np.where(good, water, 0.0)
        tov, gov = out.tov_m3, out.gov_m3
        tov[:] = table.volume_m3(level)
        gov[:] = tov
        thermal, both = factors(t)
        if vessel.head is not None:
            gov += head_m3(vessel.head, level, self._density * thermal)
        if water is not None:
            wet = water > table.bottom_m
            if wet.any():
                gov[wet] -= table.volume_m3(water[wet])
                np.maximum(gov, 0.0, out=gov)
        if self._shell is not None:
            self._shell.grow(gov, t, ambient)
        if vessel.roof is not None:
            gov += roof_m3(vessel.roof, level, self._in_air * thermal)
            good &= gov >= 0  # NaN in the critical zone
        np.multiply(gov, both, out=out.gsv_m3)
        good &= out.gsv_m3 == out.gsv_m3  # rounded factors are NaN where an edition has none
        np.multiply(out.gsv_m3, self._density, out=out.mass_kg)
        out.valid[:] = good
        if not good.all():
            for column in out[1:]:
                column[~good] = np.nan


class ArrayShell:
    """CTSh on arrays: with all digits, or to a whole degree and five decimals."""

    _LOW, _HIGH = -100, 250

    def __init__(self, shell: Shell, rounded: bool) -> None:
        self._shell = shell
        degrees = range(self._LOW, self._HIGH + 1)
        self._printed = np.array([shell.correction(d, None, True)[1] for d in degrees]) if rounded else None

    def grow(self, volume_m3: Floats, t: Floats, ambient: Floats | None) -> None:
        """Multiply volumes by CTSh, in place. NaN where the rounded form has no factor for such a shell."""
        shell_t = t
        if not self._shell.insulated and ambient is not None:
            shell_t = (7 * t + ambient) / 8
            unknown = shell_t != shell_t
            if unknown.any():
                shell_t[unknown] = t[unknown]
        if self._printed is not None:
            whole = np.rint(shell_t)
            inside = (whole >= self._LOW) & (whole <= self._HIGH)
            row = np.where(inside, whole - self._LOW, 0).astype(np.intp)
            volume_m3 *= np.where(inside, self._printed.take(row), np.nan)
            return
        d = shell_t - self._shell.reference_degC
        d *= self._shell.expansion_per_degC
        d += 1  # 1 + 2 d + d^2
        volume_m3 *= d
        volume_m3 *= d


def roof_m3(roof: FloatingRoof, level_m: Floats, in_air_kgpm3: Floats) -> Floats:
    """What a roof adds or takes off row by row, by its density in air x CTL; NaN inside its critical zone."""
    afloat: Floats = -roof.weight_kg / in_air_kgpm3
    if roof.deducted_at_kgpm3 is not None:
        afloat += roof.weight_kg / roof.deducted_at_kgpm3
    standing = level_m <= roof.critical_low_m
    afloat[standing] = 0.0
    afloat[~standing & (level_m < roof.critical_high_m)] = np.nan
    return afloat


def head_m3(head: LiquidHeadCorrection, level_m: Floats, density_kgpm3: Floats) -> Floats:
    """The liquid head's correction row by row, as `LiquidHeadCorrection.correction_m3`."""
    growth: Floats = np.zeros_like(level_m)
    for low, high, radius, plate in head.rings:
        below = level_m - np.minimum(level_m, high)
        depths = (np.maximum(level_m - low, 0.0) ** 2 - below**2) / 2
        growth += 2 * np.pi * radius**3 * GRAVITY / (head.elasticity_Pa * plate) * depths
    growth *= density_kgpm3 - (head.included_kgpm3 or 0.0)
    return growth
