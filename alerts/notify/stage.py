"""What a stage of the chain is: it takes what might be told, gives back what is left, and says why of the rest.

A verdict without `until` is final: this is never told on this channel. One with `until` says when to ask again.
"""

from collections.abc import Callable, Iterable, Sequence
from enum import StrEnum
from typing import NamedTuple

from alerts.notify.case import Case
from alerts.notify.news import Now
from alerts.notify.policy import Policy


class Why(StrEnum):
    """Why an alarm would be told."""

    RAISED = "raised"  # it asks people to look
    AGAIN = "again"  # it was told, and nobody has acknowledged it since
    FOLLOW_UP = "follow_up"  # it was told, and has returned or been acknowledged since


class Reason(StrEnum):
    """Why an alarm is not told, or not now."""

    OWN_FAILURE = "the channel's own failure is told by the others"
    OTHER_PRIORITY = "not of a priority of this channel"
    OTHER_CLASS = "not of a class of this channel"
    OTHER_SOURCE = "not of a source of this channel"
    SHELVED = "shelved"
    SUPPRESSED = "suppressed by design"
    OUT_OF_SERVICE = "out of service"
    NOT_YET = "not unacknowledged for long enough yet"
    ACKNOWLEDGED_IN_TIME = "acknowledged in time"
    OVER_IN_TIME = "over before its time"
    NOBODY_ON_DUTY = "nobody is on duty here now"
    OVER_BEFORE_DUTY = "settled before anybody was on duty"
    TOLD_JUST_NOW = "the same alarm was told just now"
    GATHERING = "waits for others to share the message"
    PAUSING = "the channel's last message went out just now"
    TRYING = "the channel failed and is tried again later"


class Item(NamedTuple):
    """A case that might be told, and why."""

    case: Case
    why: Why


class Verdict(NamedTuple):
    """What became of one item. until_ms: on the monotonic clock, None for never."""

    alarm: str
    reason: Reason
    until_ms: int | None = None


class Look(NamedTuple):
    """What a stage may see. sent_elapsed_ms: when the channel's last message went out, None for never."""

    policy: Policy
    now: Now
    sent_elapsed_ms: int | None = None


class Passed(NamedTuple):
    """What a stage leaves, and its verdict on each item that it took out."""

    left: Sequence[Item]
    verdicts: Sequence[Verdict] = ()


Stage = Callable[[Sequence[Item], Look], Passed]
Judge = Callable[[Item, Look], Verdict | None]


def each(judge: Judge) -> Stage:
    """A stage that judges every item by itself: None lets it through."""

    def stage(items: Sequence[Item], look: Look) -> Passed:
        return _split((item, judge(item, look)) for item in items)

    return stage


def _split(judged: Iterable[tuple[Item, Verdict | None]]) -> Passed:
    left: list[Item] = []
    verdicts: list[Verdict] = []
    for item, verdict in judged:
        if verdict is None:
            left.append(item)
        else:
            verdicts.append(verdict)
    return Passed(left, verdicts)
