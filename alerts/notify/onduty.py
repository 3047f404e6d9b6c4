"""Stage: is somebody on duty at this channel now? What comes at other hours waits, and is told when duty begins
unless it is settled by then (acknowledged, or over)."""

from collections.abc import Sequence

from alerts.notify.stage import Item, Look, Passed, Reason, Verdict, Why, each


def on_duty(items: Sequence[Item], look: Look) -> Passed:
    hours, now = look.policy.hours, look.now
    if hours is None or not items:
        return Passed(items)
    wait_ms = hours.opens_in_ms(now.time_ms)
    if wait_ms:
        until_ms = now.elapsed_ms + wait_ms
        return Passed([], [Verdict(item.case.id, Reason.NOBODY_ON_DUTY, until_ms) for item in items])
    return _still_of_interest(items, look)


def _judge(item: Item, look: Look) -> Verdict | None:
    settled = not item.case.unacknowledged or item.why is Why.FOLLOW_UP
    return Verdict(item.case.id, Reason.OVER_BEFORE_DUTY) if item.case.off_hours and settled else None


_still_of_interest = each(_judge)
