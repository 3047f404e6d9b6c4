"""Which receipts make up a tank's content: batches with their papers, as receipts add to them and issues take away.

Two models, the site's choice: fully mixed, where an issue takes of each batch its share, and first in, first out. Both
are models: nobody sees a batch in the tank. The sum of the batches is the book's content, never below zero: where the
papers took out more than they had brought in, the batches are empty and the lack is told. Volumes in m3, at the
reference temperature where the paper states it. No clock, no I/O.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import Final, NamedTuple


class Mixing(StrEnum):
    """How batches leave a tank."""

    MIXED = "mixed"
    FIRST_OUT = "first in, first out"


MIXINGS: Final[Mapping[str, Mixing]] = {mixing.value: mixing for mixing in Mixing}

UNKNOWN_ORIGIN: Final = "unknown origin"
NO_PAPERS: Final = "no papers yet"

DUST_M3: Final = 1e-9
"""A millilitre's thousandth: what is left of a batch by rounding alone is no batch."""


@dataclass(frozen=True, slots=True)
class Batch:
    """A part of a tank's content. since_ms: when it came in; number: of its document, None where it has none.

    origin: "" for a receipt with papers, else `UNKNOWN_ORIGIN` or `NO_PAPERS`. via: the tank that it was handed over
    from, "" where it came into this one at once; batch, papers and origin are then those that it had there.
    """

    batch: str
    certificate: str
    since_ms: int
    volume_m3: float
    number: int | None = None
    origin: str = ""
    via: str = ""


class Inflow(NamedTuple):
    """A receipt, or a transfer whose paper names a batch of its own. volume_m3 > 0."""

    time_ms: int
    volume_m3: float
    batch: str = ""
    certificate: str = ""
    number: int | None = None
    origin: str = ""


class Outflow(NamedTuple):
    """An issue, a transfer out, a draw. volume_m3 > 0."""

    time_ms: int
    volume_m3: float


class Stand(NamedTuple):
    """An opening balance: the content is so much, whatever was known before; what is more is of unknown origin."""

    time_ms: int
    volume_m3: float


class Transfer(NamedTuple):
    """From one tank, the giver, into another. volume_m3 > 0."""

    time_ms: int
    volume_m3: float
    giver: str


Flow = Inflow | Outflow | Stand


@dataclass(frozen=True, slots=True)
class Content:
    """A tank's batches, oldest first. lack_m3: by how much more went out than the papers had brought in."""

    batches: tuple[Batch, ...] = ()
    lack_m3: float = 0.0

    @property
    def volume_m3(self) -> float:
        """The sum of the batches."""
        return math.fsum(batch.volume_m3 for batch in self.batches)

    @property
    def book_m3(self) -> float:
        """What the flows add up to; below zero where more went out than came in."""
        return self.volume_m3 - self.lack_m3

    def shares(self) -> list[float]:
        """The part of the content that each batch is, 0 to 1."""
        whole = self.volume_m3
        return [batch.volume_m3 / whole for batch in self.batches] if whole > 0 else []


def after(content: Content, flow: Flow, mixing: Mixing) -> Content:
    """A tank's content after one flow. Raises ValueError for a volume that is none, or a negative flow."""
    _check(flow.volume_m3)
    match flow:
        case Inflow():
            return _filled(content, flow)
        case Outflow():
            return _drawn(content, flow.volume_m3, mixing)
        case Stand():
            return _stated(content, flow, mixing)


def handed_over(giver: Content, taker: Content, transfer: Transfer, mixing: Mixing) -> tuple[Content, Content]:
    """Giver and taker after a transfer: the batches go with it. What is more than the giver had is of unknown origin.

    Raises ValueError as `after` does.
    """
    _check(transfer.volume_m3)
    parts = _taken(giver, transfer.volume_m3, mixing)
    came = [
        replace(batch, volume_m3=part, since_ms=transfer.time_ms, via=transfer.giver)
        for batch, part in zip(giver.batches, parts, strict=True)
    ]
    more = transfer.volume_m3 - math.fsum(parts)
    came.append(Batch("", "", transfer.time_ms, max(0.0, more), None, UNKNOWN_ORIGIN, transfer.giver))
    for batch in came:
        taker = _added(taker, batch, mixing)
    return _drawn(giver, transfer.volume_m3, mixing), taker


def _check(volume_m3: float) -> None:
    if not math.isfinite(volume_m3) or volume_m3 < 0:
        raise ValueError(f"{volume_m3!r} m3 is no volume of a flow; write a number from 0 up")


def _filled(content: Content, flow: Inflow) -> Content:
    batch = Batch(flow.batch, flow.certificate, flow.time_ms, flow.volume_m3, flow.number, flow.origin)
    return _added(content, batch, None)


def _added(content: Content, batch: Batch, mixing: Mixing | None) -> Content:
    """A lack is made up first: that much of what came in has left already, by the papers.

    mixing: of a batch that may be here already, by an earlier transfer. Mixed they are one; first in, first out they
    are if nothing came between them.
    """
    made_up = min(content.lack_m3, batch.volume_m3)
    rest = batch.volume_m3 - made_up
    lack = content.lack_m3 - made_up
    if rest <= DUST_M3:
        return Content(content.batches, lack)
    batches = list(content.batches)
    for place in _may_be(len(batches), mixing):
        older = batches[place]
        if replace(older, since_ms=batch.since_ms, volume_m3=batch.volume_m3) == batch:
            batches[place] = replace(older, volume_m3=older.volume_m3 + rest)
            return Content(tuple(batches), lack)
    return Content((*batches, replace(batch, volume_m3=rest)), lack)


def _may_be(count: int, mixing: Mixing | None) -> range:
    """The places where a batch that comes once more is looked for."""
    if mixing is None:
        return range(0)
    return range(count) if mixing is Mixing.MIXED else range(max(0, count - 1), count)


def _drawn(content: Content, volume_m3: float, mixing: Mixing) -> Content:
    lack = content.lack_m3 + max(0.0, volume_m3 - content.volume_m3)
    parts = _taken(content, volume_m3, mixing)
    left = [(batch, batch.volume_m3 - part) for batch, part in zip(content.batches, parts, strict=True)]
    return Content(_kept(left), lack)


def _taken(content: Content, volume_m3: float, mixing: Mixing) -> list[float]:
    """How much of each batch goes with a volume; all of each where that is more than there is."""
    whole = content.volume_m3
    if volume_m3 >= whole:
        return [batch.volume_m3 for batch in content.batches]
    if mixing is Mixing.MIXED:
        return [batch.volume_m3 * volume_m3 / whole for batch in content.batches]
    parts = []
    for batch in content.batches:
        parts.append(min(batch.volume_m3, volume_m3))
        volume_m3 -= parts[-1]
    return parts


def _stated(content: Content, stand: Stand, mixing: Mixing) -> Content:
    """The lack is over: a person has said what there is."""
    known = Content(content.batches)
    more = stand.volume_m3 - known.volume_m3
    if more > 0:
        return _filled(known, Inflow(stand.time_ms, more, origin=UNKNOWN_ORIGIN))
    return _drawn(known, -more, mixing)


def _kept(volumes: Sequence[tuple[Batch, float]]) -> tuple[Batch, ...]:
    """The batches with what is left of each; those that are used up are gone."""
    return tuple(replace(batch, volume_m3=volume) for batch, volume in volumes if volume > DUST_M3)
