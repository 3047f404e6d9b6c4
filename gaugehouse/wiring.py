"""How a site becomes a core: what the rooms are given, put together once for the daemon, `replay` and `read`."""

from gaugehouse.core import Core
from gaugehouse.site import Site
from models.airweight import air_at_kgpm3
from models.quantity import Product, Vessel
from models.stock import StockModel


def core_of(site: Site) -> Core:
    """A core of this site without a past."""
    return Core(site, {tank.id: stock_of(site, tank.id) for tank in site.tanks})


def stock_of(
    site: Site, tank_id: str, *, vessel: Vessel | None = None, density_kgpm3: float | None = None
) -> StockModel:
    """What turns a tank's level into stock; vessel and base density instead of the tank's and the product's own.

    Raises `models.errors.OutOfRange` for a density that the site's edition does not take.
    """
    tank, spec = site.tank(tank_id), site.product_of(tank_id)
    product = Product(
        spec.group,
        spec.base_density_kgpm3 if density_kgpm3 is None else density_kgpm3,
        site.reference_degC,
        site.volume_correction,
        site.factors,
        spec.alpha60_per_degF,
        None if site.altitude_m is None else air_at_kgpm3(site.altitude_m),
    )
    return StockModel(tank.vessel if vessel is None else vessel, product, site.accuracy[tank_id])
