"""What the stock book adds up: volumes at two temperatures, entries made of documents, and what was measured.

Knows documents and how they act on a tank's account; refuses to know where a measurement comes from. A volume enters
the book rounded to 0.1 L, and every sum is rounded to the same: papers print whole litres, and a month that was written
out and read in again then gives the same sums to the last digit.
"""

import math
from collections.abc import Iterable, Mapping, Sequence
from enum import StrEnum
from typing import Final, NamedTuple

from inventory.documents import Document, DocumentKind
from models.uncertainty import Budget

PLACES: Final = 4
"""Decimals of m3 in the book: 0.1 L."""


def exact(*volumes_m3: float) -> float:
    """A sum as the book knows it, to 0.1 L, without a negative zero."""
    return round(math.fsum(volumes_m3), PLACES) + 0.0


class Volumes(NamedTuple):
    """One quantity of fuel at two temperatures, m3; None where it is not known.

    gross_m3: as it was, free water taken off (GOV). standard_m3: at the site's reference temperature (GSV).
    """

    gross_m3: float | None
    standard_m3: float | None

    @property
    def known(self) -> bool:
        return self.gross_m3 is not None and self.standard_m3 is not None


ZERO: Final = Volumes(0.0, 0.0)
UNKNOWN: Final = Volumes(None, None)


def total(volumes: Iterable[Volumes]) -> Volumes:
    """The sum, each temperature for itself; not known where a part of it is not."""
    parts = list(volumes)
    return Volumes(_total([part.gross_m3 for part in parts]), _total([part.standard_m3 for part in parts]))


def less(first: Volumes, second: Volumes) -> Volumes:
    """first - second."""
    return total((first, negative(second)))


def negative(volumes: Volumes) -> Volumes:
    return Volumes(*(None if one is None else 0.0 - one for one in volumes))


def size(volumes: Volumes) -> float:
    """The volume at the reference temperature, else as it was; 0 where neither is known. Signed."""
    return next((one for one in (volumes.standard_m3, volumes.gross_m3) if one is not None), 0.0)


def _total(parts: Sequence[float | None]) -> float | None:
    known = [part for part in parts if part is not None]
    return exact(*known) if len(known) == len(parts) else None


class Column(StrEnum):
    """Where an entry stands in the account."""

    RECEIPTS = "receipts"
    ISSUES = "issues"
    TRANSFERS = "transfers"
    DRAWS = "draws"
    ADJUSTMENTS = "adjustments"


COLUMN_OF: Final[Mapping[DocumentKind, Column]] = {
    DocumentKind.DELIVERY: Column.RECEIPTS,
    DocumentKind.TICKET: Column.ISSUES,
    DocumentKind.TRANSFER: Column.TRANSFERS,
    DocumentKind.WATER_DRAW: Column.DRAWS,
    DocumentKind.ADJUSTMENT: Column.ADJUSTMENTS,
}
"""A meter's totaliser is an issue where it counts out of the tank, a receipt where it counts in."""


class Entry(NamedTuple):
    """What one document does to one account on one day. Signed, into the account positive.

    tank: "" for stock outside the tanks, then `place` names it. inner: from tank to tank of one product, so nothing to
    the product's own account. part: the share of the document that fell on this day, 1 unless it ran over a boundary.
    """

    number: int
    day: str
    tank: str
    place: str
    product: str
    owner: str
    column: Column
    volumes: Volumes
    inner: bool = False
    part: float = 1.0


class Opening(NamedTuple):
    """The balance that a tank's book begins with, by a document: the stand at the start of its day."""

    day: str
    volumes: Volumes
    owners: Mapping[str, Volumes]


class Crossing(NamedTuple):
    """A document whose movement ran over a day's boundary, split by readings: so much of it before."""

    number: int
    before: str
    after: str
    share_before: float


class Physical(NamedTuple):
    """What a tank held at a boundary between two days, measured.

    volumes: net of free water; unknown with `why` in words. source: "gauge", "dip", "signed" (as a close wrote it down)
    or "" for none. budget: of the standard volume. water_m3: free water. area_m2: of the surface, for a dip's
    tolerance.
    """

    tank: str
    time_ms: int | None
    source: str
    why: str
    volumes: Volumes
    u95_m3: float | None = None
    budget: Budget | None = None
    level_m: float | None = None
    temperature_degC: float | None = None
    water_m3: float | None = None
    area_m2: float | None = None

    @property
    def measured(self) -> bool:
        return self.volumes.known


def unmeasured(tank: str, why: str) -> Physical:
    return Physical(tank, None, "", why, UNKNOWN)


def in_force(documents: Iterable[Document]) -> list[Document]:
    """The documents that make the book, by number: those that only check others do not.

    Each counts with its own volumes on its own day, whatever it corrects.
    """
    every = sorted(documents, key=lambda document: document.number)
    return [one for one in every if not one.details.get("only_checks", False)]


def openings_of(documents: Iterable[Document]) -> dict[str, Opening]:
    """The opening balance of each tank. One document an owner; those of the first day count."""
    found: dict[str, Opening] = {}
    for document in documents:
        if document.kind is DocumentKind.OPENING and document.tank:
            before = found.get(document.tank)
            volumes = volumes_of(document)
            if before is None or document.day < before.day:
                found[document.tank] = Opening(document.day, volumes, {document.owner: volumes})
            elif document.day == before.day:
                owned = total((before.owners.get(document.owner, ZERO), volumes))
                owners = {**before.owners, document.owner: owned}
                found[document.tank] = Opening(document.day, total((before.volumes, volumes)), owners)
    return found


def volumes_of(document: Document) -> Volumes:
    return Volumes(*(None if one is None else exact(one) for one in (document.observed_m3, document.standard_m3)))


def entries_of(documents: Iterable[Document], crossings: Iterable[Crossing] = ()) -> list[Entry]:
    """What the documents in force do, a transfer to both its sides; stands (openings, outside stock) do nothing."""
    over = {crossing.number: crossing for crossing in crossings}
    entries: list[Entry] = []
    for document in documents:
        if document.kind not in (DocumentKind.OPENING, DocumentKind.OUTSIDE):
            for entry in _acts(document):
                entries += _parts(entry, over.get(document.number))
    return entries


def _acts(document: Document) -> list[Entry]:
    volumes, details = volumes_of(document), document.details
    place, to_tank = _text(details.get("place")) or _text(details.get("from_place")), _text(details.get("to_tank"))
    column = COLUMN_OF.get(document.kind)
    if column is None:
        sign = document.observed_m3 if document.observed_m3 is not None else document.standard_m3
        column = Column.RECEIPTS if details.get("counts_in") or (sign or 0.0) > 0 else Column.ISSUES
    first = Entry(document.number, document.day, document.tank, "", document.product, document.owner, column, volumes)
    if not document.tank:
        return [first._replace(place=place)]
    if to_tank:
        return [first._replace(inner=True), first._replace(tank=to_tank, volumes=negative(volumes), inner=True)]
    if place and document.kind in (DocumentKind.TRANSFER, DocumentKind.WATER_DRAW):
        return [first, first._replace(tank="", place=place, volumes=negative(volumes))]
    return [first]


def _text(value: object) -> str:
    return value if isinstance(value, str) else ""


def _parts(entry: Entry, crossing: Crossing | None) -> list[Entry]:
    """The entry, or its two parts on both sides of a boundary: together they are the whole, to the last digit."""
    if crossing is None:
        return [entry]
    share = crossing.share_before
    before = Volumes(*(None if one is None else exact(share * one) for one in entry.volumes))
    return [
        entry._replace(day=crossing.before, volumes=before, part=share),
        entry._replace(day=crossing.after, volumes=less(entry.volumes, before), part=1 - share),
    ]
