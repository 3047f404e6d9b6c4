"""The people of the demo's past: what they write down, when, of what the simulated farm does. All names are invented.

They see the farm as people do: meters and papers by what went through the pumps, dips by where the surface is. What
they want done goes through the core like everybody's acts. They forget a ticket, leave checks out,
and one load is short.
"""

from collections.abc import Callable

from gaugehouse.core import Core
from gaugehouse.demodelivery import FOLLOWED, Delivery
from gaugehouse.demopapers import Papers
from gaugehouse.demorounds import Rounds
from gaugehouse.demotold import Told
from gaugehouse.site import Site
from gaugehouse.stores import Stores
from models.reading import Instant
from simulator.farm import Farm


class People:
    """first: the day of the farm's past with which this one begins."""

    def __init__(
        self, site: Site, core: Core, farm: Farm, stores: Stores, seed: int, start_ms: int, end_ms: int, first: int
    ) -> None:
        self._farm = farm
        self._papers = Papers(site, farm, seed, start_ms, first)
        self._rounds = Rounds(site, core, farm, stores, seed, start_ms, end_ms, first)
        self._deliveries = [Delivery(core, farm, self._papers, start_ms, first, day) for day in FOLLOWED]

    def look(self, at: Instant, write: Callable[[], None]) -> list[Told]:
        """What they do now, in the order of the record book."""
        truth = self._farm.truth()
        told = self._papers.look(at.time_ms, truth)
        for one in self._deliveries:
            told += one.look(at, truth)
        return told + self._rounds.look(at, write)
