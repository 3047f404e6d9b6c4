"""The past of the demo: days of the simulated farm run through the very core that the daemon has, into the same files.

Nothing in it is made up beside the farm: readings, movements, alarms and faults come out of `Core.step`, people's acts
go through it as they do through the daemon. Only the wire is left out, and the polls are further apart.
"""

import time
from collections.abc import Iterator
from typing import Final

from gaugehouse.acts import Answer, Taken, act_of
from gaugehouse.core import StepResult, Tick
from gaugehouse.demopeople import People
from gaugehouse.demotold import Told
from gaugehouse.journal import started, state_of_site
from gaugehouse.site import Site
from gaugehouse.stores import Stores
from gaugehouse.wiring import core_of
from history.chain import Entry
from models.reading import OK, TIMEOUT, Instant, Reading, Sample
from simulator.demo.layout import PROGRAMME
from simulator.demo.past import DAYS, DRIFT_M_PER_H, DRIFTS, day_before, farm_before
from simulator.farm import Farm
from simulator.faults import FaultKind
from simulator.layout import STEP_MS
from simulator.weather import DAY_MS

POLL_MS: Final = 180_000
PERIOD: Final = "3 min"
"""How often the past was polled: days are to pass in seconds."""

MOVING_MS: Final = 45_000
AWAKE_MS: Final = 1_200_000
"""A tank whose pumps run, and for so long afterwards, is asked more often: its movements are found by half minutes."""

FARM_STEP_MS: Final = 15_000
TICKS_TOGETHER: Final = 128


def past_farm(seed: int, end_ms: int, days: int = DAYS) -> Farm:
    """A farm that stands where a past of the last `days` of `DAYS` begins."""
    return Farm(seed, end_ms - days * DAY_MS, farm_before(seed, DAYS - days))


class Past:
    """One past, made by `run`. site: the demo's, with buses that are asked every `PERIOD`; farm: of `past_farm`.

    end_ms: when it ends and the demo begins. acts: what its people did. refused: acts that were not taken, with the
    answer; a test holds it empty.
    """

    def __init__(self, site: Site, stores: Stores, farm: Farm, end_ms: int, build: str) -> None:
        self._site, self._stores, self._build = site, stores, build
        self.farm, seed = farm, farm.seed
        self._skipped = DAYS - (end_ms - farm.start_ms) // DAY_MS
        self.start_ms = farm.start_ms
        self.end_ms = end_ms
        self.farm.pace(FARM_STEP_MS, MOVING_MS, POLL_MS)
        self.core = core_of(site)
        self.people = People(site, self.core, self.farm, stores, seed, self.start_ms, end_ms, self._skipped)
        self.refused: list[tuple[Told, Answer]] = []
        self.took_s = 0.0
        self.readings = self.acts = 0
        self._seq = 0
        self._awake_ms: dict[str, int] = {}
        self._entries: list[Entry] = []
        self._readings: list[Reading] = []
        self._waiting = 0

    def run(self) -> Iterator[float]:
        """Make it, a piece at a time: gives how much of it is done, 0 to 1. When it ends, farm and store are at
        `end_ms`, and the farm moves as finely again as one on the wire."""
        begun_s = time.monotonic()
        self._begin()
        self.farm.inject(DRIFTS, FaultKind.DRIFT, None, value=DRIFT_M_PER_H)
        for time_ms in range(self.start_ms + MOVING_MS, self.end_ms + 1, MOVING_MS):
            self._tick(time_ms)
            if self._waiting >= TICKS_TOGETHER:
                self.write()
                yield (time_ms - self.start_ms) / (self.end_ms - self.start_ms)
        self.write()
        self._stores.book.save_state(self.core.slow_state())
        self.farm.pace(STEP_MS)
        self.took_s = time.monotonic() - begun_s

    def _begin(self) -> None:
        decisions = started(self._site, {}, self._build, self.start_ms, simulated=True)
        self._stores.book.commit(
            [Entry(d.kind, self.start_ms, 0, d.body) for d in decisions], state_of_site(self._site)
        )

    def _at(self, time_ms: int) -> Instant:
        self._seq += 1
        return Instant(self._seq, time_ms, time_ms - self.start_ms)

    def _tick(self, time_ms: int) -> None:
        self._lay_out(time_ms)
        self.farm.advance(time_ms)
        asked = self._asked(time_ms)
        if asked:
            at = self._at(time_ms)
            self._keep(at, self.core.step(Tick(at, [self._sample(name, time_ms) for name in asked])))
        if (time_ms - self.start_ms) % POLL_MS:
            return
        told = self.people.look(at, self.write)
        if told:
            # a tick of its own, as the daemon makes one of an act: a thing is decided by what was seen before it
            at = self._at(time_ms + 1)
            result = self.core.step(Tick(at, (), [act_of(one.act, one.fields) for one in told]))
            self._keep(at, result)
            self.acts += len(told)
            self.refused += [
                (one, answer)
                for one, answer in zip(told, result.answers, strict=True)
                if answer.status is not Taken.DONE
            ]
            for one, answer in zip(told, result.answers, strict=True):
                one.then(answer)

    def _lay_out(self, time_ms: int) -> None:
        """What the day brings that begins before `time_ms`; with the last one begins the demo's own."""
        day = (time_ms - self.start_ms) // DAY_MS
        if (time_ms - MOVING_MS - self.start_ms) // DAY_MS != day:
            day += self._skipped
            self.farm.plan(day_before(day, self.farm.seed) if day < DAYS else PROGRAMME)

    def _asked(self, time_ms: int) -> list[str]:
        """The instruments that are asked now."""
        for tank in self.farm.moving():
            self._awake_ms[tank] = time_ms + AWAKE_MS
        if (time_ms - self.start_ms) % POLL_MS == 0:
            return list(self.farm.instruments)
        return [unit.layout.id for unit in self.farm.units if self._awake_ms.get(unit.layout.tank, 0) >= time_ms]

    def _sample(self, instrument: str, time_ms: int) -> Sample:
        values = self.farm.wire(instrument)
        return Sample(instrument, time_ms, TIMEOUT, {}) if values is None else Sample(instrument, time_ms, OK, values)

    def _keep(self, at: Instant, result: StepResult) -> None:
        kept = self.core.loops.traces.take()
        if kept.begun or kept.rows:
            self._stores.traces.keep(kept.begun, kept.rows)
        self._entries += [Entry(d.kind, at.time_ms, at.seq, d.body) for d in result.decisions]
        self._readings += result.readings
        self._waiting += 1
        self.readings += len(result.readings)

    def write(self) -> None:
        """Everything that was decided and read so far, in the daemon's order."""
        if self._entries:
            self._stores.book.commit(self._entries, self.core.changed_state())
            self._stores.readings.requalify(self.core.requalifying.found)
        self._stores.readings.append(self._readings)
        self._entries, self._readings, self._waiting = [], [], 0
