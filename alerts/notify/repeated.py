"""Stage: was the same alarm told just now? A new occurrence of it waits, and is counted with those that follow,
unless it is more urgent now than what was told.

One occurrence is never told twice as new: a case takes each number once (`alerts.notify.case`).
"""

from alerts.notify.stage import Item, Look, Reason, Verdict, Why, each


def _judge(item: Item, look: Look) -> Verdict | None:
    case = item.case
    if item.why is not Why.RAISED or not case.told or not case.tellings or case.more_urgent:
        return None
    free_ms = case.told_elapsed_ms + look.policy.same_alarm_ms
    return Verdict(case.id, Reason.TOLD_JUST_NOW, free_ms) if look.now.elapsed_ms < free_ms else None


repeated = each(_judge)
