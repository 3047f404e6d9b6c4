"""From papers to batches: what flows in and out of a tank by its documents, and by found movements where papers lack.

A paper tells its day, not its minute: within a day the opening balance comes first, then what flowed in, then what
flowed out. On a day without any paper of one direction the movements that the gauge found in that direction stand in,
marked "no papers yet"; as soon as one such paper is entered for the day, papers alone count. No I/O, no clock.
"""

from collections.abc import Callable, Iterable, Iterator
from typing import NamedTuple

from inventory.batches import NO_PAPERS, Flow, Inflow, Outflow, Stand
from inventory.documents import Document, DocumentKind


class Found(NamedTuple):
    """A movement that the gauge found. volume_m3: signed, into the tank positive, at the reference temperature where it
    is known there. day: the site's day on which it ended; number: the tank's own of movements."""

    day: str
    time_ms: int
    volume_m3: float
    number: int


class _Dated(NamedTuple):
    day: str
    order: int
    number: int
    flow: Flow


def flows_of(
    tank: str, documents: Iterable[Document], found: Iterable[Found], day_starts_ms: Callable[[str], int]
) -> list[Flow]:
    """A tank's flows in order. documents: all that stand; those that only check others, and other tanks', are skipped.

    day_starts_ms: when a site's day begins, UTC. Movements before the day of the opening balance are skipped.
    """
    dated: list[_Dated] = []
    for document in documents:
        if not document.details.get("only_checks", False):
            dated += _acts(tank, document, day_starts_ms(document.day))
    opened = min((one.day for one in dated if isinstance(one.flow, Stand)), default="")
    with_papers = {(one.day, isinstance(one.flow, Inflow)) for one in dated if not isinstance(one.flow, Stand)}
    for movement in found:
        if movement.day >= opened and (movement.day, movement.volume_m3 > 0) not in with_papers:
            dated.append(_of_found(movement))
    dated.sort(key=lambda one: one[:3])
    return [one.flow for one in dated]


def _acts(tank: str, document: Document, time_ms: int) -> Iterator[_Dated]:
    """What a paper does to a tank; a transfer acts on the other side too, with the volume turned round."""
    volume = document.standard_m3 if document.standard_m3 is not None else document.observed_m3
    to_tank = document.details.get("to_tank")
    if volume is None or (tank not in (document.tank, to_tank)) or document.kind is DocumentKind.OUTSIDE:
        return
    batch, certificate = _text(document, "batch"), _text(document, "certificate")
    if document.kind is DocumentKind.OPENING:
        if document.tank == tank and volume >= 0:
            yield _Dated(document.day, 0, document.number, Stand(time_ms, volume))
        return
    if document.tank != tank:
        volume, batch = -volume, batch or f"from tank {document.tank}"
    if volume > 0:
        inflow = Inflow(time_ms, volume, batch or _paper(document), certificate, document.number)
        yield _Dated(document.day, 1, document.number, inflow)
    elif volume < 0:
        yield _Dated(document.day, 2, document.number, Outflow(time_ms, -volume))


def _of_found(movement: Found) -> _Dated:
    if movement.volume_m3 > 0:
        inflow = Inflow(movement.time_ms, movement.volume_m3, origin=NO_PAPERS)
        return _Dated(movement.day, 1, movement.number, inflow)
    return _Dated(movement.day, 2, movement.number, Outflow(movement.time_ms, -movement.volume_m3))


def _text(document: Document, name: str) -> str:
    value = document.details.get(name)
    return value if isinstance(value, str) else ""


def _paper(document: Document) -> str:
    """What stands for a batch number that the paper does not give."""
    return f"paper {document.paper}" if document.paper else f"document {document.number}"
