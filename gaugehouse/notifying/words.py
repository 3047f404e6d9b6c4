"""A channel in one line: whom it reaches, of which alarms, when, and what it does besides."""

from alerts.notify.letter import span
from alerts.notify.policy import EVERY_DAY, Hours
from gaugehouse.site import NotifySpec
from gaugehouse.sitefile.notifyschema import DAYS


def channel_line(spec: NotifySpec) -> str:
    """Such as ``duty (email, for duty officer): priority 1, 2; 22:00-06:00; unacknowledged for 10 min``."""
    policy = spec.policy
    parts = []
    if policy.priorities:
        parts.append(f"priority {', '.join(map(str, sorted(policy.priorities)))}")
    if policy.classes:
        parts.append(f"class {', '.join(sorted(policy.classes))}")
    if policy.sources:
        parts.append(f"of {', '.join(sorted(policy.sources))}")
    if policy.hours is not None:
        parts.append(_hours(policy.hours))
    if policy.unacknowledged_ms:
        parts.append(f"unacknowledged for {span(policy.unacknowledged_ms)}")
    if policy.again_ms is not None:
        parts.append(f"again every {span(policy.again_ms)}")
    if policy.alive_every_ms is not None:
        parts.append(f"a sign of life every {span(policy.alive_every_ms)}")
    return f"{spec.id} ({spec.kind}, for {spec.who}): {'; '.join(parts)}"


def _hours(hours: Hours) -> str:
    times = f"{_clock(hours.start_min)}-{_clock(hours.end_min)}"
    if hours.days == EVERY_DAY:
        return times
    return f"{times} on {', '.join(DAYS[day] for day in sorted(hours.days))}"


def _clock(minute: int) -> str:
    return f"{minute // 60:02d}:{minute % 60:02d}"
