"""How a site becomes a core: what the rooms are given, put together once for the daemon, `replay` and `read`."""

from gaugehouse.core import Core
from gaugehouse.site import Site
from gaugehouse.stockof import stock_of

__all__ = ["core_of", "stock_of"]


def core_of(site: Site) -> Core:
    """A core of this site without a past."""
    return Core(site, {tank.id: stock_of(site, tank.id) for tank in site.tanks})
