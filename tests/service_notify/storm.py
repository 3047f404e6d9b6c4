"""A record book in which alarms come thick and fast, and the channels of its site, as a process to be killed:
`python -m tests.service_notify.storm FOLDER SEED`. The site file is FOLDER/site.toml; no bus, no console.

Alarms are written as the core writes them, one durable transaction each; the occurrence goes on where the book ends.
"""

import asyncio
import contextlib
import random
import sys
from collections.abc import AsyncIterator
from pathlib import Path

from alerts.notify.retry import Pace
from collector.clock import RealClock
from gaugehouse.notifying.postroom import PostRoom, post_room
from gaugehouse.records import ALARM
from gaugehouse.site import Site, load_site
from gaugehouse.stores import RECORDS
from gaugehouse.wiring import core_of
from history.book import RecordBook
from history.bookwriter import BookWriter
from history.chain import Entry

SPEED = 100.0
"""The pause between two messages of a channel (5 s of the site) is 50 ms then."""

CONDITIONS = ("critical_high", "high_high", "high", "low", "low_low")


def alarm(time_ms: int, condition: str, occurrence: int, event: str = "raised") -> Entry:
    state = "unacknowledged" if event == "raised" else "returned_unacknowledged"
    body = {"source": "palm", "condition": condition, "priority": 1, "event": event, "state": state}
    return Entry(ALARM, time_ms, occurrence, body | {"occurrence": occurrence, "value": 11.6})


@contextlib.asynccontextmanager
async def at_work(site: Site, clock: RealClock) -> AsyncIterator[tuple[RecordBook, BookWriter, PostRoom | None]]:
    """The writer of a site's book and its channels, as the daemon puts them together."""
    site.store_path.mkdir(parents=True, exist_ok=True)
    pace = Pace(20, 200)
    with contextlib.closing(RecordBook.open(site.store_path / RECORDS, site.id)) as book:
        writer = BookWriter(book)
        async with post_room(core_of(site), writer, clock, lambda act: None, "", simulated=False, pace=pace) as post:
            if post is None:
                yield book, writer, None
            else:
                task = asyncio.create_task(post.run())
                yield book, writer, post
                post.stop()
                await task
        await writer.aclose()


async def main(folder: Path, chance: random.Random) -> None:
    clock = RealClock(SPEED)
    async with at_work(load_site(folder / "site.toml"), clock) as (book, writer, post):
        assert post is not None
        occurrences = dict.fromkeys(CONDITIONS, 0)
        for entry in book.entries([ALARM]):
            occurrences[str(entry.body["condition"])] = int(str(entry.body["occurrence"]))
        print("up", flush=True)
        while True:
            condition = chance.choice(CONDITIONS)
            occurrences[condition] += 1
            for event in ("raised", "returned"):
                await writer.commit([alarm(clock.now_ms(), condition, occurrences[condition], event)], {})
                post.tell(1)
                await asyncio.sleep(chance.uniform(0, 0.03))


if __name__ == "__main__":
    asyncio.run(main(Path(sys.argv[1]), random.Random(int(sys.argv[2]))))
