"""Fields of an act, as a page or a command sends them, to plain values. Each raises `CallError` with the mend."""

import sys
from collections.abc import Sequence
from typing import Any, Final, TypeGuard

from gaugehouse.act import Json, text_of
from gaugehouse.days import parse_ms
from gaugehouse.errors import CallError

MOST_READINGS: Final = 20


def is_number(value: object) -> TypeGuard[float]:
    """A finite number; yes and no, which Python counts as numbers, are none."""
    return isinstance(value, int | float) and not isinstance(value, bool) and abs(value) <= sys.float_info.max


def whole_of(fields: Json, name: str, mend: str) -> int:
    """A whole number from 1 on: what counts things. mend: what to write where it is none."""
    value = fields.get(name)
    if isinstance(value, bool) or not isinstance(value, int) or value < 1:
        raise CallError(f"{name} is {value!r}; {mend}")
    return value


def short_text_of(fields: Json, name: str, most: int) -> str:
    """A text of so many characters at the most; empty where there is none."""
    text = text_of(fields, name, "")
    if len(text) > most:
        raise CallError(f"{name}: {len(text)} characters; at most {most}")
    return text


def number_of(fields: Json, name: str, low: float, high: float, *, needed: bool = False) -> float | None:
    """A number between two bounds; None where there is none and none is needed."""
    value = fields.get(name)
    if value is None and not needed:
        return None
    return _number(value, name, low, high)


def numbers_of(fields: Json, name: str, low: float, high: float) -> tuple[float, ...]:
    """A list of numbers, empty where there is none."""
    values = fields.get(name)
    if values is None:
        return ()
    if not isinstance(values, list | tuple) or len(values) > MOST_READINGS:
        raise CallError(f"{name} must be a list of at most {MOST_READINGS} numbers")
    return tuple(_number(value, name, low, high) for value in values)


def _number(value: Any, name: str, low: float, high: float) -> float:
    if not is_number(value) or not low <= value <= high:
        raise CallError(f"{name} is {value!r}; write a number from {low:g} to {high:g}")
    return float(value)


def word_of(fields: Json, name: str, words: Sequence[str], default: str) -> str:
    """One of some words."""
    value = fields.get(name)
    if value is None:
        return default
    if value not in tuple(words):
        raise CallError(f"{name} is {value!r}; write one of {', '.join(word for word in words if word)}")
    return str(value)


def boolean_of(fields: Json, name: str) -> bool:
    value = fields.get(name, False)
    if not isinstance(value, bool):
        raise CallError(f"{name} is {value!r}; write true or false")
    return value


def moment_of(fields: Json, name: str) -> int:
    """UTC ms of an ISO time; 0 where there is none, which stands for now."""
    value = fields.get(name)
    if value is None or value == "":
        return 0
    if not isinstance(value, str):
        raise CallError(f"{name} is {value!r}; write it as 2026-01-31T08:00:00Z")
    try:
        return parse_ms(value)
    except ValueError as error:
        raise CallError(f"{name}: {error}") from None
