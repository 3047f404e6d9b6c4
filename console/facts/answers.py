"""What the answers are made of: JSON-ready values, how a person's act was taken, and what may stand in the way."""

from dataclasses import dataclass
from enum import StrEnum
from typing import Any, Literal, NamedTuple

from models.errors import GaugehouseError

Json = dict[str, Any]
PaperSize = Literal["A4", "Letter"]


class FactsUnavailable(GaugehouseError):
    """The store or the record book cannot be reached now. Answered as 503; asking again later may help."""


class ActWaits(FactsUnavailable):
    """A person's act could not be written within a time. Its text is for that person: whether it happens, and why not
    yet."""


class AckStatus(StrEnum):
    """How an acknowledgement was taken."""

    ACCEPTED = "accepted"  # this call acknowledged it; it is in the record book
    ALREADY = "already"  # the same occurrence was acknowledged before; `by` and `time` say by whom and when
    OUTDATED = "outdated"  # the occurrence is not the newest one of this alarm
    UNKNOWN = "unknown"  # no such alarm
    REFUSED = "refused"  # it waits for no acknowledgement; `text` says why


class AckAnswer(NamedTuple):
    """The answer to an acknowledgement. `by` and `time` (ISO Z) are those of the first one; empty where there is none.

    For OUTDATED, `occurrence` is the newest one.
    """

    status: AckStatus
    by: str = ""
    time: str = ""
    occurrence: int | None = None
    text: str = ""


class ActAnswer(NamedTuple):
    """How a person's act was taken.

    status: done, already (somebody was first), older (not the newest occurrence), unknown (nothing of that name),
    refused (not now; the text says why) or wrong (a field; the text says which). body: what the act tells, JSON-ready.
    """

    status: str
    text: str = ""
    body: Json = {}  # noqa: RUF012 never changed


@dataclass(frozen=True, slots=True)
class SiteFacts:
    """What never changes while the daemon runs. `zone` is an IANA name; `build` changes whenever the program does.

    longest_shelf_s: the longest time that an alarm may be shelved for.
    """

    id: str
    name: str
    zone: str
    simulated: bool
    build: str
    longest_shelf_s: float = 28_800.0
