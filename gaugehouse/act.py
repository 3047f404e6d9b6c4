"""What every act of a person has in common: how it is taken, what it leads to, how it is answered.

The acts themselves are in `gaugehouse.acts` and beside the rooms they change.
"""

from collections.abc import Mapping, Sequence
from enum import StrEnum
from types import MappingProxyType
from typing import TYPE_CHECKING, Any, NamedTuple, Protocol

from alerts.alarm import Transition
from gaugehouse.errors import CallError
from models.reading import Instant

if TYPE_CHECKING:
    from gaugehouse.core import Core

Json = dict[str, Any]


class Decision(NamedTuple):
    """One thing decided in a tick, as the record book keeps it."""

    kind: str
    body: Mapping[str, Any]


class Taken(StrEnum):
    """How an act was taken."""

    DONE = "done"
    ALREADY = "already"  # somebody was first; the body says who and when
    OLDER = "older"  # it was meant for an occurrence that is not the newest one
    UNKNOWN = "unknown"  # there is nothing of that name
    REFUSED = "refused"  # not now, or not so: the text says why and what would mend it


class Answer(NamedTuple):
    """What a person is told. text: for everything but DONE; body: JSON-ready."""

    status: Taken
    text: str = ""
    body: Mapping[str, Any] = MappingProxyType({})


class Outcome(NamedTuple):
    """What an act led to."""

    answer: Answer
    decisions: Sequence[Decision] = ()
    transitions: Sequence[Transition] = ()


class Act(Protocol):
    """A person's act. `apply` decides by the core's state alone: no clock, no I/O; it may change the core's rooms."""

    def apply(self, core: "Core", at: Instant) -> Outcome: ...


def refused(text: str, body: Mapping[str, Any] = MappingProxyType({})) -> Outcome:
    """An act that is not done, now or so; nothing is decided. text: why, and what would mend it."""
    return Outcome(Answer(Taken.REFUSED, text, body))


def unknown(text: str, body: Mapping[str, Any] = MappingProxyType({})) -> Outcome:
    """An act on something that there is not."""
    return Outcome(Answer(Taken.UNKNOWN, text, body))


def no_tank(tank: str) -> Outcome:
    return unknown(f"there is no tank {tank!r}")


def text_of(fields: Json, name: str, default: str | None = None) -> str:
    """A text among the fields of an act, without the blanks around it. Raises `CallError` where it is missing."""
    value = fields.get(name, default)
    if not isinstance(value, str) or (default is None and not value.strip()):
        who = ": say who does it" if name == "by" else ""
        raise CallError(f"{name} is missing{who}")
    return value.strip()
