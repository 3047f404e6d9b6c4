"""What follows from a stored level, worked out for whole columns: the store keeps what was measured, this the rest.

Knows one version of a tank's model; refuses to know files. The same formulas as the core's, in their array form, so
that nearly nothing is left between the two; the store keeps that rest, so that no figure changes by being stored.
"""

import logging
from collections.abc import Iterable, Mapping
from typing import Final

import numpy as np
from numpy.typing import NDArray

from gaugehouse.site import Site
from gaugehouse.wiring import stock_of
from history.block import Deriver, Measured
from models.arrays import ArrayChain, FastTable
from models.definition import Definition, made_of, written
from models.errors import OutOfRange
from models.quantity import Product, Vessel
from models.signal import SPAN_MA, ZERO_MA
from models.tank import LevelKind, Tank

log = logging.getLogger(__name__)

Floats = NDArray[np.float64]

_STOCK: Final = frozenset({"gov_m3", "gsv_m3", "mass_kg"})
_VOLUME: Final = frozenset({"tov_m3", "volume_percent"})


class ModelDeriver:
    """See `history.block.Deriver`. ends_m: innages at 4 and 20 mA where the level is made of the current, else None."""

    def __init__(
        self, version: str, vessel: Vessel, product: Product, ends_m: tuple[float, float] | None = None
    ) -> None:
        self.version = version
        self.vessel, self.product, self.ends_m = vessel, product, ends_m
        self._table = FastTable(vessel.table)
        try:
            self._chain: ArrayChain | None = ArrayChain(vessel, product)
        except OutOfRange:
            self._chain = None  # no array form: these figures are kept as they are

    def definition(self) -> str:
        """The model as a text, for `deriver_of`."""
        ends = self.ends_m
        low, high = (None, None) if ends is None else ends
        return written(Definition(self.vessel, self.product, low, high))

    def derive(self, measured: Measured, wanted: Iterable[str]) -> Mapping[str, Floats]:
        asked = frozenset(wanted)
        level, table = measured.level_m, self._table
        out: dict[str, Floats] = {}
        on_table = np.clip(level, table.bottom_m, table.top_m)  # a level within the gauge's tolerance of an end
        stock = self._chain if asked & _STOCK else None
        if stock is not None:
            water = measured.water_m if self.vessel.water_measured else None
            figures = stock(on_table, measured.temperature_degC, water)
            out |= {"gov_m3": figures.gov_m3, "gsv_m3": figures.gsv_m3, "mass_kg": figures.mass_kg}
        if asked & _VOLUME:
            known = np.isfinite(on_table)
            tov = np.full(len(level), np.nan)
            tov[known] = table.volume_m3(on_table[known])
            out["tov_m3"] = tov
            out["volume_percent"] = 100 * tov / self.vessel.table.capacity_m3
        out["level_percent"] = 100 * level / self.vessel.table.top_m
        out["ullage_m"] = self.vessel.reference_height_m - level
        if self.ends_m is not None:
            low, high = self.ends_m
            out["current_mA"] = ZERO_MA + SPAN_MA * (level - low) / (high - low)
        return {name: values for name, values in out.items() if name in asked}


def deriver_of(site: Site, tank: Tank, density_kgpm3: float | None = None) -> ModelDeriver:
    """By the model in force; with another base density than the product's where a sample counts."""
    stock = stock_of(site, tank.id, density_kgpm3=density_kgpm3)
    ends = tank.range_m if tank.kind is LevelKind.CURRENT else None
    return ModelDeriver(site.model_version(tank.id), tank.vessel, stock.product, ends)


class SiteModels:
    """See `history.sealed.TankModels`: the models of a site's tanks, made when first asked for."""

    def __init__(self, site: Site) -> None:
        self._site = site
        self._made: dict[str, ModelDeriver | None] = {}
        self._known = {tank.id: tank for tank in site.tanks}

    def current(self, tank: str) -> ModelDeriver | None:
        if tank not in self._made:
            found = self._known.get(tank)
            self._made[tank] = None if found is None else _lasting(deriver_of(self._site, found))
        return self._made[tank]

    def definition(self, tank: str) -> str:
        current = self.current(tank)
        return "" if current is None else current.definition()

    def earlier(self, tank: str, version: str, definition: str) -> Deriver | None:
        try:
            value = made_of(definition)
        except ValueError:
            return None
        ends = None if value.at_4mA_m is None or value.at_20mA_m is None else (value.at_4mA_m, value.at_20mA_m)
        return ModelDeriver(version, value.vessel, value.product, ends)


def _lasting(deriver: ModelDeriver) -> ModelDeriver | None:
    """None for a model that could not be made again from its text: its figures are kept whole instead."""
    try:
        made_of(deriver.definition())
    except (TypeError, ValueError):
        log.warning("tank model %s cannot be written down; its figures are stored whole", deriver.version[:12])
        return None
    return deriver
