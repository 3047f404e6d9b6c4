"""What the record book's entries say of dips and density samples, read back as they count now.

An entry is never changed: one that was wrong is followed by one that withdraws it.
"""

from collections.abc import Iterator, Mapping
from typing import Any

from gaugehouse.dipacts import DIP, SAMPLE, WITHDRAWN
from history.book import BookReader
from inventory.dips import DensitySample, Dip, dip_from, sample_from

Json = dict[str, Any]


def dips_of(book: BookReader, tank: str | None = None) -> list[Dip]:
    """Every dip that counts, by the time at which it was taken."""
    found = [dip_from(body) for body, withdrawn in _entries(book, DIP) if withdrawn is None]
    return sorted((dip for dip in found if tank in (None, dip.tank)), key=lambda dip: (dip.time_ms, dip.number))


def samples_of(book: BookReader, tank: str | None = None) -> list[DensitySample]:
    """Every density sample that counts, accepted or not, by the time at which it was drawn."""
    found = [sample_from(body) for body, withdrawn in _entries(book, SAMPLE) if withdrawn is None]
    return sorted((one for one in found if tank in (None, one.tank)), key=lambda one: (one.time_ms, one.number))


def withdrawn_of(book: BookReader, kind: str) -> dict[int, Json]:
    """What was withdrawn, by number: by whom and why."""
    return {body["number"]: withdrawn for body, withdrawn in _entries(book, kind) if withdrawn is not None}


def _entries(book: BookReader, kind: str) -> Iterator[tuple[Mapping[str, Any], Json | None]]:
    """Each added one with what withdrew it, None where it counts."""
    added: dict[int, Json] = {}
    gone: dict[int, Json] = {}
    for entry in book.entries([kind]):
        told: Json = dict(entry.body)
        if told["change"] == WITHDRAWN:
            gone[told["number"]] = {"by": told["by"], "why": told["why"]}
        else:
            added[told["number"]] = told
    for number, body in added.items():
        yield body, gone.get(number)
