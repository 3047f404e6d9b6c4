"""The chain of a channel: the stages in their order. Each takes what the one before it left."""

from collections.abc import Sequence
from typing import Final

from alerts.notify.escalated import escalated
from alerts.notify.grouped import grouped
from alerts.notify.hidden import hidden
from alerts.notify.onduty import on_duty
from alerts.notify.repeated import repeated
from alerts.notify.stage import Item, Look, Passed, Stage, Verdict
from alerts.notify.wanted import wanted

CHAIN: Final[tuple[Stage, ...]] = (wanted, hidden, escalated, on_duty, repeated, grouped)
"""Wanted here? Shelved? Unacknowledged long enough? Anybody on duty? Told just now? Alone or in company?"""


def through(items: Sequence[Item], look: Look, chain: Sequence[Stage] = CHAIN) -> Passed:
    """What is told now, and a verdict on each item that is not."""
    verdicts: list[Verdict] = []
    left: Sequence[Item] = items
    for stage in chain:
        passed = stage(left, look)
        left = passed.left
        verdicts += passed.verdicts
    return Passed(left, verdicts)
