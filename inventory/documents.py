"""Documents of the stock book: what paper says came, went or stood outside the tanks.

The book is made of these and of nothing else; movements that the gauges saw only check them. Knows figures as the paper
gives them; refuses to know who typed them where. No I/O, no clock.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from types import MappingProxyType
from typing import Any


class DocumentKind(StrEnum):
    """What a paper is. `OPENING` stands once for each tank, on the first day of its book."""

    OPENING = "opening balance"
    DELIVERY = "delivery note"
    TICKET = "fuelling ticket"
    METER = "meter totaliser"
    TRANSFER = "transfer note"
    WATER_DRAW = "water draw"
    OUTSIDE = "outside stock"
    ADJUSTMENT = "adjustment"


@dataclass(frozen=True, slots=True)
class Document:
    """One paper. Volumes are signed as the tank sees them: into it positive, out of it negative, in m3.

    number: the book's own, rising from 1. day: the site's day that it counts in, YYYY-MM-DD. time_ms: when it was
    entered, UTC. tank: the tank it is about, "" for a paper about stock outside the tanks. product: its product.
    owner: whose fuel it is, "" where the site has one owner. paper: the paper's own number. observed_m3: at
    `temperature_degC`; standard_m3: at the site's reference temperature; one of the two may be None, an opening or an
    outside stock states a stand and no movement. density_kg_m3: base density. corrects: number of the document that
    this one takes the place of, None for a first one. details: what only some kinds have (`place`, `to_tank`,
    `meter_opening`, `meter_closing`, `meter_factor`, `water_m3`, `fuel_m3`, `batch`, `certificate`), JSON-ready.
    """

    number: int
    kind: DocumentKind
    day: str
    time_ms: int
    tank: str
    product: str
    owner: str
    paper: str
    observed_m3: float | None
    standard_m3: float | None
    temperature_degC: float | None
    density_kg_m3: float | None
    by: str
    comment: str = ""
    corrects: int | None = None
    details: Mapping[str, Any] = field(default_factory=lambda: MappingProxyType({}))


def document_json(document: Document) -> dict[str, Any]:
    """A document as the record book keeps it and the API tells it."""
    return {name: getattr(document, name) for name in document.__slots__} | {
        "kind": document.kind.value,
        "details": dict(document.details),
    }


def document_from(body: Mapping[str, Any]) -> Document:
    """The document that `document_json` wrote. Raises KeyError, ValueError for something else."""
    names = Document.__slots__
    fields = {name: body[name] for name in names}
    return Document(**fields | {"kind": DocumentKind(body["kind"]), "details": MappingProxyType(dict(body["details"]))})
