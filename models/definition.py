"""A tank's model as a text that a later program can make again: what a stored figure was worked out with.

Knows how the immutable values of `models` are written as JSON and read back; refuses to know what they compute. A value
is written with the name of its class and its fields; only classes of `models` are made again, by that name.
"""

import importlib
import json
from dataclasses import dataclass, fields, is_dataclass
from enum import Enum
from typing import Any, Final

from models.capacity import CapacityTable
from models.quantity import Product, Vessel

CLASS: Final = "is"
_ROOM: Final = "models."


@dataclass(frozen=True, slots=True)
class Definition:
    """What of a tank's model decides its figures. Innages at 4 and 20 mA where the level is made of the current."""

    vessel: Vessel
    product: Product
    at_4mA_m: float | None = None
    at_20mA_m: float | None = None


def written(value: Definition) -> str:
    """The text of a definition."""
    return json.dumps(_plain(value), separators=(",", ":"), sort_keys=True, allow_nan=False)


def made_of(text: str) -> Definition:
    """The definition of such a text. Raises `ValueError` where this program has no such class or fields any more."""
    try:
        made = _made(json.loads(text))
        if not isinstance(made, Definition):
            raise TypeError(f"it is a {type(made).__name__}")
        return made
    except (AttributeError, ImportError, KeyError, TypeError) as exc:
        raise ValueError(f"the definition of a tank model cannot be read: {exc}") from exc


def _plain(value: object) -> object:
    if value is None or isinstance(value, bool | int | float) or type(value) is str:
        return value
    if isinstance(value, tuple):
        named: tuple[str, ...] | None = getattr(value, "_fields", None)
        if named is None:
            return [_plain(part) for part in value]
        return {CLASS: _name(type(value)), **{name: _plain(part) for name, part in zip(named, value, strict=True)}}
    if isinstance(value, Enum):
        return {CLASS: _name(type(value)), "value": value.value}
    if isinstance(value, CapacityTable):
        return {CLASS: _name(CapacityTable), "levels_m": value.levels_m, "volumes_m3": value.volumes_m3}
    if is_dataclass(value) and not isinstance(value, type):
        own = {field.name: _plain(getattr(value, field.name)) for field in fields(value) if field.init}
        return {CLASS: _name(type(value)), **own}
    raise TypeError(f"{type(value).__name__} has no place in the definition of a tank model")


def _name(kind: type) -> str:
    if not kind.__module__.startswith(_ROOM):
        raise TypeError(f"{kind.__module__}.{kind.__qualname__} is no class of {_ROOM[:-1]}")
    return f"{kind.__module__}.{kind.__qualname__}"


def _made(value: Any) -> Any:
    if isinstance(value, list):
        return tuple(_made(part) for part in value)
    if not isinstance(value, dict):
        return value
    parts = dict(value)
    room, _, name = str(parts.pop(CLASS)).rpartition(".")
    if not room.startswith(_ROOM):
        raise ValueError(f"{room}.{name} is no class of {_ROOM[:-1]}")
    kind = getattr(importlib.import_module(room), name)
    return kind(**{key: _made(part) for key, part in parts.items()})
