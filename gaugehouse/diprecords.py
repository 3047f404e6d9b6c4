"""What the record book's entries say of dips and density samples, read back as they count now.

An entry is never changed: one that was wrong is followed by one that withdraws it.
"""

from typing import Any

from gaugehouse.dipacts import DIP, SAMPLE, WITHDRAWN
from history.book import BookReader
from inventory.dips import DensitySample, Dip, dip_from, sample_from

Json = dict[str, Any]


def dips_of(book: BookReader, tank: str | None = None) -> list[Dip]:
    """Every dip that counts, by the time at which it was taken."""
    found = [dip_from(body) for body in _standing(book, DIP)]
    return sorted((dip for dip in found if tank in (None, dip.tank)), key=lambda dip: (dip.time_ms, dip.number))


def samples_of(book: BookReader, tank: str | None = None) -> list[DensitySample]:
    """Every density sample that counts, accepted or not, by the time at which it was drawn."""
    found = [sample_from(body) for body in _standing(book, SAMPLE)]
    return sorted((one for one in found if tank in (None, one.tank)), key=lambda one: (one.time_ms, one.number))


def _standing(book: BookReader, kind: str) -> list[Json]:
    """What was added and not withdrawn since, in the order of the book."""
    added: dict[int, Json] = {}
    for entry in book.entries([kind]):
        told: Json = dict(entry.body)
        if told["change"] == WITHDRAWN:
            added.pop(told["number"], None)
        else:
            added[told["number"]] = told
    return list(added.values())
