"""From papers to batches: what flows in and out of tanks by documents, and by found movements where papers lack.

A paper tells its day, not its minute: within a day the opening balance comes first, then what flowed in, then what went
from tank to tank, then what flowed out. On a day without any paper of one direction the movements that the gauge found
in that direction stand in, marked "no papers yet"; as soon as one such paper is entered for the day, papers alone
count. No I/O, no clock.
"""

from collections.abc import Callable, Iterable, Iterator, Mapping
from itertools import groupby
from typing import Final, NamedTuple

from inventory.batches import (
    NO_PAPERS,
    Content,
    Flow,
    Inflow,
    Mixing,
    Outflow,
    Stand,
    Transfer,
    after,
    handed_over,
)
from inventory.documents import Document, DocumentKind


class Found(NamedTuple):
    """A movement that the gauge found. volume_m3: signed, into the tank positive, at the reference temperature where it
    is known there. day: the site's day on which it ended; number: the tank's own of movements."""

    day: str
    time_ms: int
    volume_m3: float
    number: int


OPENING, IN, ACROSS, OUT = range(4)
"""The order of a day."""


class _Dated(NamedTuple):
    """tank: of a transfer the one that takes."""

    day: str
    order: int
    number: int
    tank: str
    flow: Flow | Transfer


EMPTY: Final = Content()


def contents_of(
    documents: Iterable[Document],
    found: Mapping[str, Iterable[Found]],
    day_starts_ms: Callable[[str], int],
    mixing: Mixing,
) -> dict[str, Content]:
    """What each tank holds that anything flowed into or out of. documents: all that stand; those that only check others
    are skipped.

    found: movements by tank. day_starts_ms: when a site's day begins, UTC. Movements before the day of the tank's
    opening balance are skipped.
    """
    dated: list[_Dated] = []
    for document in documents:
        if not document.details.get("only_checks", False):
            dated += _acts(document, day_starts_ms(document.day))
    opened: dict[str, str] = {}
    for one in dated:
        if isinstance(one.flow, Stand):
            opened[one.tank] = min(one.day, opened.get(one.tank, one.day))
    with_papers = {way for one in dated for way in _ways(one)}
    for tank, moved in found.items():
        for movement in moved:
            if movement.day >= opened.get(tank, "") and (tank, movement.day, movement.volume_m3 > 0) not in with_papers:
                dated.append(_of_found(tank, movement))
    dated.sort(key=lambda one: one[:3])
    contents: dict[str, Content] = {}
    for (_, order), some in groupby(dated, key=lambda one: one[:2]):
        for one in _in_turn(some) if order == ACROSS else some:
            content = contents.get(one.tank, EMPTY)
            if isinstance(one.flow, Transfer):
                giver = contents.get(one.flow.giver, EMPTY)
                contents[one.flow.giver], contents[one.tank] = handed_over(giver, content, one.flow, mixing)
            else:
                contents[one.tank] = after(content, one.flow, mixing)
    return contents


def _ways(one: _Dated) -> Iterator[tuple[str, str, bool]]:
    """Tank, day and direction that a paper tells of: True for into it."""
    if isinstance(one.flow, Transfer):
        yield one.flow.giver, one.day, False
    if not isinstance(one.flow, Stand):
        yield one.tank, one.day, not isinstance(one.flow, Outflow)


def _in_turn(transfers: Iterable[_Dated]) -> Iterator[_Dated]:
    """A tank that still takes gives later; where they go round in a ring, the first paper comes first."""
    left = list(transfers)
    while left:
        takers = {one.tank for one in left}
        ready = (one for one in left if isinstance(one.flow, Transfer) and one.flow.giver not in takers)
        one = next(ready, left[0])
        left.remove(one)
        yield one


def _acts(document: Document, time_ms: int) -> Iterator[_Dated]:
    """What a paper does to tanks. A transfer hands batches over, but where its paper names a batch of its own."""
    volume, day, number = document.standard_m3, document.day, document.number
    volume = document.observed_m3 if volume is None else volume
    if volume is None or not document.tank or document.kind is DocumentKind.OUTSIDE:
        return
    batch, certificate, to_tank = (_text(document, name) for name in ("batch", "certificate", "to_tank"))
    if document.kind is DocumentKind.OPENING:
        if volume >= 0:
            yield _Dated(day, OPENING, number, document.tank, Stand(time_ms, volume))
        return
    if to_tank and not batch and volume:
        giver, taker = (document.tank, to_tank) if volume < 0 else (to_tank, document.tank)
        yield _Dated(day, ACROSS, number, taker, Transfer(time_ms, abs(volume), giver))
        return
    for tank, into in ((document.tank, volume), (to_tank, -volume)):
        if tank and into > 0:
            inflow = Inflow(time_ms, into, batch or _paper(document), certificate, number)
            yield _Dated(day, IN, number, tank, inflow)
        elif tank and into < 0:
            yield _Dated(day, OUT, number, tank, Outflow(time_ms, -into))


def _of_found(tank: str, movement: Found) -> _Dated:
    if movement.volume_m3 > 0:
        inflow = Inflow(movement.time_ms, movement.volume_m3, origin=NO_PAPERS)
        return _Dated(movement.day, IN, movement.number, tank, inflow)
    return _Dated(movement.day, OUT, movement.number, tank, Outflow(movement.time_ms, -movement.volume_m3))


def _text(document: Document, name: str) -> str:
    value = document.details.get(name)
    return value if isinstance(value, str) else ""


def _paper(document: Document) -> str:
    """What stands for a batch number that the paper does not give."""
    return f"paper {document.paper}" if document.paper else f"document {document.number}"
