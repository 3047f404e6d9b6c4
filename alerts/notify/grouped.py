"""Stage: what goes into one message. Alarms of priority 1 wait for nobody and take along what waits.

Other alarms wait a while for company, and between two messages of a channel there is always a pause, so that a flood
becomes a few long messages instead of hundreds of short ones.
"""

from collections.abc import Sequence
from typing import Final

from alerts.notify.stage import Item, Look, Passed, Reason, Verdict, Why

PAUSE_MS: Final = 5_000
"""Between two messages of a channel, priority 1 included. Our choice: shorter than anybody reads."""

MOST: Final = 100
"""Alarms in one message; the rest goes into the next."""


def grouped(items: Sequence[Item], look: Look) -> Passed:
    if not items:
        return Passed(items)
    now_ms, policy = look.now.elapsed_ms, look.policy
    due_ms, reason = now_ms, Reason.GATHERING
    if not any(_urgent(item) for item in items):
        due_ms = min(_ready_ms(item, look) for item in items) + policy.gather_ms
    if look.sent_elapsed_ms is not None and look.sent_elapsed_ms + PAUSE_MS > due_ms:
        due_ms, reason = look.sent_elapsed_ms + PAUSE_MS, Reason.PAUSING
    if now_ms < due_ms:
        return Passed([], [Verdict(item.case.id, reason, due_ms) for item in items])
    first = sorted(items, key=lambda item: (item.case.priority, item.case.asked_ms, item.case.id))
    return Passed(first[:MOST])


def _urgent(item: Item) -> bool:
    return item.case.priority == 1 and item.why is not Why.FOLLOW_UP


def _ready_ms(item: Item, look: Look) -> int:
    """Since when an item could have been told, on the monotonic clock."""
    case = item.case
    if item.why is Why.FOLLOW_UP:
        return look.now.elapsed_ms - max(0, look.now.time_ms - case.follow_ups[0].time_ms)
    if item.why is Why.AGAIN:
        return case.told_elapsed_ms + (look.policy.again_ms or 0)
    return case.asked_elapsed_ms + look.policy.unacknowledged_ms
