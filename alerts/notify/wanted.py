"""Stage: is this alarm one that the channel wants? By priority, class and source; never the channel's own failure."""

from alerts.notify.stage import Item, Look, Reason, Verdict, each


def _judge(item: Item, look: Look) -> Verdict | None:
    case, policy = item.case, look.policy
    reason = None
    if case.source == policy.source:
        reason = Reason.OWN_FAILURE
    elif case.priority not in policy.priorities:
        reason = Reason.OTHER_PRIORITY
    elif policy.classes and case.alarm_class not in policy.classes:
        reason = Reason.OTHER_CLASS
    elif policy.sources and case.source not in policy.sources:
        reason = Reason.OTHER_SOURCE
    return None if reason is None else Verdict(case.id, reason)


wanted = each(_judge)
