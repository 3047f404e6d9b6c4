"""Documents whose movement ran over a day's boundary: which one it is, and how it is split by the readings.

Knows movements that the gauge saw and documents; the movement only says how much of a paper fell before the boundary,
never how much there was. Where no one paper fits, nothing is split and that is said. Volumes in m3.
"""

from collections.abc import Iterable, Sequence
from typing import Final, NamedTuple

from inventory.account import Crossing
from inventory.documents import Document, DocumentKind

FITS_FRAC: Final = 0.05
"""A paper is of a movement where they agree to so much of it, or to what the tank can tell (ours)."""

MOVES: Final = frozenset({DocumentKind.DELIVERY, DocumentKind.TICKET, DocumentKind.METER, DocumentKind.TRANSFER})


class Running(NamedTuple):
    """A movement that was running at a boundary. moved_m3: the whole, signed; before_m3: what of it the readings saw
    before the boundary; u95_m3: of the whole. before, after: the days on both sides."""

    tank: str
    before: str
    after: str
    moved_m3: float
    before_m3: float
    u95_m3: float


class Found(NamedTuple):
    crossings: tuple[Crossing, ...]
    unsplit: tuple[Running, ...]


def crossings(running: Iterable[Running], documents: Sequence[Document]) -> Found:
    """A document is split by at most one boundary; two that fit equally are not told apart."""
    split: list[Crossing] = []
    left: list[Running] = []
    for movement in running:
        fitting = [
            document
            for document in documents
            if document.number not in {one.number for one in split} and _fits(movement, document)
        ]
        if len(fitting) != 1 or not movement.moved_m3:
            left.append(movement)
            continue
        share = min(1.0, max(0.0, movement.before_m3 / movement.moved_m3))
        split.append(Crossing(fitting[0].number, movement.before, movement.after, share))
    return Found(tuple(split), tuple(left))


def _fits(movement: Running, document: Document) -> bool:
    if document.kind not in MOVES or document.day not in (movement.before, movement.after):
        return False
    volume = document.standard_m3 if document.standard_m3 is not None else document.observed_m3
    if volume is None:
        return False
    if document.details.get("to_tank") == movement.tank:
        volume = -volume
    elif document.tank != movement.tank:
        return False
    return abs(volume - movement.moved_m3) <= max(movement.u95_m3, FITS_FRAC * abs(movement.moved_m3))
