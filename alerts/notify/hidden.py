"""Stage: is the alarm shelved, suppressed by design or out of service? Then it asks nobody, on no channel.

When it comes back to sight and its condition stands, it asks anew, as a new occurrence.
"""

from typing import Final

from alerts.lifecycle import State
from alerts.notify.stage import Item, Look, Reason, Verdict, Why, each

_REASONS: Final = {
    State.SHELVED.value: Reason.SHELVED,
    State.SUPPRESSED_BY_DESIGN.value: Reason.SUPPRESSED,
    State.OUT_OF_SERVICE.value: Reason.OUT_OF_SERVICE,
}


def _judge(item: Item, look: Look) -> Verdict | None:
    reason = _REASONS.get(item.case.state)
    if reason is None or item.why is Why.FOLLOW_UP:
        return None
    return Verdict(item.case.id, reason)


hidden = each(_judge)
