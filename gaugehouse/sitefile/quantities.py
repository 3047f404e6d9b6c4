"""Numbers with units, as people write them, to plain SI floats and back. The only file that touches pint.

A bare number is refused: 9.2 of what? Offset scales of temperature are handled as scales (59 degF is 15 degC), and as
differences where they stand below a fraction bar (per degC). A barrel is the petroleum barrel of 42 US gallons, a
gallon the US one: the name `imperial_gallon` is there for the other.
"""

import math
import re
from functools import cache
from typing import Final

import pint

from models.errors import GaugehouseError

_NUMBER: Final = re.compile(r"\s*([+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?)\s*(.*?)\s*", re.ASCII)
_COMMA: Final = re.compile(r"\s*[+-]?\d+,\d+")
_POWER: Final = re.compile(r"(?<![0-9*^])([A-Za-z])([23])(?![0-9A-Za-z])", re.ASCII)
_FACTOR: Final = r"[A-Za-z_]+(?:\*\*[1-9])?"
_UNIT: Final = re.compile(rf"%|(?:1\s*/\s*)?{_FACTOR}(?:\s*[*/]\s*{_FACTOR})*", re.ASCII)
_BELOW_THE_BAR: Final = re.compile(r"/\s*(degC|degF|K)\b")
_BARREL: Final = re.compile(r"\b(bbl|barrels?)\b")

DEGC: Final = "degC"


class BadQuantity(GaugehouseError):
    """A text is no quantity of the kind asked for. The site file's reader turns it into a Problem."""

    def __init__(self, why: str, mend: str) -> None:
        self.why = why
        self.mend = mend
        super().__init__(f"{why}; {mend}")


@cache
def _registry() -> pint.UnitRegistry[float]:
    """Built when first needed (half a second), then kept."""
    return pint.UnitRegistry(cache_folder=None)


@cache
def unit_of(text: str) -> pint.Unit:
    """A unit as people write it: ``m3``, ``kg/m3``, ``mm/min``, ``%``, ``degF``, ``bbl``, ``1/degC``, empty for none.

    Raises `BadQuantity` where no such unit is known.
    """
    spelled = _POWER.sub(r"\1**\2", text.strip().replace("°", "deg").replace("µ", "u").replace("·", "*"))
    spelled = _BELOW_THE_BAR.sub(lambda m: f"/{'' if m[1] == 'K' else 'delta_'}{m[1]}", spelled)
    spelled = _BARREL.sub("oil_bbl", spelled)
    if spelled.startswith("/"):
        spelled = f"1{spelled}"
    try:
        if spelled and not _UNIT.fullmatch(spelled):
            raise ValueError("no unit's spelling")
        return _registry().parse_units(spelled)
    except (pint.PintError, AttributeError, ValueError, TypeError, SyntaxError, KeyError) as exc:
        mend = "write a unit such as mm, m, L, m3, degC, s, mA or %"
        raise BadQuantity(f'"{text}" is no unit known here', mend) from exc


def converts(unit: str, to: str) -> bool:
    """True when a unit measures the same kind of thing as another. Percent is a kind of its own here."""
    try:
        return bool(unit_of(unit).dimensionality == unit_of(to).dimensionality) and _is_percent(unit) == _is_percent(to)
    except BadQuantity:
        return False


def _is_percent(unit: str) -> bool:
    return unit.strip() in ("%", "percent")


def convert(value: float, unit: str, to: str) -> float:
    """A value in another unit, free of the last digits' dust: 920 cm is 9.2 m, not 9.200000000000001 m."""
    quantity = _registry().Quantity(value, unit_of(unit))
    return float(f"{quantity.to(unit_of(to)).magnitude:.12g}")


def linear(unit: str, to: str) -> tuple[float, float]:
    """Factor and constant from one unit to another: to = factor * value + constant (degF to degC has both)."""
    constant = convert(0.0, unit, to)
    far = convert(1000.0, unit, to)
    return float(f"{(far - constant) / 1000:.12g}"), constant


def parse(text: object, unit: str, example: str) -> float:
    """The value in `unit` of a quantity such as "9.2 m". Raises `BadQuantity` with the mend."""
    if isinstance(text, bool) or not isinstance(text, (int, float, str)):
        raise BadQuantity("this is no quantity", f'write a number and its unit in quotes, such as "{example}"')
    if isinstance(text, (int, float)):
        raise BadQuantity(f"{text} has no unit", f'write it in quotes with its unit, such as "{example}"')
    if _COMMA.match(text):
        raise BadQuantity(f'"{text}" has a comma', f'write the decimal mark as a point, such as "{example}"')
    found = _NUMBER.fullmatch(text)
    if found is None:
        raise BadQuantity(f'"{text}" is no quantity', f'write a number and its unit, such as "{example}"')
    number, written = float(found[1]), found[2]
    if not written:
        raise BadQuantity(f'"{text}" has no unit', f'write the unit too, such as "{example}"')
    if not converts(written, unit):
        unit_of(written)  # an unknown unit is told as such
        raise BadQuantity(f'"{text}" is not {kind_of(unit)}', f'write {kind_of(unit)}, such as "{example}"')
    value = convert(number, written, unit)
    if not math.isfinite(value):
        raise BadQuantity(f'"{text}" is too large', f'write {kind_of(unit)}, such as "{example}"')
    return value


def difference(text: object, example: str) -> float:
    """A difference of temperatures in degC: "0.5 degC", "0.5 K" or "0.9 degF". Raises `BadQuantity` with the mend."""
    parse(text, DEGC, example)  # what is wrong with it as a quantity is told as for any other
    assert isinstance(text, str)
    found = _NUMBER.fullmatch(text)
    assert found is not None
    number, unit = float(found[1]), unit_of(found[2])
    per_degC = {"delta_degC": 1.0, "kelvin": 1.0, "degree_Celsius": 1.0, "degree_Fahrenheit": 5 / 9}.get(str(unit))
    if per_degC is None:
        raise BadQuantity(f'"{text}" is no difference of temperatures', f'write it in degC or K, such as "{example}"')
    return float(f"{number * per_degC:.12g}")


_KINDS: Final = {
    "m": "a length", "s": "a time", "ms": "a time", "m3": "a volume", "m3/s": "a volume flow", "m/s": "a speed",
    "degC": "a temperature", "kg/m3": "a density", "kg": "a mass", "mA": "a current", "%": "a percentage",
    "1/degC": "an expansion", "1/degF": "an expansion", "V": "a voltage",
    "ohm": "a resistance", "ohm/km": "a resistance per length", "mm2": "an area", "Hz": "a frequency",
}  # fmt: skip


def kind_of(unit: str) -> str:
    """What a unit measures, in words."""
    return _KINDS.get(unit, f"something in {unit}" if unit else "a number without a unit")
