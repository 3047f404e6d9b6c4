"""The newest values of signals that tanks share or that stand beside them: temperatures, water, points, meters.

Knows which signals the site file names and how old a value is; refuses to judge one.
"""

from collections.abc import Sequence
from typing import Final, NamedTuple

from gaugehouse.site import Site
from models.gauging import NOTHING, Extra
from models.reading import Instant, Sample
from models.tank import Linear

POINT_AGE_MS: Final = 60_000
"""A point that was not read for longer suppresses no alarm any more."""


class Newest(NamedTuple):
    """The newest answer of a signal that tanks share (temperature, water), on the core's own clock."""

    elapsed_ms: int
    value: float | None


class Signals:
    """One site's. `take` each tick's samples, then ask."""

    def __init__(self, site: Site) -> None:
        sources = [source for tank in site.tanks for source in (tank.temperature, tank.water, tank.ambient)]
        sources += [meter.source for meter in site.meters]
        sources += [point.source for point in site.points]
        wanted = {(source.instrument, source.signal) for source in sources if source is not None}
        self._wanted_of: dict[str, list[str]] = {}
        for instrument, signal in sorted(wanted):
            self._wanted_of.setdefault(instrument, []).append(signal)
        designed = {rule.point for rule in site.sheet.rules()}
        self._designed = [point for point in site.points if point.id in designed]
        self._beside: list[tuple[str, Linear]] = [(point.id, point.source) for point in site.points]
        self._beside += [(meter.id, meter.source) for meter in site.meters if meter.fills or meter.draws_from]
        self._newest: dict[tuple[str, str], Newest] = {}
        self._elapsed_ms = 0

    def take(self, at: Instant, samples: Sequence[Sample]) -> None:
        """A tick: its samples, and the time from which ages are reckoned."""
        self._elapsed_ms = at.elapsed_ms
        for sample in samples:
            for signal in self._wanted_of.get(sample.instrument, ()):
                if signal in sample.values:
                    self._newest[sample.instrument, signal] = Newest(at.elapsed_ms, sample.values[signal])

    def newest(self, source: Linear | None, max_age_ms: int) -> Extra:
        """The newest value of a signal in our unit, missing when it is too old or is no number."""
        if source is None:
            return NOTHING
        newest = self._newest.get((source.instrument, source.signal))
        if newest is None:
            return NOTHING
        age = self._elapsed_ms - newest.elapsed_ms
        if newest.value is None or age > max_age_ms:
            return Extra(None, age)
        return Extra(newest.value * source.factor + source.constant, age)

    def around(self) -> dict[str, float]:
        """What the site's points and meters (m3 or m3/s) say now: what stands around a fault."""
        told = {name: self.newest(source, POINT_AGE_MS).value for name, source in self._beside}
        return {name: value for name, value in told.items() if value is not None}

    def points_on(self) -> dict[str, bool | None]:
        """Of each point that a suppression by design rests on, whether it is on; None where it is not known now."""
        on: dict[str, bool | None] = {}
        for point in self._designed:
            value = self.newest(point.source, POINT_AGE_MS).value
            on[point.id] = None if value is None else value != 0
        return on
