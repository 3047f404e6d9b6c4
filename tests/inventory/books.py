"""Documents and measurements for tests of the stock book, short to write down. Every figure is invented."""

from types import MappingProxyType
from typing import Any

from inventory.account import Physical, Volumes, unmeasured
from inventory.documents import Document, DocumentKind


def paper(
    number: int, kind: DocumentKind, day: str, m3: float | None, tank: str = "palm", owner: str = "", **more: Any
) -> Document:
    """A document; `standard` in place of the same volume at the reference temperature; other words are its details."""
    standard = more.pop("standard", m3)
    fields = {name: more.pop(name) for name in ("temperature_degC", "density_kg_m3", "corrects") if name in more}
    return Document(
        number, kind, day, 0, tank, "jet", owner, f"P-{number}", m3, standard, fields.get("temperature_degC"),
        fields.get("density_kg_m3"), "Ada", corrects=fields.get("corrects"), details=MappingProxyType(more),
    )  # fmt: skip


def held(m3: float | None, tank: str = "palm", standard: float | None = None) -> Physical:
    """What the gauge found at the end of a day; None: nothing."""
    if m3 is None:
        return unmeasured(tank, "no reading")
    return Physical(tank, 0, "gauge", "", Volumes(m3, m3 if standard is None else standard))
