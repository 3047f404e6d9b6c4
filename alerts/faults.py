"""Loop faults: from the samples of every instrument to rows "what, from when, to when, between which currents".

Knows the loops of a site and ticks; refuses to know tanks, alarms and clocks. What a fault of one loop is and how it
runs stands in `loopfaults.py`, what a single poll shows in `shown.py`.
"""

from collections.abc import Collection, Iterable, Mapping, Sequence
from types import MappingProxyType
from typing import Any, Final

from alerts.errors import BadSetup
from alerts.frozen import Verdict
from alerts.loopfaults import DECLARED, ENDED, NE107, WORSENED, Fault, FaultChange, LoopFaults
from alerts.noise import Noise
from alerts.spec import LoopFacts
from models.reading import Instant, Sample

__all__ = ["DECLARED", "ENDED", "NE107", "WORSENED", "Fault", "FaultChange", "FaultTracker"]

NOTHING_MOVES: Final[Mapping[str, float]] = MappingProxyType({})


class FaultTracker:
    """loops: the site's instruments in the order of the site file, which is the order of changes within one tick."""

    def __init__(self, loops: Sequence[LoopFacts]) -> None:
        self._loops: dict[str, LoopFaults] = {}
        for facts in loops:
            if facts.instrument in self._loops:
                raise BadSetup(f"instrument {facts.instrument} is given twice; ids are used once")
            self._loops[facts.instrument] = LoopFaults(len(self._loops), facts)
        self._waiting: set[str] = set()  # the only ones that a tick without a sample of theirs can change
        self._dirty: set[str] = set()
        self._declared: Mapping[str, tuple[str, ...]] = MappingProxyType({})
        self._current: Mapping[str, str] = MappingProxyType({})

    def step(
        self,
        now: Instant,
        samples: Sequence[Sample],
        checked: Collection[str] = frozenset(),
        metered: Mapping[str, float] = NOTHING_MOVES,
    ) -> list[FaultChange]:
        """One tick: first what is over, then the samples, then what has lasted. Samples of strangers pass by.

        checked: loops under check, whose current is simulated: it is no sign of a fault and teaches nothing. metered:
        how fast meters say that an instrument's level should move, in m/s; others stand, or nobody says.
        """
        loops = self._loops
        touched = {name: loops[name] for name in self._waiting}
        changes = [change for loop in touched.values() for change in loop.close(now)]
        for sample in samples:
            loop = loops.get(sample.instrument)
            if loop is not None:
                if sample.instrument in checked:
                    loop.stand_aside(now.elapsed_ms, sample.time_ms)
                else:
                    loop.metered_m_per_s = metered.get(sample.instrument, 0.0)
                    loop.take(now.elapsed_ms, sample)
                touched[sample.instrument] = loop
        for name, loop in touched.items():
            changes += loop.judge(now)
            if loop.waiting:
                self._waiting.add(name)
            else:
                self._waiting.discard(name)
            if loop.dirty:
                self._dirty.add(name)
                loop.dirty = False
        if changes:
            changes.sort(key=lambda change: loops[change.fault.instrument].order)
            self._publish()
        return changes

    def _publish(self) -> None:
        spells = {name: loop.spells for name, loop in self._loops.items()}
        self._declared = MappingProxyType({n: tuple(s.told for s in found) for n, found in spells.items() if found})
        self._current = MappingProxyType({n: classes[0] for n, classes in self._declared.items()})

    def declared(self) -> Mapping[str, tuple[str, ...]]:
        """Every declared class by instrument, in force or in its hold: what alarms are raised from."""
        return self._declared

    def current(self) -> Mapping[str, str]:
        """The one declared class by instrument that is named first: silence, then the current, and so on."""
        return self._current

    def out_of_trust(self, instrument: str) -> bool:
        """True from the first out-of-band sample (declared or not) to the first measuring one, while a declared silence
        lasts, and while a declared frozen value repeats."""
        loop = self._loops.get(instrument)
        return loop is not None and (loop.signal.untrusted or loop.answer.untrusted or loop.frozen)

    def verdict(self, instrument: str) -> Verdict:
        """What the loop's flat stretch proves by itself, for a page that explains why there is no verdict."""
        loop = self._loops.get(instrument)
        return Verdict.CANNOT_TELL if loop is None else loop.flat.verdict()

    def noise(self, instrument: str) -> Noise | None:
        """A loop's noise, None for a stranger. Between faults `now` is the noise before the next one."""
        loop = self._loops.get(instrument)
        return None if loop is None else loop.noise.known()

    def open_faults(self) -> list[Fault]:
        """Faults that are not closed. One in its hold has an end already: the first clean sample."""
        return [loop.fault(spell) for loop in self._loops.values() for spell in loop.spells]

    def newest_number(self, instrument: str) -> int | None:
        """The number of an instrument's newest fault, 0 before the first; None for a stranger."""
        loop = self._loops.get(instrument)
        return None if loop is None else loop.number

    def save(self, changed_only: bool = False) -> dict[str, dict[str, Any]]:
        """State by instrument, as JSON values. changed_only: what is worth keeping since the last `save` of any kind.

        Between two changes only the learned noise and a flat run grow older; a full save keeps them to the sample.
        """
        return self.save_some(sorted(self._dirty) if changed_only else self.keys())

    def keys(self) -> Sequence[str]:
        """The keys of a full save."""
        return list(self._loops)

    def save_some(self, keys: Iterable[str]) -> dict[str, dict[str, Any]]:
        """Of these keys alone what a full save gives."""
        saved = {name: self._loops[name].saved() for name in keys}
        self._dirty -= saved.keys()
        return saved

    def restore(self, saved: Mapping[str, Mapping[str, Any]]) -> list[str]:
        """Take up saved state before the first step. Gives the ids that the site no longer has, for the record."""
        for name, state in saved.items():
            if name in self._loops:
                self._loops[name].restore(state)
                if self._loops[name].waiting:
                    self._waiting.add(name)
        self._publish()
        return sorted(name for name in saved if name not in self._loops)
