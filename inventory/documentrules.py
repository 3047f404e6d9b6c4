"""What a site says of the documents of its stock book: whose fuel, places outside the tanks, meters, what is usual.

Immutable values in SI. Knows no site file, no clock, no I/O.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum
from typing import Final, TypeVar

UNUSUAL: Final = 5.0
"""A volume so many times the usual one, or so many times below it, is asked about: our own choice."""

COOLEST_DEGC: Final = -10.0
WARMEST_DEGC: Final = 50.0
"""Temperatures of fuel outside of these are asked about: common practice, no source."""


class PlaceKind(StrEnum):
    """A place that holds stock outside the tanks."""

    REFUELLER = "refueller"
    LINE = "line"
    SLOP = "slop"


class Direction(StrEnum):
    """Which way a meter counts, as its tank sees it."""

    IN = "in"
    OUT = "out"


class Counts(StrEnum):
    """What a meter's totaliser is for: it makes the book, or it only checks the notes and tickets that make it."""

    BOOK = "book"
    CHECK = "check"


@dataclass(frozen=True, slots=True)
class Owner:
    """Somebody whose fuel lies in the tanks."""

    id: str
    name: str


@dataclass(frozen=True, slots=True)
class Place:
    """Where stock stands outside the tanks. capacity_m3: None where the site does not say."""

    id: str
    name: str
    kind: PlaceKind
    product: str
    capacity_m3: float | None = None


@dataclass(frozen=True, slots=True)
class BookMeter:
    """A meter whose totaliser is read into the book.

    factor: true volume = factor x what it counted (API MPMS ch. 4: meter factor). compensated: its register already
    counts volume at the reference temperature. rolls_over_at_m3: the register begins anew at this volume.
    """

    id: str
    name: str
    tank: str
    direction: Direction
    factor: float = 1.0
    compensated: bool = False
    rolls_over_at_m3: float | None = None
    counts: Counts = Counts.BOOK


@dataclass(frozen=True, slots=True)
class DocumentRules:
    """The `[stock.documents]` of a site. The largest volumes are None where the site names none."""

    owners: tuple[Owner, ...] = ()
    places: tuple[Place, ...] = ()
    meters: tuple[BookMeter, ...] = ()
    largest_ticket_m3: float | None = None
    largest_delivery_m3: float | None = None
    unusual: float = UNUSUAL
    coolest_degC: float = COOLEST_DEGC
    warmest_degC: float = WARMEST_DEGC

    def owner(self, owner: str) -> Owner | None:
        return _found(self.owners, owner)

    def place(self, place: str) -> Place | None:
        return _found(self.places, place)

    def meter(self, meter: str) -> BookMeter | None:
        return _found(self.meters, meter)


Named = TypeVar("Named", Owner, Place, BookMeter)


def _found(named: Iterable[Named], wanted: str) -> Named | None:
    return next((one for one in named if one.id == wanted), None)
