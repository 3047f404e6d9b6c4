"""What stood around a fault when it began: level and noise before it, the movement under way, the alarms it blinds.

Knows the circumstances of every fault that goes on; refuses to judge a signal (`alerts.faults` does) and to know
people (`alerts.casebook` does). It is told what the fault tracker told, and looks into the memory of the traces.
"""

from collections.abc import Mapping, Sequence
from itertools import pairwise
from typing import Any, Final, NamedTuple

from alerts.blinding import blinded
from alerts.faults import DECLARED, ENDED, WORSENED, Fault, FaultChange
from alerts.faulttrace import FaultTraces
from alerts.heard import Heard
from alerts.noise import spread
from alerts.spec import LoopFacts, TankAlarms

BEFORE_MS: Final = 120_000
"""How long before a fault its noise is taken from."""

LEAST_DIFFERENCES: Final = 10


class Case(NamedTuple):
    """The circumstances of a fault; None and empty where nobody knew.

    before_mA, level_m, movement: of the last measuring sample before it. noise_before_m: one standard deviation of the
    level in the two minutes before it. blinded: ids of the alarms that cannot come while it lasts. around: values of
    the site's points (supply volts, heater current, air) when it was declared.
    """

    before_mA: float | None = None
    level_m: float | None = None
    noise_before_m: float | None = None
    movement: str = ""
    blinded: tuple[str, ...] = ()
    around: Mapping[str, float] = {}


UNKNOWN: Final = Case()


class FaultLog:
    """loops: the site's instruments; tanks: its tanks with their limits. A room of the core."""

    def __init__(self, loops: Sequence[LoopFacts], tanks: Sequence[TankAlarms]) -> None:
        self._facts = {loop.instrument: loop for loop in loops}
        self._tanks: dict[str, list[TankAlarms]] = {name: [] for name in self._facts}
        for tank in tanks:
            self._tanks.setdefault(tank.instrument, []).append(tank)
        self._cases: dict[tuple[str, int], Case] = {}
        self._dirty: set[str] = set()

    def tell(self, changes: Sequence[FaultChange], memory: FaultTraces, around: Mapping[str, float]) -> list[Case]:
        """The case of each change, in order. around: what the site's points say now."""
        out = []
        for change in changes:
            key = (change.fault.instrument, change.fault.number)
            if change.change == DECLARED:
                self._cases[key] = self._begun(change.fault, memory, around)
            elif change.change == WORSENED:
                case = self.case(change.fault)
                more = [a for a in self._blinded(change.fault) if a not in case.blinded]
                self._cases[key] = case._replace(blinded=(*case.blinded, *more))
            out.append(self.case(change.fault))
            if change.change == ENDED:
                self._cases.pop(key, None)
            self._dirty.add(key[0])
        return out

    def case(self, fault: Fault) -> Case:
        """The case of a fault that goes on; an empty one for a fault that nobody saw begin."""
        return self._cases.get((fault.instrument, fault.number), UNKNOWN)

    def _begun(self, fault: Fault, memory: FaultTraces, around: Mapping[str, float]) -> Case:
        heard = memory.before(fault.instrument, fault.start_ms, BEFORE_MS)
        last = next((h for h in reversed(heard) if h.level_m is not None), None)
        current_mA = next((h.current_mA for h in reversed(heard) if h.current_mA is not None), None)
        return Case(
            current_mA,
            None if last is None else last.level_m,
            self._noise_m(fault.instrument, heard),
            "" if last is None else last.movement,
            self._blinded(fault),
            around,
        )

    def _blinded(self, fault: Fault) -> tuple[str, ...]:
        return blinded(fault.fault_class, self._tanks[fault.instrument])

    def _noise_m(self, instrument: str, heard: Sequence[Heard]) -> float | None:
        """On the current where the loop tells it, else on the finest register, as the learned noise is."""
        facts = self._facts[instrument]
        signal = facts.current_signal
        values = [h.current_mA for h in heard if h.current_mA is not None]
        if signal is None:
            signal = next((n for n, _ in facts.watched if any(h.sample.values.get(n) is not None for h in heard)), "")
            values = [v for h in heard if (v := h.sample.values.get(signal)) is not None]
        differences = [b - a for a, b in pairwise(values)]
        return None if len(differences) < LEAST_DIFFERENCES else facts.noise_m(signal, spread(differences))

    def save(self, changed_only: bool) -> dict[str, Any]:
        """Cases that go on, by instrument; None where there is none any more."""
        names = self._dirty if changed_only else {instrument for instrument, _ in self._cases}
        saved = {
            name: {str(n): case._asdict() for (instrument, n), case in self._cases.items() if instrument == name}
            or None
            for name in sorted(names)
        }
        self._dirty = set()
        return saved

    def restore(self, saved: Mapping[str, Any]) -> None:
        """Take up cases that were going on. Those of instruments that are gone are left alone."""
        for name, cases in saved.items():
            if name not in self._facts:
                continue
            for number, case in cases.items():
                self._cases[name, int(number)] = Case(**(case | {"blinded": tuple(case["blinded"])}))
