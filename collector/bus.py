"""One bus, owned by one task: keeps its line up, asks its instruments when they are due, hands on each Sample.

Two clocks: ticks, pauses and probes go by the site's; connecting again and time-outs by real time.
"""

import asyncio
import logging
import random
import time
from collections.abc import Callable
from typing import Final

from collector.busy import Busy
from collector.clock import Clock
from collector.errors import CollectorStopped
from collector.health import BusHealth, InstrumentHealth
from collector.line import Line, to_its_end
from collector.poll import Polled, Poller
from collector.schedule import Roster, Slot
from collector.spec import BusSpec
from modbus.reply import FailureKind
from models.reading import Sample

logger = logging.getLogger(__name__)

Sink = Callable[[Sample], None]

FIRST_RETRY_S: Final = 0.25
LONGEST_RETRY_S: Final = 5.0
_JITTER: Final = 0.25
_SHORT_NAP_MS: Final = 50
"""A shorter nap is not woken from: whoever asks in between can wait that long, and a poll costs 7 % less."""
_NOBODY_MS: Final = 3_600_000
"""How long a bus without instruments sleeps at a time."""


class Member:
    """One instrument of the bus: how it is asked, when, what is counted of it, and who waits for it."""

    __slots__ = ("failing_since_ms", "health", "id", "poller", "slot", "waiting")

    def __init__(self, instrument: str, poller: Poller, health: InstrumentHealth, slot: Slot) -> None:
        self.id = instrument
        self.poller = poller
        self.health = health
        self.slot = slot
        self.waiting: list[asyncio.Future[Sample]] = []
        self.failing_since_ms: int | None = None


class Bus:
    """The work of one bus. `run` is its task; everything else is called from the same event loop."""

    def __init__(self, spec: BusSpec, line: Line, sink: Sink, clock: Clock) -> None:
        self.health = BusHealth()
        self._spec = spec
        self._line = line
        self._sink = sink
        self._clock = clock
        self._members: dict[str, Member] = {}
        now_ms = clock.elapsed_ms()
        for instrument in spec.instruments:
            health = self.health.instruments[instrument.id] = InstrumentHealth(instrument.unit)
            slot = Slot(instrument.id, spec.period_ms, now_ms)
            self._members[instrument.id] = Member(instrument.id, Poller(instrument, spec.timeout_ms), health, slot)
        self._roster = Roster([member.slot for member in self._members.values()])
        self._nap: asyncio.Timeout | None = None
        self._stopping = False
        self._connect_at_s = 0.0
        self._refusals = 0  # attempts in a row that did not connect
        self._useless = 0  # connections in a row over which nothing came
        self._heard = True  # whether anything came since the last connection was made
        self._silent = 0  # polls in a row without an answer, of any instrument
        self._busy = Busy()
        self._random = random.Random(spec.id)  # noqa: S311 - spreads retries, keeps no secret

    async def run(self) -> None:
        """Poll until cancelled. An exchange under way is let end first, at most for its own time-out."""
        self._stopping = False
        await to_its_end(self._work(), self._stop)

    def _stop(self) -> None:
        self._stopping = True
        self._wake()

    def _wake(self) -> None:
        if self._nap is not None and not self._nap.expired():
            self._nap.reschedule(asyncio.get_running_loop().time())

    async def _work(self) -> None:
        try:
            while not self._stopping:
                if not self._line.is_open:
                    await self._connect_if_due()
                if self._line.rest_s > 0:
                    await self._let_rest()
                    continue
                slot = self._roster.choose(self._clock.elapsed_ms())
                if slot is None:
                    await self._rest()
                else:
                    await self._poll(self._members[slot.instrument])
        finally:
            self._line.close()
            self.health.connected = False
            self._dismiss()

    async def read(self, instrument: str) -> Sample:
        """Ask one instrument now, between the others; its Sample goes to the sink too."""
        member = self._members[instrument]
        future: asyncio.Future[Sample] = asyncio.get_running_loop().create_future()
        member.waiting.append(future)
        self._roster.want(member.slot)
        self._wake()
        return await future

    def _dismiss(self) -> None:
        for member in self._members.values():
            for future in member.waiting:
                if not future.done():
                    future.set_exception(CollectorStopped(f"bus {self._spec.id} stopped before {member.id} was read"))
            member.waiting.clear()

    async def _rest(self) -> None:
        """Sleep to the next tick, unless someone asks before or the line is to be tried again."""
        now_ms, due_ms = self._clock.elapsed_ms(), self._roster.next_ms
        if due_ms is None:
            due_ms = now_ms + _NOBODY_MS
        if due_ms - now_ms <= _SHORT_NAP_MS:
            await self._clock.sleep_until_elapsed(due_ms)
            return
        wake_s = None if self._line.is_open else self._connect_at_s
        try:
            async with asyncio.timeout_at(wake_s) as self._nap:
                await self._clock.sleep_until_elapsed(due_ms)
        except TimeoutError:
            pass  # woken
        finally:
            self._nap = None

    async def _let_rest(self) -> None:
        """A late answer may still come. Unlike the exchange, this silence can be left when the bus stops."""
        started_s = time.monotonic()
        try:
            async with asyncio.timeout(self._line.rest_s) as self._nap:
                await asyncio.Event().wait()
        except TimeoutError:
            pass
        finally:
            self._nap = None
            self._busy.add(started_s, time.monotonic())

    async def _connect_if_due(self) -> None:
        """Try once when the pause is over. A line that worked is tried again at once, one that did not ever later."""
        self.health.connected = False
        loop = asyncio.get_running_loop()
        if loop.time() < self._connect_at_s:
            return
        fault = await self._line.open()
        self.health.fault = fault
        if fault:
            self.health.refused += 1
            if not self._refusals:
                logger.warning("bus=%s: %s; trying again", self._spec.id, fault)
            self._connect_at_s = loop.time() + self._pause_s(self._refusals)
            self._refusals += 1
            return
        self.health.connected = True
        self.health.connects += 1
        if self._refusals:
            logger.info("bus=%s connected after %d attempts that failed", self._spec.id, self._refusals)
        if self._refusals or not self._heard:
            self._roster.hurry(self._clock.elapsed_ms())
        self._useless = 0 if self._heard else self._useless + 1
        self._connect_at_s = loop.time() + (self._pause_s(self._useless - 1) if self._useless else 0.0)
        self._refusals = self._silent = 0
        self._heard = False

    def _pause_s(self, failed: int) -> float:
        """Real time to the next attempt to connect, spread a little so that buses do not knock all together."""
        pause_s = min(LONGEST_RETRY_S, FIRST_RETRY_S * 2.0 ** min(failed, 16))
        return pause_s * self._random.uniform(1 - _JITTER, 1 + _JITTER)

    async def _poll(self, member: Member) -> None:
        """Ask one instrument, hand its Sample on, set its next tick."""
        slot = member.slot
        started_ms, started_s = self._clock.elapsed_ms(), time.monotonic()
        if slot.due_ms <= started_ms:  # a poll that a person asked for has no tick to be late for
            self.health.began(started_ms - slot.due_ms)
        # Behind a gateway, one that did not answer may still hold up whoever is asked next.
        polled = await member.poller.poll(self._line, self._clock, patient=self._silent > 0)
        if self.health.connected:
            self._busy.add(started_s, time.monotonic())
            self.health.requests += polled.requests
            self._judge_line(polled)
        else:
            await asyncio.sleep(0)  # nothing was waited for, and the others want their turn
        sample = polled.sample
        self._roster.done(slot, started_ms, self._clock.elapsed_ms(), sample.answered)
        member.health.missed_ticks, member.health.spared_ticks = slot.missed, slot.spared
        self.health.polls += 1
        self.count(member.id, polled)
        self._log_change(member, sample)
        self._sink(sample)
        for future in member.waiting:
            if not future.done():
                future.set_result(sample)
        member.waiting.clear()

    def count(self, instrument: str, polled: Polled) -> None:
        """Add a poll to the instrument's counters."""
        failure = polled.failure
        code, text = (failure.exception_code, failure.text) if failure else (0, "")
        self._members[instrument].health.count(polled.sample, code, text)

    def snapshot(self) -> BusHealth:
        """All counters, and what is reckoned only when someone looks."""
        found = self.health.copy()
        found.utilisation = self._busy.share(time.monotonic())
        found.strays, found.echoes = self._line.strays, self._line.echoes
        for member in self._members.values():
            health, times = found.instruments[member.id], member.poller.times
            health.timeout_ms = times.timeout_ms
            health.latency_ms = times.last_ms
            health.latency_p50_ms = times.quantile_ms(0.5)
            health.latency_p95_ms = times.quantile_ms(0.95)
        return found

    def _judge_line(self, polled: Polled) -> None:
        """A peer that vanished without a word looks like silence of all units: connect anew when nobody speaks."""
        if polled.sample.answered or polled.failure is None or polled.failure.kind is not FailureKind.TIMEOUT:
            self._heard = True
            self._silent = 0
            return
        self._silent += 1
        if self._silent >= max(4, 2 * len(self._roster)):
            self._silent = 0
            self._line.close()

    def _log_change(self, member: Member, sample: Sample) -> None:
        """The first failure and the recovery; what lies between is counted, not told."""
        if sample.answered:
            if member.failing_since_ms is not None:
                lasted_s = (self._clock.elapsed_ms() - member.failing_since_ms) / 1000.0
                logger.info("bus=%s instrument=%s answers again after %.0f s", self._spec.id, member.id, lasted_s)
                member.failing_since_ms = None
        elif member.failing_since_ms is None:
            member.failing_since_ms = self._clock.elapsed_ms()
            health = member.health
            logger.warning("bus=%s instrument=%s unit=%d: %s", self._spec.id, member.id, health.unit, health.failure)
