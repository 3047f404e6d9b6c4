"""Which receipts make up a tank's content: batches with their papers, as receipts add to them and issues take away.

Two models, the site's choice: fully mixed, where an issue takes of each batch its share, and first in, first out. Both
are models: nobody sees a batch in the tank. The sum of the batches is the book's content, never below zero: where the
papers took out more than they had brought in, the batches are empty and the lack is told. Volumes in m3, at the
reference temperature where the paper states it. No clock, no I/O.
"""

import math
from collections.abc import Iterable, Mapping, Sequence
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

    origin: "" for a receipt with papers, else `UNKNOWN_ORIGIN` or `NO_PAPERS`.
    """

    batch: str
    certificate: str
    since_ms: int
    volume_m3: float
    number: int | None = None
    origin: str = ""


class Inflow(NamedTuple):
    """A receipt or a transfer in. volume_m3 > 0."""

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
    if not math.isfinite(flow.volume_m3) or flow.volume_m3 < 0:
        raise ValueError(f"{flow.volume_m3!r} m3 is no volume of a flow; write a number from 0 up")
    match flow:
        case Inflow():
            return _filled(content, flow)
        case Outflow():
            return _drawn(content, flow.volume_m3, mixing)
        case Stand():
            return _stated(content, flow, mixing)


def content_of(flows: Iterable[Flow], mixing: Mixing) -> Content:
    """A tank's content after all flows, in the order in which they are given."""
    content = Content()
    for flow in flows:
        content = after(content, flow, mixing)
    return content


def _filled(content: Content, flow: Inflow) -> Content:
    """A lack is made up first: that much of what came in has left already, by the papers."""
    made_up = min(content.lack_m3, flow.volume_m3)
    rest = flow.volume_m3 - made_up
    lack = content.lack_m3 - made_up
    if rest <= DUST_M3:
        return Content(content.batches, lack)
    batch = Batch(flow.batch, flow.certificate, flow.time_ms, rest, flow.number, flow.origin)
    return Content((*content.batches, batch), lack)


def _drawn(content: Content, volume_m3: float, mixing: Mixing) -> Content:
    whole = content.volume_m3
    if volume_m3 >= whole:
        return Content((), content.lack_m3 + volume_m3 - whole)
    if mixing is Mixing.FIRST_OUT:
        return Content(_oldest_taken(content.batches, volume_m3), content.lack_m3)
    left = (whole - volume_m3) / whole
    return Content(_kept([(batch, batch.volume_m3 * left) for batch in content.batches]), content.lack_m3)


def _oldest_taken(batches: Sequence[Batch], volume_m3: float) -> tuple[Batch, ...]:
    kept = []
    for batch in batches:
        taken = min(batch.volume_m3, volume_m3)
        volume_m3 -= taken
        kept.append((batch, batch.volume_m3 - taken))
    return _kept(kept)


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
