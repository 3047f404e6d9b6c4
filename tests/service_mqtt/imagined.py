"""A broker and an outbox that exist in memory only, for what the publisher does by itself."""

import asyncio
from collections.abc import Callable, Sequence

from collector.mqtt_broker import BrokerRefuses, BrokerTrouble
from collector.mqtt_messages import Message, OutboxUnavailable, Pace, Stretch
from models.reading import Quality, Reading, Reason

PACE = Pace(first_wait_s=0.001, longest_wait_s=0.01, steady_s=0.5, refused_wait_s=0.02, stop_s=0.3)


class Memory:
    """An outbox in memory: messages by number; some calls fail on demand."""

    def __init__(self, count: int = 0) -> None:
        self.messages: list[Message | None] = []
        self.kept: list[int] = []
        self.stands: list[Message] = []
        self.broken = False
        self.add(count)

    def add(self, count: int, tail: str = "a") -> None:
        for _ in range(count):
            n = len(self.messages) + 1
            self.messages.append(Message(f"gaugehouse/test/alarm/{tail}", b"%d" % n, n))

    async def after(self, n: int, most: int) -> Stretch:
        if self.broken:
            raise OutboxUnavailable("the book is away")
        some = self.messages[n : n + most]
        return Stretch([m for m in some if m is not None], n + len(some))

    async def keep(self, n: int) -> None:
        if self.broken:
            raise OutboxUnavailable("the book is away")
        self.kept.append(n)

    async def standing(self, upto: int) -> Sequence[Message]:
        return [m for m in self.stands if m.n <= upto]


class Wire:
    """Links to one imagined broker. `answer` is called for each message and may raise or wait."""

    def __init__(self) -> None:
        self.taken: list[Message] = []
        self.wills: list[Message] = []
        self.ends: list[str] = []
        self.away = False
        self.hangs = False
        self.stalls_at = 0
        self.busiest = self._busy = 0
        self.refuses: Callable[[Message], bool] = lambda message: False
        self.cut = asyncio.Event()

    async def connect(self, will: Message) -> "Wire":
        if self.away:
            raise BrokerTrouble("the broker is away")
        self.wills.append(will)
        self.cut = asyncio.Event()
        return self

    async def publish(self, message: Message) -> None:
        self._busy += 1
        self.busiest = max(self.busiest, self._busy)
        try:
            await asyncio.sleep(0)
            while self.hangs or (self.stalls_at and message.n >= self.stalls_at):
                await asyncio.sleep(0.001)
            if self.cut.is_set():
                raise BrokerTrouble("cut")
            if self.refuses(message):
                raise BrokerRefuses(f"{message.topic} is not yours")
            self.taken.append(message)
        finally:
            self._busy -= 1

    async def lost(self) -> None:
        await self.cut.wait()
        raise BrokerTrouble("cut")

    async def close(self) -> None:
        self.ends.append("closed")

    async def drop(self) -> None:
        self.ends.append("dropped")

    def numbers(self) -> list[int]:
        return [m.n for m in self.taken if m.n]

    def payloads(self, tail: str) -> list[bytes]:
        return [m.payload for m in self.taken if m.topic.endswith(tail)]


async def until(done: Callable[[], object]) -> None:
    async with asyncio.timeout(30):
        while not done():
            await asyncio.sleep(0.001)


def reading(level_m: float, tank: str = "palm") -> Reading:
    return Reading(1, 1, tank, Quality.GOOD, Reason.NONE, level_m=level_m)
