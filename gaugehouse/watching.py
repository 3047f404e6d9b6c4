"""Who judges the conditions that the alarm engine does not: each tick's Samples in, what is known of them out.

Knows which signal speaks of which condition; the deadbands and delays are the engine's. No clock: time comes with the
tick. A site without such conditions has no watcher and pays nothing.
"""

from collections.abc import Iterator, Sequence
from typing import Final

from alerts.watched import Told
from gaugehouse.site import PointSpec, Site
from models.reading import Sample

SWITCH: Final = "high_level_switch"


class Watchers:
    """Everything that watches something in a site."""

    def __init__(self, site: Site) -> None:
        self._switches: dict[str, list[PointSpec]] = {}
        for point in site.points:
            if point.role == SWITCH:
                self._switches.setdefault(point.source.instrument, []).append(point)

    def __bool__(self) -> bool:
        return bool(self._switches)

    def tell(self, samples: Sequence[Sample]) -> list[Told]:
        """What this tick says."""
        told: list[Told] = []
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
