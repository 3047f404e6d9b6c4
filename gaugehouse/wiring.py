"""How a site becomes a core: what the rooms are given, put together once for the daemon, `replay` and `read`."""

from dataclasses import replace

from gaugehouse.core import Core
from gaugehouse.site import Site
from gaugehouse.stockof import stock_of

__all__ = ["core_of", "core_of_recording", "stock_of"]


def core_of(site: Site) -> Core:
    """A core of this site without a past."""
    return Core(site, {tank.id: stock_of(site, tank.id) for tank in site.tanks})


def core_of_recording(site: Site) -> Core:
    """A core for a recording of Samples: nobody's acts are in it, so that no tank could ever be a released one."""
    return core_of(replace(site, settling=None))
