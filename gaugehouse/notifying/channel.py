"""One channel at work: asks its tray what to tell, sends it, writes down that it was told, tries again where it failed.

Nobody waits for a channel: it has a task of its own, and the tray bounds what it holds. Order: a message goes out, then
the record book is told in one transaction together with the tray's state. A crash in between sends it once more (at
least once); before it, nothing is lost.
"""

import asyncio
import logging
import traceback
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final, Protocol

from alerts.notify.alive import Alive
from alerts.notify.letter import Letter, alarm_letter, alive_letter
from alerts.notify.news import Now
from alerts.notify.stage import Item
from alerts.notify.tray import Tray
from gaugehouse.core import Core
from gaugehouse.days import iso_ms
from gaugehouse.notifying.faces import face_of, house_of
from gaugehouse.notifying.mail import PartlyTaken
from gaugehouse.notifying.sender import Sender, SendTrouble
from gaugehouse.site import NotifySpec

log = logging.getLogger(__name__)

Json = dict[str, Any]


class SiteClock(Protocol):
    """The site's clock and its speed, as the daemon has it."""

    @property
    def speed(self) -> float: ...

    def now_ms(self) -> int: ...

    def elapsed_ms(self) -> int: ...


class Ledger(Protocol):
    """Where it is written down that something was told, and whether a channel fails. Both return at once."""

    def told(self, body: Json) -> None:
        """For the record book, together with the tray's state."""
        ...

    def failing(self, source: str, on: bool) -> None:
        """The core is told whether a channel fails: that is an alarm."""
        ...


@dataclass(slots=True)
class Counters:
    """How a channel has fared since the daemon started. Times: UTC ms."""

    sent: int = 0
    failed: int = 0
    alive: int = 0
    withheld: int = 0
    last_sent_ms: int | None = None
    last_answer: str = ""
    last_error: str = ""


class Channel:
    """One channel's task. url: the console's own address."""

    def __init__(
        self,
        spec: NotifySpec,
        tray: Tray,
        sender: Sender,
        core: Core,
        clock: SiteClock,
        ledger: Ledger,
        url: str,
        *,
        simulated: bool,
    ) -> None:
        self.spec, self.tray = spec, tray
        self.counters = Counters()
        self._sender, self._core, self._clock, self._ledger = sender, core, clock, ledger
        self._house = house_of(core.site, spec, url, simulated=simulated)
        every_ms = spec.policy.alive_every_ms
        slowest_ms = max(core.site.period_ms.values())
        self._alive = None if every_ms is None else Alive(every_ms, max(Alive(0).quiet_ms, 5 * slowest_ms))
        self._wake = asyncio.Event()
        self._stopping = asyncio.Event()
        self._said_failing: bool | None = None
        self._partly = False
        self._quiet = False
        self._begun_ms = clock.elapsed_ms()

    @property
    def id(self) -> str:
        return self.spec.id

    @property
    def failing(self) -> bool:
        return self.tray.tries.failing or self._partly

    def view(self) -> Json:
        """How the channel fares, JSON-ready."""
        counters = self.counters
        return {
            "id": self.id,
            "kind": self.spec.kind,
            "who": self.spec.who,
            "failing": self.failing,
            "failures": self.tray.tries.failures,
            "next_try_s": self.tray.tries.wait_ms(self.now()) / 1000,
            "waiting": self.tray.untold,
            "sent": counters.sent,
            "failed": counters.failed,
            "alive": counters.alive,
            "withheld": counters.withheld,
            "last_sent": None if counters.last_sent_ms is None else iso_ms(counters.last_sent_ms),
            "last_answer": counters.last_answer,
            "last_error": counters.last_error,
        }

    def now(self) -> Now:
        """The moment on all three clocks."""
        loop_ms = round(asyncio.get_running_loop().time() * 1000)
        return Now(self._clock.now_ms(), self._clock.elapsed_ms(), loop_ms)

    def wake(self) -> None:
        """There is news in the tray."""
        self._wake.set()

    def stop(self) -> None:
        """End after the message under way."""
        self._stopping.set()
        self._wake.set()

    async def run(self) -> None:
        """Until `stop`. A bug in a message fails this channel, loudly, and neither another one nor the daemon."""
        while not self._stopping.is_set():
            try:
                await self._work()
            except Exception as error:  # the top of a task
                self._stumbled(error)
                await self._sleep(max(_LOOK_AGAIN_MS, self.tray.tries.wait_ms(self.now())))

    async def _work(self) -> None:
        """One turn: tell what is due, or sleep until something is."""
        self._wake.clear()
        now = self.now()
        step = self.tray.next(now)
        for verdict in step.verdicts:
            log.debug("notify %s: %s not told: %s", self.id, verdict.alarm, verdict.reason.value)
        if step.items:
            await self._tell(step.items)
            return
        waits = [step.wire_ms] if step.wire_ms is not None else []
        if step.elapsed_ms is not None:
            waits.append(round(step.elapsed_ms / self._clock.speed))
        if self._alive is not None:
            alive_ms = max(self._alive_in_ms(now, self._alive), self.tray.tries.wait_ms(now))
            if alive_ms == 0:
                await self._show_life(now, self._alive)
                return
            waits.append(alive_ms)
        await self._sleep(min(waits, default=None))

    def _stumbled(self, error: Exception) -> None:
        """A bug of ours or of a library. Its message may quote an address: only where it happened is logged."""
        where = "".join(traceback.format_tb(error.__traceback__))
        log.error("notify %s: a bug, please report it: %s at\n%s", self.id, type(error).__name__, where)
        self.tray.failed(self.now(), refused=False)
        self.counters.failed += 1
        self.counters.last_error = f"a bug: {type(error).__name__}; see the log"
        self._say_failing()

    async def _sleep(self, wait_ms: int | None) -> None:
        try:
            async with asyncio.timeout(None if wait_ms is None else max(wait_ms, 1) / 1000):
                await self._wake.wait()
        except TimeoutError:
            return

    async def _tell(self, items: Sequence[Item]) -> None:
        """One message about alarms."""
        begun = self.now()
        faces = {item.case.id: face_of(self._core, item.case) for item in items}
        letter = alarm_letter(self.id, self._house, items, faces, begun.time_ms)
        answer = await self._send(letter)
        if answer is None:
            return
        now = self.now()
        self.tray.sent(items, now)
        self.counters.sent += 1
        body: Json = {
            "channel": self.id,
            "key": letter.key,
            "alarms": [_named(item) for item in items],
            "why": [item.why.value for item in items],
            "since_ms": [item.case.last_asked_ms for item in items],
            "took_ms": now.wire_ms - begun.wire_ms,
            "answer": answer,
        }
        self._ledger.told(body)

    def _alive_in_ms(self, now: Now, alive: Alive) -> int:
        """Real time until the next message that must keep coming; looked at again soon while it is withheld."""
        due_ms = round(alive.due_in_ms(now) / self._clock.speed)
        if due_ms == 0 and alive.withheld(now, self._core.at.time_ms):
            if not self._quiet and now.elapsed_ms - self._begun_ms > alive.quiet_ms:
                self._quiet = True
                self.counters.withheld += 1
                log.warning("notify %s: nothing new from the core, the message of being alive is withheld", self.id)
            return _LOOK_AGAIN_MS
        return due_ms

    async def _show_life(self, now: Now, alive: Alive) -> None:
        self._quiet = False
        letter = alive_letter(self.id, self._house, now.time_ms, alive.every_ms)
        if await self._send(letter) is not None:
            self._alive = alive.sent(now)
            self.counters.alive += 1

    async def _send(self, letter: Letter) -> str | None:
        """The other side's answer, None where it did not take the letter."""
        before = self.tray.tries
        try:
            answer = await self._sender.send(letter)
            self._partly = False
        except PartlyTaken as trouble:
            self._partly = True
            self._note(str(trouble))
            answer = str(trouble)
        except SendTrouble as trouble:
            self.tray.failed(self.now(), refused=trouble.refused)
            self.counters.failed += 1
            self._note(str(trouble))
            self._say_failing()
            return None
        if before.failures:
            log.info("notify %s: works again after %d failed tries", self.id, before.failures)
        self.counters.last_sent_ms, self.counters.last_answer = self._clock.now_ms(), answer
        self.tray.works()
        self._say_failing()
        return answer

    def _note(self, words: str) -> None:
        """Log what is new, not what goes on."""
        if words != self.counters.last_error or not self.tray.tries.failures > 1:
            log.warning("notify %s: %s", self.id, words)
        self.counters.last_error = words

    def _say_failing(self) -> None:
        if self._said_failing is not self.failing:
            self._said_failing = self.failing
            self._ledger.failing(self.spec.policy.source, self.failing)


_LOOK_AGAIN_MS: Final = 1_000


def _named(item: Item) -> str:
    """`palm.high#4`, or `palm.high#2-4` for several occurrences in one message."""
    first, last = item.case.first or item.case.told, item.case.last or item.case.told
    return f"{item.case.id}#{first}" if first == last else f"{item.case.id}#{first}-{last}"
