"""Conditions that are judged outside the engine: it is told a value or a verdict, and keeps delays and deadband.

Knows limits and running delays; refuses to know what a condition means. Whoever tells says it by (source, condition).
A value is held against the limit; a verdict stands for itself; neither is as a bad reading: it raises and clears
nothing, stops a running on-delay and sets an off-delay back to its beginning.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import NamedTuple

from alerts.conditions import Change, LimitWatch
from alerts.errors import BadSetup
from alerts.spec import Limit


@dataclass(frozen=True, slots=True)
class Watched:
    """A source (tank, point, or the system itself) and those of its conditions that somebody else judges."""

    source: str
    limits: tuple[Limit, ...]


class Told(NamedTuple):
    """What is known of one condition now. value: what it is judged by (or shown with); on: the verdict, None = judge
    the value by the limit."""

    source: str
    condition: str
    value: float | None = None
    on: bool | None = None


class WatchBoard:
    """Every watched condition of a site, by alarm id (``source.condition``)."""

    def __init__(self, watched: Iterable[Watched]) -> None:
        self._watches: dict[str, LimitWatch] = {}
        self._conditions: dict[str, str] = {}
        self._running: set[str] = set()
        for source in watched:
            for limit in source.limits:
                alarm_id = f"{source.source}.{limit.condition}"
                if alarm_id in self._watches:
                    raise BadSetup(f"alarm {alarm_id} is watched twice; ids are used once")
                self._watches[alarm_id] = LimitWatch(limit)
                self._conditions[alarm_id] = limit.condition

    def __contains__(self, alarm_id: str) -> bool:
        return alarm_id in self._watches

    @property
    def running(self) -> bool:
        """True while any delay runs, so that the coming ticks must judge it."""
        return bool(self._running)

    def set_active(self, alarm_id: str, active: bool) -> None:
        """Take up what was saved."""
        self._watches[alarm_id].set_active(active)

    def judge(self, now_ms: int, told: Sequence[Told]) -> list[tuple[str, Change]]:
        """What went on or off, by alarm id. Raises `BadSetup` for a condition that nobody announced."""
        touched = set(self._running)
        for say in told:
            alarm_id = f"{say.source}.{say.condition}"
            watch = self._watches.get(alarm_id)
            if watch is None:
                raise BadSetup(f"something was told of {alarm_id}, which is not among the watched conditions")
            touched.add(alarm_id)
            if say.on is not None:
                watch.said(now_ms, say.on, say.value)
            elif say.value is not None:
                watch.trusted(now_ms, say.value)
            else:
                watch.distrusted(now_ms)
        changed: list[tuple[str, Change]] = []
        for alarm_id in sorted(touched):
            watch = self._watches[alarm_id]
            if watch.judge(now_ms):
                changed.append((alarm_id, Change(self._conditions[alarm_id], watch.active, watch.value)))
            if watch.running:
                self._running.add(alarm_id)
            else:
                self._running.discard(alarm_id)
        return changed
