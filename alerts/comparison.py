"""Two ways to set alarms over the same past, side by side: how often each raises, what one of them misses.

Knows stretches in which an alarm's condition was on; refuses to know where they come from. A stretch is missed when the
other setting has none of the same alarm that overlaps it: one that only comes later, or ends sooner, is not missed.
"""

from collections.abc import Iterable, Mapping, Sequence
from typing import NamedTuple

from alerts.alarm import Transition
from alerts.lifecycle import Event


class Stretch(NamedTuple):
    """From raised to returned, in UTC ms; end None where it still stands at the end of the past."""

    start_ms: int
    end_ms: int | None

    def overlaps(self, other: "Stretch") -> bool:
        before = self.end_ms is not None and self.end_ms < other.start_ms
        after = other.end_ms is not None and other.end_ms < self.start_ms
        return not before and not after


class Compared(NamedTuple):
    """One alarm under another setting, held against the first. later_s: by how many seconds on the mean it comes later
    (earlier: negative) where both have it; None where they share nothing."""

    raised: int
    missed: tuple[Stretch, ...]
    new: tuple[Stretch, ...]
    later_s: float | None


def stretches(transitions: Iterable[Transition]) -> dict[str, list[Stretch]]:
    """When each alarm's condition was on, hidden or not, in the order in which it came."""
    found: dict[str, list[Stretch]] = {}
    for t in transitions:
        if t.event is Event.RAISED:
            found.setdefault(t.id, []).append(Stretch(t.time_ms, None))
        elif t.event is Event.RETURNED and t.id in found:
            found[t.id][-1] = found[t.id][-1]._replace(end_ms=t.time_ms)
    return found


def compared(first: Sequence[Stretch], other: Sequence[Stretch]) -> Compared:
    """Both of one alarm, each in the order of time."""
    missed, later_ms = [], []
    for stretch in first:
        partner = next((o for o in other if stretch.overlaps(o)), None)
        if partner is None:
            missed.append(stretch)
        else:
            later_ms.append(partner.start_ms - stretch.start_ms)
    new = tuple(o for o in other if not any(o.overlaps(stretch) for stretch in first))
    later_s = sum(later_ms) / len(later_ms) / 1000 if later_ms else None
    return Compared(len(other), tuple(missed), new, later_s)


def side_by_side(
    first: Mapping[str, Sequence[Stretch]], others: Sequence[Mapping[str, Sequence[Stretch]]]
) -> dict[str, tuple[int, list[Compared]]]:
    """By alarm (every one that any setting raised, by name): how often the first raises it, and each other one."""
    alarms = sorted({alarm for setting in (first, *others) for alarm in setting})
    return {
        alarm: (
            len(first.get(alarm, ())),
            [compared(first.get(alarm, ()), setting.get(alarm, ())) for setting in others],
        )
        for alarm in alarms
    }
