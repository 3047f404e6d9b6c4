"""All channels of a site: reads the record book for them, writes down what they told, starts and stops them.

The record book is the outbox: an alarm is in it, durably, before any channel hears of it, and each channel's state (up
to which entry it has taken, and what is still to be told) is kept in the same book. So a kill between the decision and
the sending loses nothing, and a restart repeats only what went out without being written down.
"""

import asyncio
import contextlib
import json
import logging
from collections.abc import AsyncIterator, Callable, Mapping, Sequence
from functools import partial
from typing import Any, Final, NamedTuple

from alerts.errors import AlertsError
from alerts.notify.news import News
from alerts.notify.retry import PACE, Pace
from alerts.notify.tray import Tray
from alerts.watched import Told
from gaugehouse.act import Act, Answer, Outcome, Taken
from gaugehouse.core import Core
from gaugehouse.notifying.channel import Channel, SiteClock
from gaugehouse.notifying.mail import MailSender
from gaugehouse.notifying.mqtt import MqttSender
from gaugehouse.notifying.sender import Sender, hush_libraries
from gaugehouse.notifying.services import ServiceSender
from gaugehouse.notifying.webhook import WebhookSender
from gaugehouse.publishing import NumberedBook, broker_of
from gaugehouse.records import ALARM, NOTIFIED
from gaugehouse.site import NotifySpec, Site
from gaugehouse.sitefile.notifyschema import EMAIL, MQTT, WEBHOOK
from gaugehouse.stores import RECORDS
from history.bookwriter import BookWriter
from history.chain import Entry, Recorded
from history.errors import StoreError
from history.readers import ReaderPool
from models.reading import Instant

log = logging.getLogger(__name__)

Json = dict[str, Any]

ROOM: Final = "notify/"
"""What the keys of the channels' state begin with; the rest is the channel's id."""

STRETCH: Final = 200
SAVE_EVERY_S: Final = 5.0
RETRY_S: Final = 0.5
STOP_S: Final = 3.0

CONDITION: Final = "notification_failing"


class ChannelReport(NamedTuple):
    """The daemon itself says whether a channel fails. No person does this; it goes the way of every act."""

    source: str
    on: bool

    def apply(self, core: Core, at: Instant) -> Outcome:
        core.report(Told(self.source, CONDITION, None, self.on))
        return Outcome(Answer(Taken.DONE))


def sender_of(spec: NotifySpec, site: Site) -> Sender:
    """The way to the world that a channel's kind stands for."""
    if spec.kind == EMAIL:
        return MailSender(spec)
    if spec.kind == WEBHOOK:
        return WebhookSender(spec)
    if spec.kind == MQTT:
        assert site.mqtt is not None, "checked with the site file"
        return MqttSender(broker_of(site, site.mqtt), site.id, spec.id)
    return ServiceSender(spec)


class PostRoom:
    """The channels at work. `tell` returns at once; `run` goes on until `stop`."""

    def __init__(
        self,
        channels: Sequence[Channel],
        book: NumberedBook,
        reading: ReaderPool,
        writer: BookWriter,
        core: Core,
        told: "Notebook",
    ) -> None:
        self.channels = channels
        self._book, self._reading, self._writer, self._core = book, reading, writer, core
        self._notebook = told
        self._news = asyncio.Event()
        self._stopping = asyncio.Event()
        self._down = self._last = self._written = False

    def views(self) -> list[Json]:
        """How each channel fares."""
        return [channel.view() for channel in self.channels]

    def tell(self, alarms: int) -> None:
        """So many more alarm entries are in the record book."""
        if alarms:
            self._news.set()

    def stop(self) -> None:
        """End each channel after its message under way; `run` returns within `STOP_S` or so."""
        self._stopping.set()
        for channel in self.channels:
            channel.stop()

    async def run(self) -> None:
        async with asyncio.TaskGroup() as group:
            reading = group.create_task(self._read(), name="notify reader")
            writing = group.create_task(self._write(), name="notify records")
            tasks = {group.create_task(channel.run(), name=f"notify {channel.id}") for channel in self.channels}
            await self._stopping.wait()
            await asyncio.wait(tasks, timeout=STOP_S)
            for task in (*tasks, reading):
                task.cancel()
                await asyncio.wait({task})
            self._last = True
            self._notebook.something.set()
            await asyncio.wait({writing}, timeout=STOP_S)
            writing.cancel()
        waiting = sum(channel.tray.untold for channel in self.channels)
        if waiting:
            log.info("notify: %d alarms wait for the next start", waiting)

    async def _read(self) -> None:
        """Every alarm entry of the record book to every channel, in order."""
        n = min(channel.tray.n for channel in self.channels)
        while True:
            self._news.clear()
            try:
                entries, upto = await self._reading.call(self._book.after, n, STRETCH)
            except StoreError as error:
                log.warning("notify: the record book cannot be read, nobody is told anything new: %s", error)
                await asyncio.sleep(RETRY_S)
                continue
            if upto == n:
                await self._news.wait()
                continue
            for news in (news_of(entry, self._core.site) for entry in entries if entry.kind == ALARM):
                for channel in self.channels:
                    channel.tray.take(news, channel.now())
            for channel in self.channels:
                channel.tray.looked_through(upto)
                channel.wake()
            n = upto

    async def _write(self) -> None:
        """What was told, at once; what the trays hold, now and then."""
        while not self._written:
            last = self._last  # what comes after this look is told once more after the next start
            if not last:
                with contextlib.suppress(TimeoutError):
                    async with asyncio.timeout(SAVE_EVERY_S):
                        await self._notebook.something.wait()
            try:
                await self._flush()
            except StoreError as error:
                if not self._down:
                    log.warning("notify: what was told cannot be written down, it is tried again: %s", error)
                self._down = True
                await asyncio.sleep(RETRY_S)
            else:
                self._down, self._written = False, last

    async def _flush(self) -> None:
        """One transaction: the entries and the state that goes with them."""
        self._notebook.something.clear()
        bodies = list(self._notebook.bodies)
        changed = [channel for channel in self.channels if channel.tray.dirty]
        if not bodies and not changed:
            return
        now = self.channels[0].now()
        entries = [Entry(NOTIFIED, now.time_ms, self._core.at.seq, body) for body in bodies]
        state: dict[str, str | None] = {ROOM + channel.id: _compact(channel.tray.save()) for channel in changed}
        for channel in changed:
            channel.tray.dirty = False
        try:
            await self._writer.commit(entries, state)
        except BaseException:
            for channel in changed:
                channel.tray.dirty = True
            raise
        del self._notebook.bodies[: len(bodies)]


class Notebook:
    """See `gaugehouse.notifying.channel.Ledger`. report: takes an act to the core and does not wait."""

    def __init__(self, report: Callable[[Act], None]) -> None:
        self.bodies: list[Json] = []
        self.something = asyncio.Event()
        self._report = report

    def told(self, body: Json) -> None:
        self.bodies.append(body)
        self.something.set()

    def failing(self, source: str, on: bool) -> None:
        self._report(ChannelReport(source, on))


def news_of(entry: Recorded, site: Site) -> News:
    """An alarm entry as the channels see it."""
    body: Mapping[str, Any] = entry.body
    try:
        alarm_class = site.sheet.entry(body["source"], body["condition"]).alarm_class
    except AlertsError:  # an alarm that the site had once
        alarm_class = ""
    return News(
        entry.n, entry.time_ms, body["source"], body["condition"], body["priority"], alarm_class, body["event"],
        body["state"], body["occurrence"], body.get("by", ""), body.get("value"),
    )  # fmt: skip


@contextlib.asynccontextmanager
async def post_room(
    core: Core,
    writer: BookWriter,
    clock: SiteClock,
    report: Callable[[Act], None],
    url: str,
    *,
    simulated: bool,
    pace: Pace = PACE,
    sender: Callable[[NotifySpec, Site], Sender] = sender_of,
) -> AsyncIterator[PostRoom | None]:
    """The channels of a site, None where it has none. Enter before the core takes its first step.

    A channel that is new begins with what stands unacknowledged now, not with years of history. The state of a channel
    that the site file no longer has is forgotten.
    """
    site = core.site
    with contextlib.closing(NumberedBook.open(site.store_path / RECORDS, site.id)) as book:
        state = await asyncio.to_thread(book.state)
        known = {ROOM + spec.id for spec in site.channels}
        gone: dict[str, str | None] = {key: None for key in state if key.startswith(ROOM) and key not in known}
        if gone:
            await writer.save_state(gone)
        if not site.channels:
            yield None
            return
        hush_libraries()
        reading = ReaderPool(workers=1)
        try:
            notebook = Notebook(report)
            channels = []
            for spec in site.channels:
                tray = Tray(spec.policy, pace=pace)
                made = partial(Channel, spec, tray, sender(spec, site), core, clock, notebook, url)
                channel = made(simulated=simulated)
                await _begin(channel, state, book, reading, site)
                channels.append(channel)
            yield PostRoom(channels, book, reading, writer, core, notebook)
        finally:
            await reading.aclose()


async def _begin(
    channel: Channel, state: Mapping[str, str], book: NumberedBook, reading: ReaderPool, site: Site
) -> None:
    """A channel takes up its past, or begins with what stands."""
    tray, now = channel.tray, channel.now()
    count = (await reading.call(book.head)).count
    kept = state.get(ROOM + channel.id)
    if kept is not None:
        tray.restore(json.loads(kept), now)
        if tray.n > count:
            log.warning(
                "notify %s: took entry %d and the record book ends at %d: an older copy? going on from there",
                channel.id, tray.n, count,
            )  # fmt: skip
            tray.n = count
        return
    standing = {
        key.removeprefix("alarm/")
        for key, text in state.items()
        if key.startswith("alarm/") and "." in key and json.loads(text).get("core") == "unacknowledged"
    }
    newest = await reading.call(book.newest_alarms, standing)
    for entry in sorted(newest.values(), key=lambda entry: entry.n):
        tray.take(news_of(entry, site), now)
    tray.looked_through(count)
    tray.dirty = True


def _compact(value: object) -> str:
    return json.dumps(value, separators=(",", ":"), sort_keys=True)
