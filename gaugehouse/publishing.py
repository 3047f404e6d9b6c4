"""The glue between the daemon and the MQTT publisher: the record book as its outbox, rows as its payloads.

The cursor is the number of the last entry of the record book whose alarm message the broker has. It stands in the
book's own state, so that neither a crash nor a broker that is away for days loses or reorders a message.
"""

import asyncio
import contextlib
import json
import logging
import os
from collections.abc import AsyncIterator, Callable, Iterator, Mapping, Sequence
from functools import partial
from typing import Any, Final, TypeVar

from collector.mqtt_broker import Broker, Tls
from collector.mqtt_link import MqttLink
from collector.mqtt_messages import Connect, Message, OutboxUnavailable, Pace, PublishCounters, Stretch, Topics
from collector.publish import Publisher
from gaugehouse.core import Core
from gaugehouse.days import iso_ms
from gaugehouse.records import ALARM
from gaugehouse.rows import reading_json
from gaugehouse.site import MqttSpec, Site, read_password
from gaugehouse.stores import RECORDS
from history.book import BookReader
from history.bookwriter import BookWriter
from history.chain import Recorded
from history.errors import StoreError
from history.readers import ReaderPool
from models.reading import Reading

log = logging.getLogger(__name__)

CURSOR: Final = "mqtt/cursor"
COUNTED_AT_ONCE: Final = 1_000

T = TypeVar("T")


class NumberedBook(BookReader):
    """The record book by the numbers of its entries, which have no holes."""

    def after(self, n: int, most: int) -> tuple[list[Recorded], int]:
        """Up to `most` entries above n, and the number of the last one (n where there is none)."""
        upto = min(self.head().count, n + most)
        return list(self._fetch(list(range(n + 1, upto + 1)), "ASC")), max(n, upto)

    def newest_alarms(self, ids: set[str]) -> dict[str, Recorded]:
        """The newest entry of each of these alarms."""
        found: dict[str, Recorded] = {}
        for entry in self.entries([ALARM], newest_first=True) if ids else ():
            alarm_id = alarm_id_of(entry)
            if alarm_id in ids:
                found.setdefault(alarm_id, entry)
                if len(found) == len(ids):
                    break
        return found

    def count_alarms(self, n: int) -> int:
        """How many alarm entries stand above n."""
        count, last = 0, -1
        while last != n:
            last = n
            entries, n = self.after(n, COUNTED_AT_ONCE)
            count += sum(entry.kind == ALARM for entry in entries)
        return count


def alarm_id_of(entry: Recorded) -> str:
    return f"{entry.body['source']}.{entry.body['condition']}"


class BookOutbox:
    """See `collector.mqtt_messages.Outbox`. Reads in a thread of its own; its cursor goes through the book's writer."""

    def __init__(
        self, book: NumberedBook, reading: ReaderPool, writer: BookWriter, core: Core, *, simulated: bool
    ) -> None:
        self._book, self._reading, self._writer, self._core = book, reading, writer, core
        self._topics = Topics(core.site.id)
        self._simulated = simulated
        self._newest: dict[str, Recorded] = {}

    async def after(self, n: int, most: int) -> Stretch:
        entries, upto = await self._ask(self._book.after, n, most)
        alarms = [entry for entry in entries if entry.kind == ALARM]
        self._newest.update((alarm_id_of(entry), entry) for entry in alarms)
        return Stretch([self._message(entry) for entry in alarms], upto)

    async def keep(self, n: int) -> None:
        try:
            await self._writer.save_state({CURSOR: str(n)})
        except StoreError as error:
            raise OutboxUnavailable(str(error)) from error

    async def standing(self, upto: int) -> Sequence[Message]:
        """The book's own words, never the core's: what is not written yet is not told."""
        ids = [view.id for view in self._core.alarms.standing()]
        self._newest |= await self._ask(self._book.newest_alarms, {i for i in ids if i not in self._newest})
        known = [self._newest[alarm_id] for alarm_id in ids if alarm_id in self._newest]
        return [self._message(entry) for entry in known if entry.n <= upto]

    def _message(self, entry: Recorded) -> Message:
        alarm_id = alarm_id_of(entry)
        view = self._core.alarms.view(alarm_id)
        name = str(entry.body["condition"]) if view is None else view.name
        return Message(self._topics.alarm(alarm_id), alarm_payload(entry, name, simulated=self._simulated), entry.n)

    async def _ask(self, question: Callable[..., T], *args: object) -> T:
        try:
            return await self._reading.call(question, *args)
        except StoreError as error:
            raise OutboxUnavailable(str(error)) from error


def alarm_payload(entry: Recorded, name: str, *, simulated: bool) -> bytes:
    """One transition: the columns of alarms.csv, who and why, and the entry's number to tell a repetition by.

    head: the record book's head at this entry: a subscriber who keeps it can verify all that came before.
    """
    body: Mapping[str, Any] = entry.body
    out: dict[str, Any] = {"n": entry.n, "id": alarm_id_of(entry), "time": iso_ms(entry.time_ms)}
    for key in ("source", "condition", "priority", "event", "state", "occurrence"):
        out[key] = body[key]
    out |= {"by": body.get("by", ""), "comment": body.get("comment", ""), "name": name, "value": body.get("value")}
    out["head"] = f"{entry.n}:{entry.hash}"
    return _json(out, simulated=simulated)


def reading_payload(reading: Reading, *, simulated: bool) -> bytes:
    """One reading with the names and decimals of readings.csv: its own time and quality go with it."""
    return _json(reading_json(reading), simulated=simulated)


def _json(content: dict[str, Any], *, simulated: bool) -> bytes:
    if simulated:
        content["simulated"] = True
    return json.dumps(content, ensure_ascii=False, allow_nan=False, separators=(",", ":")).encode()


def broker_of(site: Site, mqtt: MqttSpec) -> Broker:
    """The broker that the site file names; the password is read when it is needed."""
    return Broker(
        host=mqtt.host,
        port=mqtt.port,
        client_id=mqtt.client_id or f"gaugehouse-{site.id}",
        tls=Tls(mqtt.ca, mqtt.certificate, mqtt.private_key) if mqtt.tls else None,
        username=mqtt.username,
        password=partial(read_password, mqtt, os.environ),
        protocol=mqtt.protocol,
        keepalive_s=max(1, mqtt.keepalive_ms // 1000),
    )


class Publishing:
    """What the daemon has of the publisher. `tell` costs a few microseconds and never waits."""

    def __init__(self, publisher: Publisher) -> None:
        self._publisher = publisher

    def tell(self, readings: Sequence[Reading], alarms: int) -> None:
        """New readings, and how many alarm entries have just been written to the record book."""
        self._publisher.offer(readings)
        if alarms:
            self._publisher.alarms_written(alarms)

    def counters(self) -> PublishCounters:
        return self._publisher.counters()

    async def run(self) -> None:
        await self._publisher.run()

    def stop(self) -> None:
        self._publisher.stop()


@contextlib.asynccontextmanager
async def publishing_of(
    core: Core, writer: BookWriter, *, simulated: bool, pace: Pace | None = None, connect: Connect | None = None
) -> AsyncIterator[Publishing | None]:
    """The publisher of a site, None where the site file names no broker. Enter before the core takes its first step.

    The very first time it begins at the end of the book, so that years of history are not told; the standing alarms
    are told at each connection anyway. A site without [mqtt] forgets its cursor.
    """
    site, mqtt = core.site, core.site.mqtt
    with contextlib.closing(NumberedBook.open(site.store_path / RECORDS, site.id)) as book:
        state = await asyncio.to_thread(book.state)
        if mqtt is None:
            if CURSOR in state:
                await writer.save_state({CURSOR: None})
            yield None
            return
        reading = ReaderPool(workers=1)
        try:
            cursor = _cursor_of(state, (await reading.call(book.head)).count)
            outbox = BookOutbox(book, reading, writer, core, simulated=simulated)
            await outbox.keep(cursor)
            broker = broker_of(site, mqtt)
            yield Publishing(
                Publisher(
                    Topics(site.id),
                    connect or partial(MqttLink.open, broker),
                    outbox,
                    partial(reading_payload, simulated=simulated),
                    cursor=cursor,
                    waiting=await reading.call(book.count_alarms, cursor),
                    interval_s=mqtt.interval_ms / 1000,
                    retired=list(_retired(core, state)),
                    pace=pace,
                )
            )
        finally:
            await reading.aclose()


def _cursor_of(state: Mapping[str, str], count: int) -> int:
    kept = state.get(CURSOR)
    if kept is None:
        return count
    if int(kept) > count:
        log.warning(
            "mqtt: entry %s was told and the record book ends at %d: an older copy? going on from there", kept, count
        )
        return count
    return int(kept)


def _retired(core: Core, state: Mapping[str, str]) -> Iterator[str]:
    """Topics of tanks and alarms that the book knows and the site file no longer has."""
    topics = Topics(core.site.id)
    for key in state:
        room, _, name = key.partition("/")
        if room == "tank" and name not in core.keepers:
            yield topics.tank(name)
        elif room == "alarm" and "." in name and core.alarms.view(name) is None:
            yield topics.alarm(name)
