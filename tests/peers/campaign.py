"""A fault campaign against whole buses: the collector polls peers that misbehave, and every Sample is checked.

Each register tells its address and the number of the request that it answers, so that a value of another request, or of
an older one, is known by its looks. Four units answer (1, 3, 16 and 17: function numbers too), one never does.
"""

import asyncio
from collections.abc import AsyncIterator, Collection, Sequence
from contextlib import AsyncExitStack, asynccontextmanager
from typing import NamedTuple

from collector.clock import RealClock
from collector.collector import Collector
from collector.health import BusHealth
from collector.spec import BusSpec, InstrumentSpec
from modbus.plan import plan
from modbus.signals import RegisterSignal, RegisterType
from models.reading import Sample
from tests.peers.misdeeds import MISDEEDS, RTU, RTU_OVER_TCP, TCP
from tests.peers.peer import Peer
from tests.peers.serial import SerialPeer
from tests.peers.tcp import TcpPeer
from tests.peers.telling import told
from tests.peers.wires import bus_spec, on_wire

UNITS = (1, 3, 16, 17)
DEAD = 9
REFUSED = "refused"
"""A misdeed of the wire, not of a unit: connections are refused, or the adapter is pulled out."""
KINDS = (TCP, RTU, RTU_OVER_TCP)
WATCH_S = 0.01
HELD_UP_S = 0.04
"""The event loop stood still so long: peer and collector both live on it, and a time-out may be the machine's doing."""
PERIOD_MS = 400
TIMEOUT_MS = 100


def _signals(unit: int) -> tuple[RegisterSignal, ...]:
    """Two blocks whose replies look alike, and with unit 17 one that looks different."""
    shapes = [(3, 10), (3, 11), (3, 40), (3, 41)] + [(4, 70), (4, 71), (4, 72)] * (unit == 17)
    return tuple(RegisterSignal(f"s{function}-{at}", function, at, RegisterType.UINT16) for function, at in shapes)


class Setting(NamedTuple):
    """A bus of the campaign."""

    name: str
    kind: str
    units: tuple[int, ...] = UNITS
    dead: tuple[int, ...] = (DEAD,)
    period_ms: int = PERIOD_MS


def hurried(name: str, kind: str) -> Setting:
    """One unit, asked again as soon as can be: what comes late or twice meets the next request to the same unit."""
    return Setting(name, kind, (3,), (), 20)


class Trial:
    """One bus. `wrong`: values that are not those of their own request. `slow`: good answers that brought no value."""

    def __init__(self, setting: Setting, wire: SerialPeer | TcpPeer) -> None:
        name = setting.name
        self.setting = setting
        self.name = name
        self.wire = wire
        self.peer = wire.peer
        self.wrong: list[str] = []
        self.slow: list[str] = []
        self.values = 0
        self._places = {
            f"{name}-{unit}": {
                s.name: (unit, b.function, b.start, s.address) for b in plan(_signals(unit)) for s in b.signals
            }
            for unit in setting.units
        }
        self._behaves_since: dict[tuple[int, int, int], int] = {}
        self._whole: set[str] = set()
        self._behaving = True
        self.sound = asyncio.Event()
        self.behave()

    def spec(self) -> BusSpec:
        units = self.setting.units + self.setting.dead
        instruments = tuple(InstrumentSpec(f"{self.name}-{unit}", unit, _signals(unit)) for unit in units)
        return bus_spec(self.wire, instruments, self.name, self.setting.period_ms, TIMEOUT_MS)

    async def misbehave(self, deed: str, units: Collection[int]) -> None:
        self.sound.clear()
        self._behaving = False
        if deed == REFUSED:
            self.wire.unplug() if isinstance(self.wire, SerialPeer) else self.wire.refuse()
            return
        self.peer.misbehave(deed, units)

    async def mend(self, deed: str) -> None:
        if deed == REFUSED:
            if isinstance(self.wire, SerialPeer):
                self.wire.plug()
            else:
                await self.wire.accept()
        self.behave()

    def behave(self) -> None:
        """From here on, each block's second good answer at the latest must be a value."""
        self._behaving = True
        self.peer.behave()
        self.peer.misbehave("silence", self.setting.dead)
        self._behaves_since = dict(self.peer.counts)
        self._whole.clear()

    def check(self, sample: Sample) -> None:
        """The sink: look at one Sample."""
        places = self._places.get(sample.instrument)
        if places is None:
            assert not sample.raw, sample
            return
        for signal, (unit, function, start, address) in places.items():
            block = (unit, function, start)
            if signal in sample.raw:
                self.values += 1
                tells = told(sample.raw[signal][0])
                right = (address & 0xFF, self.peer.ages[block] & 0xFF)
                if tells != right or sample.values[signal] != sample.raw[signal][0]:
                    self.wrong.append(f"{self.name}: {sample.instrument} {signal} tells {tells}, not {right}")
            elif self._behaving and self.peer.counts.get(block, 0) - self._behaves_since.get(block, 0) >= 2:
                self.slow.append(f"{self.name}: {sample.instrument} {signal} {sample.outcome}")
        if self._behaving and len(sample.raw) == len(places):
            self._whole.add(sample.instrument)
            if len(self._whole) == len(self.setting.units):
                self.sound.set()


class Campaign:
    """Some buses, polled together. held_up: missing values that the machine's own standstill explains."""

    def __init__(self, trials: Sequence[Trial]) -> None:
        self.trials = trials
        self.held_up = 0
        self._stood_still_s = self._beat_s = float("-inf")
        self._by_name = {trial.name: trial for trial in trials}
        self.samples = 0
        self.collector = Collector([trial.spec() for trial in trials], self._sink, RealClock())

    def _sink(self, sample: Sample) -> None:
        self.samples += 1
        trial = self._by_name[sample.instrument.rpartition("-")[0]]
        slow = len(trial.slow)
        trial.check(sample)
        if len(trial.slow) == slow:
            return
        now_s = asyncio.get_running_loop().time()
        if now_s - self._stood_still_s < 3 * TIMEOUT_MS / 1000 or now_s - self._beat_s > WATCH_S + HELD_UP_S:
            del trial.slow[slow:]
            self.held_up += 1
            return
        health = self.collector.health()[trial.name].instruments[sample.instrument]
        trial.slow[slow:] = [f"{text}: {health.failure}" for text in trial.slow[slow:]]

    async def watch(self) -> None:
        """Note when the event loop stood still."""
        loop = asyncio.get_running_loop()
        while True:
            self._beat_s = before_s = loop.time()
            await asyncio.sleep(WATCH_S)
            if loop.time() - before_s > WATCH_S + HELD_UP_S:
                self._stood_still_s = loop.time()

    def faults(self) -> list[str]:
        """All that went wrong: values of other requests, values that did not come back, neighbours held up."""
        found = [text for trial in self.trials for text in (*trial.wrong, *trial.slow)]
        for trial, health in zip(self.trials, self.collector.health().values(), strict=True):
            if trial.setting.period_ms == PERIOD_MS:
                found += _held_up(trial.name, health)
        return found


def _held_up(name: str, health: BusHealth) -> list[str]:
    """Neighbours of a dead unit miss at most one tick a probe. (Strays cost a silence too.)"""
    units = {int(instrument.rpartition("-")[2]): h for instrument, h in health.instruments.items()}
    failed = {unit: h.no_answer + h.wrong_reply for unit, h in units.items()}
    return [
        f"{name}: unit {unit} missed {h.missed_ticks} ticks, others failed {sum(failed.values()) - failed[unit]} times"
        for unit, h in units.items()
        if unit != DEAD and h.missed_ticks > sum(failed.values()) - failed[unit] + health.strays + health.connects
    ]


def deeds_on(kind: str) -> list[str]:
    """What can be done on a wire."""
    return [name for name, misdeed in MISDEEDS.items() if kind in misdeed.kinds] + [REFUSED]


@asynccontextmanager
async def campaign(settings: Sequence[Setting]) -> AsyncIterator[Campaign]:
    """A running campaign."""
    async with AsyncExitStack() as stack:
        trials = []
        for setting in settings:
            peer = Peer(setting.kind, setting.units + setting.dead, late_s=1.5 * TIMEOUT_MS / 1000)
            trials.append(Trial(setting, await stack.enter_async_context(on_wire(peer))))
        running = Campaign(trials)
        async with asyncio.TaskGroup() as group:
            tasks = [group.create_task(running.collector.run()), group.create_task(running.watch())]
            try:
                yield running
            finally:
                for task in tasks:
                    task.cancel()
