"""One act of a person of the demo's past, and who these people are."""

from collections.abc import Callable
from typing import Final, NamedTuple

from gaugehouse.act import Answer, Json

ANA, BEN, CLEO, DAN = PEOPLE = ("Ana", "Ben", "Cleo", "Dan")
"""Invented, as all of the demo: Ana keeps the stock, Ben and Cleo run the farm by shifts, Dan mends."""

DENSITY: Final = {"jet": 800.0, "avgas": 715.0, "diesel": 840.0}
"""Of what is delivered, in kg/m3 at 15 degC; every batch of the demo is alike."""


def _nothing(answer: Answer) -> None:
    """Most acts lead to nothing further."""


class Told(NamedTuple):
    """An act by its name and fields. then: what its answer leads to."""

    act: str
    fields: Json
    then: Callable[[Answer], None] = _nothing
