"""A site with a record book and a publisher over it, without a daemon: the tests write the alarms themselves."""

import contextlib
from collections.abc import AsyncIterator
from dataclasses import replace
from pathlib import Path

from collector.mqtt_messages import Connect, Pace
from gaugehouse.publishing import Publishing, publishing_of
from gaugehouse.records import ALARM
from gaugehouse.site import MqttSpec, Site
from gaugehouse.stores import RECORDS
from gaugehouse.wiring import core_of
from history.book import RecordBook
from history.bookwriter import BookWriter
from history.chain import Entry
from tests.gaugehouse.sites import loop_site

T0_MS = 1_767_225_600_000  # 2026-01-01T00:00:00Z
QUICK = Pace(first_wait_s=0.05, longest_wait_s=0.2, steady_s=0.5, refused_wait_s=0.2, stop_s=20.0)
EVENTS = (("raised", "unacknowledged"), ("returned", "returned_unacknowledged"), ("acknowledged", "normal"))


def entry(k: int, *, condition: str = "high") -> Entry:
    """The k-th transition of an alarm that comes, goes and is acknowledged over and over."""
    event, state = EVENTS[k % 3]
    body = {
        "source": "palm",
        "condition": condition,
        "priority": 2,
        "event": event,
        "state": state,
        "occurrence": k // 3 + 1,
    }
    return Entry(ALARM, T0_MS + 1_000 * k, k + 1, body | ({"by": "Ana"} if event == "acknowledged" else {}))


class Farm:
    """The site, its book and what writes it; `write` also tells the publisher, as the daemon does."""

    def __init__(self, site: Site, book: RecordBook, writer: BookWriter) -> None:
        self.site, self.book, self.writer = site, book, writer
        self.publishing: Publishing | None = None
        self._written = 0

    async def write(self, count: int = 1) -> None:
        """So many transitions more, one commit each batch."""
        entries = [entry(self._written + k) for k in range(count)]
        self._written += count
        await self.writer.commit(entries, {})
        if self.publishing is not None:
            self.publishing.tell([], count)

    def move_broker(self, port: int) -> None:
        """Another port in the site file, from the next start on."""
        assert self.site.mqtt is not None
        self.site = replace(self.site, mqtt=replace(self.site.mqtt, port=port))

    @contextlib.asynccontextmanager
    async def published(self, connect: Connect | None = None, pace: Pace = QUICK) -> AsyncIterator[Publishing]:
        """The publisher, ready to be run; as after a start of the daemon."""
        core = core_of(self.site)
        core.restore(self.book.state())
        async with publishing_of(core, self.writer, simulated=False, pace=pace, connect=connect) as publishing:
            assert publishing is not None
            self.publishing = publishing
            try:
                yield publishing
            finally:
                self.publishing = None


@contextlib.asynccontextmanager
async def farm(folder: Path, port: int, **settings: object) -> AsyncIterator[Farm]:
    """A one-tank site whose broker is on this port."""
    folder.mkdir(exist_ok=True)
    mqtt = replace(MqttSpec("127.0.0.1", port), **settings)  # type: ignore[arg-type]
    site = replace(loop_site(folder), mqtt=mqtt)
    site.store_path.mkdir(exist_ok=True)
    with contextlib.closing(RecordBook.open(site.store_path / RECORDS, site.id)) as book:
        writer = BookWriter(book)
        try:
            yield Farm(site, book, writer)
        finally:
            await writer.aclose()
