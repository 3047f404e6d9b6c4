"""The rooms that follow the loops, put together: faults, what stood around them, their traces, the time watched.

Knows in which order they are told; refuses to know what each of them decides.
"""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import replace

from alerts.casebook import Casebook
from alerts.faultlog import Case, FaultLog
from alerts.faults import FaultChange, FaultTracker
from alerts.faulttrace import FaultTraces
from alerts.heard import Heard
from alerts.shown import current_of
from alerts.spec import TankAlarms
from alerts.strands import SATURATED
from alerts.watchtime import WatchTime
from gaugehouse.keeper import TankKeeper
from gaugehouse.site import Site
from models.reading import BAD, Instant, Sample


class LoopWork:
    """keepers: the tanks that each instrument gauges, after they took the tick's samples."""

    def __init__(self, site: Site, keepers: Mapping[str, Sequence[TankKeeper]]) -> None:
        self.faults = FaultTracker(site.loops)
        self.traces = FaultTraces(site.loops, site.fault_trace)
        watched = {one.source: one.limits for one in site.watched}
        every = [replace(tank, limits=(*tank.limits, *watched.get(tank.tank, ()))) for tank in site.tank_alarms]
        every += [TankAlarms(one.point, one.instrument, (one.limit,)) for one in site.switches]
        self.log = FaultLog(site.loops, every)
        self.watch = WatchTime(site.period_ms)
        self.casebook = Casebook()
        self._keepers = keepers
        self._facts = {loop.instrument: loop for loop in site.loops}

    def step(
        self,
        at: Instant,
        samples: Sequence[Sample],
        checked: Collection[str],
        around: Mapping[str, float],
        metered: Mapping[str, float],
    ) -> list[tuple[FaultChange, Case]]:
        """One tick's samples: what became known of faults, each with its circumstances.

        checked: loops under check. around: what the site's points say now. metered: how fast meters say that the level
        of an instrument should move, in m/s.
        """
        for sample in samples:
            if sample.instrument in self._facts:
                self.traces.hear(self._heard(at, sample, around))
        changes = self.faults.step(at, samples, checked, metered)
        for sample in samples:
            name = sample.instrument
            lost = (
                name in checked or self.faults.out_of_trust(name) or SATURATED in self.faults.declared().get(name, ())
            )
            self.watch.heard(name, at.elapsed_ms, at.time_ms, trusted=not lost)
        if not changes:
            return []
        cases = self.log.tell(changes, self.traces, around)
        self.traces.tell(at, changes)
        return list(zip(changes, cases, strict=True))

    def _heard(self, at: Instant, sample: Sample, around: Mapping[str, float]) -> Heard:
        current_mA = current_of(self._facts[sample.instrument], sample)
        keepers = self._keepers.get(sample.instrument)
        latest = keepers[0].latest if keepers else None
        if latest is None or keepers is None:
            return Heard(at.elapsed_ms, sample, current_mA, None, "", around)
        level_m = None if latest.quality is BAD else latest.level_m
        return Heard(at.elapsed_ms, sample, current_mA, level_m, keepers[0].flow, around)
