"""How a site becomes a core: what the rooms are given, put together once for the daemon, `replay` and `read`."""

from gaugehouse.core import Core
from gaugehouse.site import Site
from gaugehouse.standard import StandardVolume


def core_of(site: Site) -> Core:
    """A core of this site without a past."""
    return Core(site, {tank.id: standard_of(site, tank.id) for tank in site.tanks})


def standard_of(site: Site, tank: str, density_kgpm3: float | None = None) -> StandardVolume:
    """What turns a tank's observed volume into standard volume; `density_kgpm3` instead of the product's own."""
    product = site.product_of(tank)
    density = product.base_density_kgpm3 if density_kgpm3 is None else density_kgpm3
    return StandardVolume(product.group, density, site.reference_degC, site.volume_correction, product.alpha60_per_degF)
