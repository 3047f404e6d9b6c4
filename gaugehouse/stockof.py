"""What turns a tank's level into stock, made from the site file: here alone vessel and product are put together."""

from gaugehouse.site import Site
from inventory.dips import DensitySample
from models.airweight import air_at_kgpm3
from models.density import rebased_kgpm3
from models.quantity import Product, Vessel
from models.stock import StockModel


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


def sampled_kgpm3(site: Site, tank_id: str, sample: DensitySample | None) -> float | None:
    """The base density that a sample gives a tank; None for the product's own, as without a sample of that product."""
    spec = site.product_of(tank_id)
    if sample is None or sample.product != spec.id:
        return None
    return rebased_kgpm3(spec.group, sample.base_kgpm3, sample.base_degC, site.reference_degC, spec.alpha60_per_degF)
