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


Key = tuple[str, str]
"""Source and condition."""


class WatchBoard:
    """Every watched condition of a site. Most ticks change nothing: only conditions with a running delay are judged."""

    def __init__(self, watched: Iterable[Watched]) -> None:
        self._watches: dict[Key, LimitWatch] = {}
        self._keys: dict[str, Key] = {}
        self._running: set[Key] = set()
        for source in watched:
            for limit in source.limits:
                key = (source.source, limit.condition)
                if key in self._watches:
                    raise BadSetup(f"alarm {_id(key)} is watched twice; ids are used once")
                self._watches[key] = LimitWatch(limit)
                self._keys[_id(key)] = key

    def __contains__(self, alarm_id: str) -> bool:
        return alarm_id in self._keys

    @property
    def running(self) -> bool:
        """True while any delay runs, so that the coming ticks must judge it."""
        return bool(self._running)

    def set_active(self, alarm_id: str, active: bool) -> None:
        """Take up what was saved."""
        self._watches[self._keys[alarm_id]].set_active(active)

    def judge(self, now_ms: int, told: Sequence[Told]) -> list[tuple[str, Change]]:
        """What went on or off, by alarm id. Raises `BadSetup` for a condition that nobody announced."""
        running = self._running
        for source, condition, value, on in told:
            key = (source, condition)
            watch = self._watches.get(key)
            if watch is None:
                raise BadSetup(f"something was told of {_id(key)}, which is not among the watched conditions")
            if on is not None:
                watch.said(now_ms, on, value)
            elif value is not None:
                watch.trusted(now_ms, value)
            else:
                watch.distrusted(now_ms)
            if watch.running:
                running.add(key)
            elif running:
                running.discard(key)
        changed: list[tuple[str, Change]] = []
        for key in sorted(running):
            watch = self._watches[key]
            if watch.judge(now_ms):
                changed.append((_id(key), Change(key[1], watch.active, watch.value)))
                running.discard(key)
        return changed


def _id(key: Key) -> str:
    return f"{key[0]}.{key[1]}"
