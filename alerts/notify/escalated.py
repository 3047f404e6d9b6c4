"""Stage: has nobody acknowledged it for long enough? For a channel that is told only then.

Time counts from the oldest occurrence that was neither told here nor acknowledged: an alarm that comes and goes does
not begin anew each time.
"""

from alerts.lifecycle import State
from alerts.notify.stage import Item, Look, Reason, Verdict, Why, each


def _judge(item: Item, look: Look) -> Verdict | None:
    case, policy = item.case, look.policy
    if item.why is not Why.RAISED or not policy.unacknowledged_ms:
        return None
    if not case.unacknowledged:
        over = case.state == State.NORMAL and not case.by
        return Verdict(case.id, Reason.OVER_IN_TIME if over else Reason.ACKNOWLEDGED_IN_TIME)
    due_ms = case.asked_elapsed_ms + policy.unacknowledged_ms
    return Verdict(case.id, Reason.NOT_YET, due_ms) if look.now.elapsed_ms < due_ms else None


escalated = each(_judge)
