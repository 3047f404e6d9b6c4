"""A server that is away for a week of readings and comes back, while live readings go on: on real servers.

The week is generated: six tanks, a reading a minute (60 480 readings). The embedded store runs as in the daemon (the
thread that writes, its housekeeping, the outlet's thread); only the pace is that of the machine.
"""

import asyncio
import time
import uuid
from collections.abc import Callable, Iterator, Sequence
from contextlib import AbstractContextManager, closing
from pathlib import Path

import pytest

from history.influxql import InfluxReadings
from history.outlet import Outlet
from history.posting import InfluxPoster
from history.rejects import RejectList
from history.sending import Poster
from history.sqlite import SqliteStore
from history.tidying import Kept
from history.writer import ReadingWriter
from models.reading import Reading
from tests.history.samples import NOON_MS, reading
from tests.history.served import DATABASE, exported, flush
from tests.history.test_outlet import Where
from tests.ports import free_port
from tests.tsdb import Server, influx, victoria_metrics

pytestmark = pytest.mark.service

TANKS = [f"T-{k}" for k in range(1, 7)]
STEP_MS = 60_000
DAY_MS = 86_400_000
DAYS = 7
TICK_S = 0.02
MOST_WAITING = round(5.0 / TICK_S) * len(TANKS)
"""Live readings of five seconds: counted, because a machine that stands still brings no readings either."""
TICKS_A_DAY = DAY_MS // STEP_MS


def ticks(first: int, count: int, step_ms: int = STEP_MS) -> Iterator[list[Reading]]:
    """Readings of all tanks at once, by the minute."""
    for k in range(first, first + count):
        yield [
            reading(k, NOON_MS + k * step_ms, tank, level_m=5 + (k * 31 + n) % 997 / 1000)
            for n, tank in enumerate(TANKS)
        ]


class Watched:
    """A poster that remembers the order in which the seqs were taken, and how long a post was waited for."""

    def __init__(self, poster: Poster) -> None:
        self._poster = poster
        self.seqs: list[int] = []

    def post(self, lines: Sequence[str]) -> None:
        self._poster.post(lines)
        self.seqs += [int(float(line.partition("seq=")[2].partition(",")[0])) for line in lines]

    def close(self) -> None:
        self._poster.close()


Starter = Callable[..., AbstractContextManager[Server]]


async def live(writer: ReadingWriter, first: int, until: Callable[[], bool], most_s: float = 150.0) -> int:
    """Live readings, a tick every `TICK_S`, until something holds; the next seq."""
    end_s = time.monotonic() + most_s
    while not until():
        assert time.monotonic() < end_s, "took too long"
        for tick in ticks(first, 1):
            writer.put(tick)
        first += 1
        await asyncio.sleep(TICK_S)
    return first


@pytest.mark.timeout(400)
@pytest.mark.parametrize(
    ("start", "name"), [(influx, "influx"), (victoria_metrics, "victoria")], ids=["influx", "victoria"]
)
async def test_after_a_week_away_everything_arrives_once_and_in_order_while_live_readings_flow(
    tmp_path: Path, name: str, start: Starter
) -> None:
    port, site = free_port(), f"site-{uuid.uuid4().hex}"
    store = SqliteStore.open(tmp_path / "readings.sqlite", site)
    poster = Watched(InfluxPoster(Where(f"http://127.0.0.1:{port}", bucket=DATABASE), str))
    outlet = Outlet(
        "main", site, store, poster, RejectList(tmp_path / "rejected.jsonl"),
        every_s=0.05, first_wait_s=0.05, longest_wait_s=0.4,
    )  # fmt: skip
    with closing(store):
        writer = ReadingWriter(store, tidy=store.tidy, tidy_every_s=0.5)
        writer.start()
        outlet.start()
        with start(tmp_path / "server", port=port):
            seq = await live(writer, 1, lambda: outlet.counters().sent >= 400)
        seq = await live(writer, seq, lambda: outlet.counters().failure != "")
        sent_before = outlet.counters().sent
        for _ in range(DAYS):
            for tick in ticks(seq, TICKS_A_DAY):
                writer.put(tick)
            seq += TICKS_A_DAY
            await writer.flush()
        # bounded on disk: nothing but the embedded store itself, whatever waits
        assert {path.name for path in tmp_path.iterdir()} <= {
            "readings.sqlite", "readings.sqlite-wal", "readings.sqlite-shm", "readings.sqlite.lock",
            "server", "server.log",
        }  # fmt: skip
        assert outlet.counters().sent == sent_before
        with start(tmp_path / "server", port=port) as server:
            begun, backlog = time.monotonic(), seq
            seq = await live(writer, seq, lambda: bool(poster.seqs) and poster.seqs[-1] >= backlog)
            took_s = time.monotonic() - begun
            waiting = writer.counters().waiting
            await writer.flush()
            last = seq - 1
            await until(lambda: outlet.counters().seq == last)
            await asyncio.to_thread(outlet.stop, 10)
            await writer.aclose()
            counters = outlet.counters()
            assert counters[1:6] == (last, last * len(TANKS), 0, 0, 0)
            assert poster.seqs == sorted(poster.seqs)  # in order
            assert len(poster.seqs) == last * len(TANKS)  # once
            assert waiting < MOST_WAITING, "live readings were held up"
            assert seq - backlog > 20
            for tank in (TANKS[0], TANKS[-1]):
                found = await shown_by(name, server.url, site, tank, last)
                assert [one.seq for one in found] == list(range(1, last + 1))
                assert found[-100:] == list(store.read(tank, found[-100].time_ms, 2**62 // 10**6))
        print(f"\n{name}: {counters.sent} readings, the week in {took_s:.1f} s beside {seq - backlog} live ticks")


async def until(what: Callable[[], bool], most_s: float = 60.0) -> None:
    end_s = time.monotonic() + most_s
    while not what():
        assert time.monotonic() < end_s, "took too long"
        await asyncio.sleep(0.02)


async def shown_by(name: str, url: str, site: str, tank: str, count: int, most_s: float = 60.0) -> list[Reading]:
    """What a server shows of a tank once that is as much as there should be: see `served.flush`."""
    begun_s = time.monotonic()
    while len(found := list(kept_by(name, url, site, tank))) < count and time.monotonic() - begun_s < most_s:
        await asyncio.sleep(0.1)
    return found


def kept_by(name: str, url: str, site: str, tank: str) -> Iterator[Reading]:
    if name == "victoria":
        flush(url)
        yield from exported(url, site, tank)
        return
    with closing(InfluxReadings(url, DATABASE, site, str)) as asked:
        yield from asked.read(tank, 0, 2 * NOON_MS)


def test_with_a_retention_the_disk_is_bounded_and_what_was_dropped_is_counted_to_the_reading(
    tmp_path: Path, influx_server: Server
) -> None:
    """Ten days away, two kept, a reading every 20 minutes: the oldest day goes first, all of it counted."""
    site, step_ms, a_day = f"site-{uuid.uuid4().hex}", 1_200_000, 72
    kept = Kept(readings_ms=2 * DAY_MS)
    poster = Watched(InfluxPoster(Where(influx_server.url, bucket=DATABASE), str))
    with closing(poster), closing(SqliteStore.open(tmp_path / "readings.sqlite", site)) as store:
        outlet = Outlet("main", site, store, poster, RejectList(tmp_path / "rejected.jsonl"))
        store.append([one for tick in ticks(1, 10, step_ms) for one in tick])
        while outlet.step() == 0:
            pass
        seq = 11
        for _ in range(10):
            store.append([one for tick in ticks(seq, a_day, step_ms) for one in tick])
            seq += a_day
            while store.tidy(kept):
                pass
        while outlet.step() == 0:
            pass
        counters = outlet.counters()
        assert counters.seq == seq - 1
        assert counters.dropped > 5 * a_day * len(TANKS)
        assert counters.sent + counters.dropped == (seq - 1) * len(TANKS)
        after = poster.seqs[10 * len(TANKS) :]
        assert after == [k for k in range(after[0], seq) for _ in TANKS]
