"""The chain level -> GSV and mass for whole arrays: history, Monte Carlo, requalified stretches. Only numpy's user.

Same formulas as the scalar forms, to the last few bits, in blocks that stay in the processor's cache. A row that cannot
be (level off the table, a temperature that the correction does not take, water above the level, not a number) is not
`valid` and is NaN everywhere: arrays have no None. Nothing is clamped. API MPMS 11.1-2004, unrounded, no pressure.
"""

from typing import Final, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from models import vcf
from models.capacity import CapacityTable
from models.correction import Edition, Form
from models.errors import OutOfRange
from models.groups import API_2004, LIMITS_2004, Commodity, commodity_of
from models.quantity import Product, Vessel

Floats = NDArray[np.float64]

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
            flat[part] = _ctl(source[part], line.alpha60_per_degF, 1 / line.ctl_base)
    else:
        rows = densities.reshape(-1)
        for start in range(0, flat.size, _BLOCK):
            part = slice(start, start + _BLOCK)
            alpha, at_base = _lines(commodity_of(product_group), rows[part], base_degC, alpha60_per_degF)
            flat[part] = _ctl(source[part], alpha, 1 / at_base)
    out[~((t >= vcf.T_LOW_DEGC) & (t <= vcf.T_HIGH_DEGC))] = np.nan
    return out


def _ctl(t_degC: Floats, alpha: float | Floats, per_base: float | Floats) -> Floats:
    thermal = t68_shift_degF(t_degC)
    thermal *= alpha
    bend: Floats = 0.8 * thermal
    bend += 1 + 0.8 * alpha * vcf.DELTA60
    thermal *= bend
    np.negative(thermal, out=thermal)
    np.exp(thermal, out=thermal)
    thermal *= per_base
    return thermal


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
        at_base = _ctl(base, alpha, 1.0)
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

    Raises `OutOfRange` for what arrays do not do: a floating roof, the 1980 tables, rounded factors.
    """

    def __init__(self, vessel: Vessel, product: Product) -> None:
        if vessel.roof is not None:
            raise OutOfRange("arrays know no floating roof; use the chain row by row")
        if product.edition != Edition.API_2004 or product.form != Form.UNROUNDED:
            raise OutOfRange(f'arrays know the unrounded "{Edition.API_2004.value}" only; use the chain row by row')
        commodity = commodity_of(product.group)
        self._line = vcf.line_of(commodity, product.base_density_kgpm3, product.base_degC, product.alpha60_per_degF)
        self._density = product.base_density_kgpm3
        self._vessel = vessel
        self._table = FastTable(vessel.table)

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
        table, line = self._table, self._line
        good = (level >= table.bottom_m) & (level <= table.top_m) & (t >= vcf.T_LOW_DEGC) & (t <= vcf.T_HIGH_DEGC)
        if water is not None:
            good &= (water >= 0) & (water <= level)
        all_good = bool(good.all())
        if not all_good:  # bad rows ride along as harmless ones and are blanked at the end
            level, t = np.where(good, level, table.bottom_m), np.where(good, t, 15.0)
            water = None if water is None else np.where(good, water, 0.0)
        out.valid[:] = good
        tov = out.tov_m3
        tov[:] = table.volume_m3(level)
        gov = out.gov_m3
        gov[:] = tov
        if water is not None:
            wet = water > table.bottom_m
            if wet.any():
                gov[wet] -= table.volume_m3(water[wet])
        shell = self._vessel.shell
        if shell is not None:
            shell_t = t if shell.insulated or ambient is None else (7 * t + ambient) / 8
            d = shell_t - shell.reference_degC
            d *= shell.expansion_per_degC
            d += 1  # 1 + 2 d + d^2
            gov *= d
            gov *= d
        np.multiply(gov, _ctl(t, line.alpha60_per_degF, 1 / line.ctl_base), out=out.gsv_m3)
        np.multiply(out.gsv_m3, self._density, out=out.mass_kg)
        if not all_good:
            for column in out[1:]:
                column[~good] = np.nan
