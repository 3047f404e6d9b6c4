"""The volume that a paper does not state, worked out for the book: at the reference temperature, or as it was.

By the paper's own temperature and density; where it gives none, by those of the tank on that day and of the product,
and that is said. What a paper states is never changed.
"""

from collections.abc import Callable
from dataclasses import replace
from typing import NamedTuple

from gaugehouse.documentjudging import to_standard
from gaugehouse.site import Site
from inventory.account import exact
from inventory.documents import Document
from models.errors import OutOfRange

TankDegC = Callable[[str, str], float | None]
"""The temperature of a tank at the end of a day, None where it was not measured."""


class Filled(NamedTuple):
    """A document with both its volumes, as far as they can be known. by_tank: not by its own temperature."""

    document: Document
    by_tank: bool


def filled(site: Site, document: Document, tank_degC: TankDegC) -> Filled:
    observed, standard = document.observed_m3, document.standard_m3
    if (observed is None) == (standard is None):
        return Filled(document, False)
    if not (observed or standard):
        return Filled(replace(document, observed_m3=0.0, standard_m3=0.0), False)
    degC, by_tank = document.temperature_degC, False
    if degC is None and document.tank:
        degC, by_tank = tank_degC(document.tank, document.day), True
    if degC is None:
        return Filled(document, False)
    density = document.density_kg_m3
    if density is None:
        density = site.product(document.product).base_density_kgpm3
    try:
        factor = to_standard(site, document.product)(1.0, degC, density)
    except OutOfRange:
        return Filled(document, False)
    if standard is None and observed is not None:
        return Filled(replace(document, standard_m3=exact(observed * factor)), by_tank)
    assert standard is not None
    return Filled(replace(document, observed_m3=exact(standard / factor)), by_tank)
