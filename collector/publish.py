"""Publishing to an MQTT broker: what is sent, in which order, and what happens while the broker is away.

Alarm messages come from an outbox that outlives us (the record book, seen through a Protocol); its cursor moves on only
after the broker's acknowledgement, so each is told at least once and in order. Of readings only the newest one a tank
is kept. Knows no sockets (`collector.mqtt_link`), no files and no JSON; nobody ever waits for it.
"""

import asyncio
import logging
import random
import time
from collections.abc import Callable, Sequence
from typing import Final

from collector.mqtt_broker import BrokerRefuses, BrokerTrouble
from collector.mqtt_messages import (
    OFFLINE,
    ONLINE,
    Answer,
    Connect,
    Link,
    Message,
    Outbox,
    OutboxUnavailable,
    Pace,
    PublishCounters,
    Topics,
)
from collector.mqtt_newest import NewestReadings
from models.reading import Reading

log = logging.getLogger(__name__)

WINDOW: Final = 10
"""Messages on their way at the same time."""

PIECE: Final = 50
"""Alarm messages before readings get their turn."""

STRETCH: Final = 200
"""Entries of the outbox looked at in one go; the cursor is kept after each."""


class Publisher:
    """One site's publisher. `run` goes on until `stop`; everything else returns at once.

    encode: a reading's payload. cursor, waiting: where the outbox stands, and how many messages lie beyond it. retired:
    topics of things that the site no longer has; their retained messages are taken away.
    """

    def __init__(
        self,
        topics: Topics,
        connect: Connect,
        outbox: Outbox,
        encode: Callable[[Reading], bytes],
        *,
        cursor: int,
        waiting: int = 0,
        interval_s: float = 1.0,
        retired: Sequence[str] = (),
        pace: Pace | None = None,
    ) -> None:
        self._topics, self._connect, self._outbox, self._encode = topics, connect, outbox, encode
        self._newest = NewestReadings(interval_s)
        self._retired = [Message(topic, b"") for topic in retired]
        self._pace = pace or Pace()
        self._cursor, self._kept, self._waiting = cursor, cursor, waiting
        self._link: Link | None = None
        self._wake = asyncio.Event()
        self._stopping = asyncio.Event()
        self._alarms_not_before_s = 0.0
        self._down_since_s: float | None = None
        self._connections = self._failures = self._published = self._acknowledged = self._refused = 0
        self._dropped = self._thinned = 0
        self._standing_due = True
        self._refused_topics: set[str] = set()
        self._last_error = self._told = ""

    @property
    def cursor(self) -> int:
        """The last entry of the outbox that the broker has."""
        return self._cursor

    def offer(self, readings: Sequence[Reading]) -> None:
        """New readings. Only the newest one of a tank is kept."""
        for reading in readings:
            if self._newest.offer(reading):
                if self._link is None:
                    self._dropped += 1
                else:
                    self._thinned += 1
        self._wake.set()

    def alarms_written(self, count: int) -> None:
        """So many more messages are in the outbox."""
        self._waiting += count
        self._wake.set()

    def stop(self) -> None:
        """Tell what still waits, then that we are offline; `run` returns within `Pace.stop_s`."""
        self._stopping.set()
        self._wake.set()

    def counters(self) -> PublishCounters:
        return PublishCounters(
            self._link is not None, self._connections, self._failures, self._published, self._acknowledged,
            self._refused, self._dropped, self._thinned, self._waiting, len(self._newest), self._cursor,
            self._last_error,
        )  # fmt: skip

    async def run(self) -> None:
        """Keep connected and publish until `stop`. Raises nothing that a broker can cause."""
        async with asyncio.TaskGroup() as group:
            work = group.create_task(self._keep_connected(), name="mqtt")
            await self._stopping.wait()
            if self._link is not None:
                await asyncio.wait({work}, timeout=self._pace.stop_s)
            work.cancel()
        if self._waiting:
            log.info("%d alarm messages wait for the next start", self._waiting)

    async def _keep_connected(self) -> None:
        wait_s = self._pace.first_wait_s
        while not self._stopping.is_set():
            begun_s = time.monotonic()
            try:
                await self._once()
            except BrokerTrouble as error:
                self._failed(str(error))
            if time.monotonic() - begun_s > self._pace.steady_s:
                wait_s = self._pace.first_wait_s
            if not self._stopping.is_set():
                await asyncio.sleep(wait_s * random.uniform(0.5, 1.0))  # noqa: S311 spreads clients, hides nothing
            wait_s = min(2 * wait_s, self._pace.longest_wait_s)

    async def _once(self) -> None:
        """One connection from its beginning to its end. Raises `BrokerTrouble` unless we were stopped."""
        link = await self._connect(Message(self._topics.status, OFFLINE))
        trouble: BrokerTrouble | None = None
        try:
            async with asyncio.TaskGroup() as group:
                watch = group.create_task(link.lost(), name="mqtt watch")
                await self._serve(link)
                watch.cancel()
            await link.close()
        except* BrokerTrouble as several:
            trouble = _first(several)
        finally:
            self._link = None
            await link.drop()
            await self._keep_cursor()
        if trouble is not None:
            raise trouble

    async def _serve(self, link: Link) -> None:
        """Everything that is told over one connection; returns when we are stopped and all of it is told."""
        self._published += 1
        try:
            await link.publish(Message(self._topics.status, ONLINE))
        except BrokerRefuses as error:
            raise BrokerTrouble(str(error)) from error
        self._acknowledged += 1
        self._connected(link)
        self._alarms_not_before_s, self._standing_due = 0.0, True
        await self._send(link, self._retired)
        while True:
            self._wake.clear()
            await self._alarms(link)
            await self._readings(link)
            if self._stopping.is_set() and not self._wake.is_set():
                break
            await self._something()
        await self._send(link, [Message(self._topics.status, OFFLINE)])

    async def _something(self) -> None:
        """Until there is something to do."""
        now_s = time.monotonic()
        waits = [self._newest.due_in(now_s)]
        if self._alarms_not_before_s > now_s:
            waits.append(self._alarms_not_before_s - now_s)
        try:
            async with asyncio.timeout(min((wait for wait in waits if wait is not None), default=None)):
                await self._wake.wait()
        except TimeoutError:
            return

    async def _alarms(self, link: Link) -> None:
        """All that is in the outbox, in order, readings that fall due in between; then, once, what stands."""
        if time.monotonic() < self._alarms_not_before_s:
            return
        try:
            while (stretch := await self._outbox.after(self._cursor, STRETCH)).upto > self._cursor:
                for start in range(0, len(stretch.messages), PIECE):
                    await self._piece(link, stretch.messages[start : start + PIECE])
                    await self._readings(link)
                self._cursor = stretch.upto
                if stretch.messages:
                    await self._keep_cursor()
            if self._standing_due:
                # The broker may have forgotten what it retained.
                await self._send(link, await self._outbox.standing(self._cursor))
                self._standing_due = False
        except (BrokerRefuses, OutboxUnavailable) as error:
            if isinstance(error, OutboxUnavailable):
                self._say(str(error))
            self._alarms_not_before_s = time.monotonic() + self._pace.refused_wait_s

    async def _piece(self, link: Link, messages: Sequence[Message]) -> None:
        """Some alarm messages; the cursor follows those that the broker took, up to the first it did not."""
        answers: list[Answer] = [None] * len(messages)
        try:
            await self._send(link, messages, answers)
        finally:
            for message, answer in zip(messages, answers, strict=True):
                if answer is not True:
                    break
                self._cursor = message.n
                self._waiting = max(0, self._waiting - 1)
        for answer in answers:
            if isinstance(answer, BrokerRefuses):
                raise answer

    async def _readings(self, link: Link) -> None:
        """The readings that are due."""
        while readings := self._newest.take(time.monotonic(), WINDOW):
            answers: list[Answer] = [None] * len(readings)
            messages = [Message(self._topics.tank(r.tank), self._encode(r)) for r in readings]
            try:
                await self._send(link, messages, answers)
            finally:
                for reading, answer in zip(readings, answers, strict=True):
                    if answer is None and not self._newest.put_back(reading):
                        self._dropped += 1

    async def _send(self, link: Link, messages: Sequence[Message], answers: list[Answer] | None = None) -> None:
        """Some messages, up to `WINDOW` of them at once, in order. Notes the broker's answer to each as it comes."""
        noted: list[Answer] = [None] * len(messages) if answers is None else answers
        room = asyncio.Semaphore(WINDOW)  # lets in those that wait in the order in which they came

        async def one(place: int) -> None:
            message = messages[place]
            try:
                async with room:
                    self._published += 1
                    await link.publish(message)
            except BrokerRefuses as error:
                noted[place] = error
                self._refusal(message.topic, error)
            else:
                noted[place] = True
                self._acknowledged += 1
                self._refused_topics.discard(message.topic)

        async with asyncio.TaskGroup() as group:
            for place in range(len(messages)):
                group.create_task(one(place))

    async def _keep_cursor(self) -> None:
        if self._cursor == self._kept:
            return
        cursor = self._cursor
        try:
            await self._outbox.keep(cursor)
        except OutboxUnavailable as error:
            self._say(str(error))  # told again after a crash, which is allowed; kept with the next one
        else:
            self._kept = cursor

    def _connected(self, link: Link) -> None:
        self._link = link
        self._connections += 1
        away = ""
        if self._down_since_s is not None:
            away = f" after {time.monotonic() - self._down_since_s:.0f} s"
        self._down_since_s, self._told = None, ""
        log.info("mqtt: connected%s; %d alarm messages wait", away, self._waiting)

    def _failed(self, words: str) -> None:
        self._failures += 1
        if self._down_since_s is None:
            self._down_since_s = time.monotonic()
        self._say(words)

    def _refusal(self, topic: str, error: BrokerRefuses) -> None:
        self._refused += 1
        self._last_error = str(error)
        if topic not in self._refused_topics:
            self._refused_topics.add(topic)
            log.warning("%s", error)

    def _say(self, words: str) -> None:
        """Log what is new, not what goes on."""
        self._last_error = words
        if words != self._told:
            self._told = words
            log.warning("%s", words)


def _first(several: BaseExceptionGroup[BrokerTrouble]) -> BrokerTrouble:
    error = several.exceptions[0]
    return _first(error) if isinstance(error, BaseExceptionGroup) else error
