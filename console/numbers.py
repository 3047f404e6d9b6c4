"""How a number is written for a person: grouped digits, decimal mark, a true minus, by the person's choice.

Knows signs only; refuses to know units. `static/numbers.js` is the same for the browser, and a test holds both against
each other. Digits are grouped by three with a narrow no-break space; ISO 80000-1, 7.3.1 (from memory), takes point and
comma alike as the decimal sign. Comma groups are for who reads US papers.
"""

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from contextvars import ContextVar
from functools import lru_cache
from math import floor
from types import MappingProxyType
from typing import Final, NamedTuple

THIN: Final = "\N{NARROW NO-BREAK SPACE}"
MINUS: Final = "\N{MINUS SIGN}"
SIXTEENTHS: Final = 16
FOOT: Final = 12 * SIXTEENTHS


class Marks(NamedTuple):
    """What stands between groups of three digits, and between whole and part."""

    group: str
    decimal: str


STYLES: Final[Mapping[str, Marks]] = MappingProxyType(
    {"space": Marks(THIN, "."), "comma": Marks(",", "."), "decimal-comma": Marks(THIN, ",")}
)
USUAL: Final = "space"
KEPT: Final = 32_768
"""Figures that are kept as written: most of a farm's are those of the second before."""
_style: ContextVar[str] = ContextVar("numbers", default=USUAL)


@contextmanager
def in_style(style: str) -> Iterator[None]:
    """Numbers are written so meanwhile, by this task only; an unknown word means the usual way."""
    before = _style.set(style if style in STYLES else USUAL)
    try:
        yield
    finally:
        _style.reset(before)


def style_now() -> str:
    return _style.get()


def number(value: float, decimals: int, *, signed: bool = False) -> str:
    """Fixed decimals, grouped, true minus; what rounds to zero has no sign."""
    return number_in(value, decimals, signed, _style.get())


@lru_cache(maxsize=KEPT)
def number_in(value: float, decimals: int, signed: bool, style: str) -> str:
    """The same in one of `STYLES`."""
    text = f"{abs(value):_.{decimals}f}"
    sign = "" if not text.strip("0._") else MINUS if value < 0 else "+" if signed else ""
    group, decimal = STYLES[style]
    whole, _, part = text.partition(".")
    return sign + whole.replace("_", group) + (decimal + part if part else "")


def feet(inches: float) -> str:
    """A length as feet, inches and sixteenths, ``6-03-10``: always as wide, so that a column does not jump.

    Rounded to the nearest sixteenth, up from its middle. Common practice on US gauge tickets, no source.
    """
    sign, whole, rest, part = _split(inches)
    return f"{sign}{whole}-{rest:02d}-{part:02d}"


def feet_in_words(inches: float) -> str:
    """The same in a sentence: 6 ft 3 10/16 in."""
    sign, whole, rest, part = _split(inches)
    return f"{sign}{whole}\N{NO-BREAK SPACE}ft {rest} {part}/16\N{NO-BREAK SPACE}in".replace(" ", "\N{NO-BREAK SPACE}")


def _split(inches: float) -> tuple[str, int, int, int]:
    count = floor(abs(inches) * SIXTEENTHS + 0.5)
    whole, rest = divmod(count, FOOT)
    return MINUS if count and inches < 0 else "", whole, *divmod(rest, SIXTEENTHS)
