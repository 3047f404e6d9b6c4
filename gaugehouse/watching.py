"""Who judges the conditions that the alarm engine does not: each tick's Samples and readings in, what is known out.

Knows which signal speaks of which condition; the deadbands and delays are the engine's. No clock: time comes with the
tick. A site without such conditions has no watcher and pays nothing.
"""

from collections.abc import Iterator, Sequence
from typing import Final, Protocol

from alerts.conditions import TankFacts
from alerts.watched import Told
from gaugehouse.concernwatch import ConcernWatch, concern_of
from gaugehouse.site import PointSpec, Site
from models.reading import Instant, Sample

SWITCH: Final = "high_level_switch"


class TankWatcher(Protocol):
    """Judges something of one tank by what each tick says of it."""

    def tell(self, at: Instant, facts: TankFacts) -> Iterator[Told]: ...


class Watchers:
    """Everything that watches something in a site."""

    def __init__(self, site: Site) -> None:
        self._switches: dict[str, list[PointSpec]] = {}
        for point in site.points:
            if point.role == SWITCH:
                self._switches.setdefault(point.source.instrument, []).append(point)
        self._tanks: dict[str, list[TankWatcher]] = {}
        for tank in site.tanks:
            found: list[ConcernWatch | None] = [concern_of(site, tank.id)]
            watchers: list[TankWatcher] = [watcher for watcher in found if watcher is not None]
            if watchers:
                self._tanks[tank.id] = watchers

    def __bool__(self) -> bool:
        return bool(self._switches or self._tanks)

    def tell(self, at: Instant, samples: Sequence[Sample], facts: Sequence[TankFacts]) -> list[Told]:
        """What this tick says."""
        told: list[Told] = []
        for fact in facts:
            for watcher in self._tanks.get(fact.reading.tank, ()):
                told += watcher.tell(at, fact)
        for sample in samples:
            if sample.instrument in self._switches:
                told += self._switched(sample)
        return told

    def _switched(self, sample: Sample) -> Iterator[Told]:
        """A switch that does not answer says nothing: that is a fault of its instrument, with an alarm of its own."""
        for point in self._switches[sample.instrument]:
            value = sample.values.get(point.source.signal)
            on = None if value is None else (value != 0) == bool(point.alarm_when)
            yield Told(point.id, SWITCH, None, on)
