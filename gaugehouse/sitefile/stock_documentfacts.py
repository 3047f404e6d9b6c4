"""What the keys of `[stock.documents]` mean together, and the rules that they make.

A meter of the book may name a [[meter]] of the site and then takes from it what it does not say itself.
"""

from collections.abc import Iterator, Mapping
from typing import Any, Final

from gaugehouse.sitefile.draft import Draft
from gaugehouse.sitefile.reading import label
from gaugehouse.sitefile.schema import MeterTable, SiteFile
from gaugehouse.sitefile.stock_documents import BookMeterTable, DocumentsTable
from inventory.documentrules import BookMeter, Direction, DocumentRules, Owner, Place

HERE: Final = "stock.documents"
KINDS: Final = ("owner", "place", "meter")


def check_documents(draft: Draft) -> None:
    """Every mistake between these keys, into the draft's report."""
    stock = draft.file.stock
    documents = None if stock is None else stock.documents
    if documents is None:
        return
    for kind in KINDS:
        _unique(draft, documents, kind)
    for key, place in _items(draft, documents, "place"):
        draft.expect_id(f"{key}.product", place.product, "product")
    for key, meter in _items(draft, documents, "meter"):
        _meter(draft, key, meter)
    if documents.coolest is not None and documents.warmest is not None and documents.coolest >= documents.warmest:
        text = f"{documents.warmest:g} degC is not above `coolest` ({documents.coolest:g} degC); swap the two"
        draft.report.error(f"{HERE}.warmest", text, found=f"{documents.warmest:g} degC")


def _meter(draft: Draft, key: str, meter: BookMeterTable) -> None:
    draft.expect_id(f"{key}.meter", meter.meter, "meter")
    draft.expect_id(f"{key}.tank", meter.tank, "tank")
    linked = _linked(draft.file, meter)
    if meter.meter is not None and linked is None:
        return
    tank, direction = _where(meter, linked)
    if tank is None and draft.report_is_clean(f"{key}.tank"):
        text = "missing; say which tank it fills or draws from, or name a [[meter]] that does (`fills`, `draws_from`)"
        draft.report.error(f"{key}.tank", text, allowed=" or ".join(draft.ids("tank")))
    if direction is None and draft.report_is_clean(f"{key}.direction"):
        text = 'missing; write direction = "out" for what leaves the tank, or "in" for what comes into it'
        draft.report.error(f"{key}.direction", text, allowed='"in" or "out"')


def _where(meter: BookMeterTable, linked: MeterTable | None) -> tuple[str | None, Direction | None]:
    """The tank and the direction of a meter; of its own first, then of the [[meter]] that it names."""
    tank, direction = meter.tank, meter.direction
    if linked is not None:
        fills, draws = linked.fills, linked.draws_from
        if direction is None and (fills is None) is not (draws is None):
            direction = Direction.IN if fills is not None else Direction.OUT
        if tank is None and direction is not None:
            tank = fills if direction is Direction.IN else draws
    return tank, direction


def _linked(file: SiteFile, meter: BookMeterTable) -> MeterTable | None:
    return next((one for one in file.meter or () if meter.meter is not None and one.id == meter.meter), None)


def _unique(draft: Draft, documents: DocumentsTable, kind: str) -> None:
    seen: set[str] = set()
    for index, item in enumerate(getattr(documents, kind) or ()):
        if item.id is not None and item.id in seen:
            text = f'the id "{item.id}" is taken by another {kind}; ids are unique, give this one its own'
            draft.report.error(f"{HERE}.{kind}[#{index + 1}].id", text, found=item.id)
        if kind == "place" and item.id in draft.ids("tank"):
            text = f'"{item.id}" is a tank of this site; a place outside the tanks needs an id of its own'
            draft.report.error(f"{HERE}.place[#{index + 1}].id", text, found=item.id)
        seen.add(item.id)


def _items(draft: Draft, documents: DocumentsTable, kind: str) -> Iterator[tuple[str, Any]]:
    raw: Any = draft.raw
    for part in ("stock", "documents", kind):
        raw = raw.get(part) if isinstance(raw, Mapping) else None
    written = [(k, one) for k, one in enumerate(raw) if isinstance(one, Mapping)] if isinstance(raw, list) else []
    for (index, given), item in zip(written, getattr(documents, kind) or (), strict=False):
        yield f"{HERE}.{kind}[{label(given, index)}]", item


def documents_of(file: SiteFile) -> DocumentRules:
    """The rules of a site file without mistakes."""
    table = file.stock.documents
    return DocumentRules(
        owners=tuple(Owner(one.id, one.name or one.id) for one in table.owner),
        places=tuple(Place(one.id, one.name or one.id, one.kind, one.product, one.capacity) for one in table.place),
        meters=tuple(_book_meter(file, one) for one in table.meter),
        largest_ticket_m3=table.largest_ticket,
        largest_delivery_m3=table.largest_delivery,
        unusual=table.unusual,
        coolest_degC=table.coolest,
        warmest_degC=table.warmest,
    )


def _book_meter(file: SiteFile, meter: BookMeterTable) -> BookMeter:
    linked = _linked(file, meter)
    tank, direction = _where(meter, linked)
    assert tank is not None
    assert direction is not None
    factor, compensated, rolls = meter.factor, meter.compensated, meter.rolls_over_at
    if linked is not None:
        factor = linked.factor if factor is None else factor
        compensated = linked.compensated if compensated is None else compensated
        rolls = linked.rolls_over_at if rolls is None else rolls
    name = meter.name or (linked.name if linked is not None else "") or meter.id
    return BookMeter(
        meter.id, name, tank, direction, 1.0 if factor is None else factor, bool(compensated), rolls, meter.counts
    )
