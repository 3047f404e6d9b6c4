"""The readings' queue and thread: batches, drops, retries and the end, with stores that can be held and failed."""

import asyncio
import logging
import threading
from collections.abc import AsyncIterator, Callable, Sequence
from contextlib import suppress
from pathlib import Path

import pytest

from history.errors import PointsRejected, StoreDamaged, StoreError, StoreUnavailable
from history.sqlite import SqliteStore
from history.writer import ReadingWriter
from models.reading import Reading
from tests.history.samples import NOON_MS, run
from tests.history.test_sqlite import largest_file

PATIENCE_S = 60.0


class FakeStore:
    """Keeps batches in memory. `gate` holds an append that has begun; `errors` are raised one an append."""

    def __init__(self) -> None:
        self.batches: list[list[Reading]] = []
        self.errors: list[BaseException] = []
        self.always: BaseException | None = None
        self.gate = threading.Event()
        self.gate.set()
        self.begun = threading.Semaphore(0)

    def append(self, readings: Sequence[Reading]) -> None:
        self.begun.release()
        assert self.gate.wait(PATIENCE_S)
        always = self.always  # the test may take it away between two looks
        if always is not None:
            raise always
        if self.errors:
            raise self.errors.pop(0)
        self.batches.append(list(readings))

    @property
    def seqs(self) -> list[int]:
        return [one.seq for batch in self.batches for one in batch]

    async def wait_begun(self) -> None:
        assert await asyncio.to_thread(self.begun.acquire, timeout=PATIENCE_S)


@pytest.fixture
async def fake() -> AsyncIterator[FakeStore]:
    store = FakeStore()
    yield store
    store.always = None
    store.gate.set()


class Watched:
    """A real store that tells when an append has failed."""

    def __init__(self, store: SqliteStore) -> None:
        self.store = store
        self.failed = threading.Semaphore(0)

    def append(self, readings: Sequence[Reading]) -> None:
        try:
            self.store.append(readings)
        except StoreUnavailable:
            self.failed.release()
            raise


Start = Callable[..., ReadingWriter]


@pytest.fixture
async def start(fake: FakeStore) -> AsyncIterator[Start]:
    writers: list[ReadingWriter] = []

    def begin(store=fake, **settings: float) -> ReadingWriter:
        settings = {"every_s": 0.0, "first_wait_s": 0.001, "longest_wait_s": 0.002} | settings
        writers.append(ReadingWriter(store, **settings))
        writers[-1].start()
        return writers[-1]

    yield begin
    fake.gate.set()
    for writer in writers:
        writer._giving_up = True  # a test that failed must not hang here
        writer._closing = True
        with writer._changed:
            writer._changed.notify_all()
        await asyncio.to_thread(writer._thread.join, PATIENCE_S)


async def test_what_is_put_is_written_in_order(fake: FakeStore, start: Start) -> None:
    writer = start()
    for seq in range(1, 101):
        writer.put(run(1, first_seq=seq))
    async with asyncio.timeout(PATIENCE_S):
        await writer.flush()
    assert fake.seqs == list(range(1, 101))
    assert writer.counters() == (100, 0, 0, 0, 0, 0.0, "")


async def test_many_ticks_share_a_transaction(fake: FakeStore, start: Start) -> None:
    writer = start(every_s=3600.0, at_once=60)
    for tick in range(6):
        writer.put(run(20, first_seq=1 + 20 * tick))
    await fake.wait_begun()
    await fake.wait_begun()
    async with asyncio.timeout(PATIENCE_S):
        await writer.flush()
    assert [len(batch) for batch in fake.batches] == [60, 60]


async def test_a_flush_does_not_wait_for_a_batch_to_fill(fake: FakeStore, start: Start) -> None:
    writer = start(every_s=3600.0)
    writer.put(run(3))
    async with asyncio.timeout(PATIENCE_S):
        await writer.flush()
        await writer.flush()  # nothing to wait for
    assert fake.seqs == [1, 2, 3]


async def test_a_batch_is_begun_when_its_oldest_has_waited_long_enough(fake: FakeStore, start: Start) -> None:
    writer = start(every_s=0.01)
    writer.put(run(1))
    await fake.wait_begun()
    assert writer.counters().waiting <= 1


async def test_with_no_room_the_oldest_are_dropped_and_counted_and_it_is_said_once(
    fake: FakeStore, start: Start, caplog: pytest.LogCaptureFixture
) -> None:
    writer = start(room=10, at_once=5)
    fake.gate.clear()
    writer.put(run(5, first_seq=1))
    await fake.wait_begun()  # 1..5 are in hand
    for tick in range(1, 6):
        writer.put(run(5, first_seq=1 + 5 * tick))
    assert writer.counters()[:3] == (0, 15, 0)
    assert writer.counters().waiting == 15
    fake.gate.set()
    async with asyncio.timeout(PATIENCE_S):
        await writer.flush()
    assert fake.seqs == [1, 2, 3, 4, 5, *range(21, 31)]
    assert [r.levelno for r in caplog.records] == [logging.ERROR]


async def test_the_newest_tick_stays_even_when_it_alone_is_too_large(fake: FakeStore, start: Start) -> None:
    writer = start(room=3)
    writer.put(run(9))
    async with asyncio.timeout(PATIENCE_S):
        await writer.flush()
    assert len(fake.seqs) == 9


async def test_an_unavailable_store_is_tried_again_until_it_takes_them(
    fake: FakeStore, start: Start, caplog: pytest.LogCaptureFixture
) -> None:
    caplog.set_level(logging.INFO)
    writer = start()
    fake.errors = [StoreUnavailable("the disk is full; make room")] * 4
    writer.put(run(3))
    async with asyncio.timeout(PATIENCE_S):
        await writer.flush()
    assert fake.seqs == [1, 2, 3]
    assert writer.counters() == (3, 0, 0, 4, 0, 0.0, "")
    assert [r.levelname for r in caplog.records] == ["WARNING", "INFO"], "a change is logged, not each try"


async def test_a_store_that_stays_away_shows_in_the_counters_and_the_oldest_go(fake: FakeStore, start: Start) -> None:
    writer = start(room=10)
    fake.always = StoreUnavailable("locked")
    for tick in range(10):
        writer.put(run(5, first_seq=1 + 5 * tick))
        await fake.wait_begun()
    await fake.wait_begun()
    counters = writer.counters()
    assert counters.failure == "locked"
    assert counters.retries >= 8
    assert counters.lag_s > 0
    assert (counters.written, counters.dropped + counters.waiting) == (0, 50)
    assert counters.waiting <= 20  # the room, and what is in hand: at the most what there was room for
    fake.always = None
    async with asyncio.timeout(PATIENCE_S):
        await writer.flush()
    assert fake.seqs == list(range(51 - len(fake.seqs), 51))
    assert writer.counters().dropped == 50 - len(fake.seqs)


async def test_refused_readings_are_counted_and_not_sent_again(fake: FakeStore, start: Start) -> None:
    writer = start()
    fake.errors = [PointsRejected({1: "seq must rise"}, (0, 2))]
    writer.put(run(3))
    async with asyncio.timeout(PATIENCE_S):
        await writer.flush()
    assert writer.counters()[:3] == (2, 0, 1)
    assert fake.batches == []


async def test_a_damaged_store_is_not_passed_over_in_silence(fake: FakeStore, start: Start) -> None:
    writer = start()
    fake.errors = [StoreDamaged("its structure is broken")]
    writer.put(run(1))
    async with asyncio.timeout(PATIENCE_S):
        await writer.flush()
    assert writer.counters().retries == 1


async def test_closing_writes_what_waits(fake: FakeStore, start: Start) -> None:
    writer = start(every_s=3600.0)
    writer.put(run(50))
    await writer.aclose(PATIENCE_S)
    assert len(fake.seqs) == 50
    with pytest.raises(StoreError, match="was closed before this call"):
        writer.put(run(1))
    await writer.aclose()


async def test_closing_gives_up_in_time_and_counts_what_is_lost(
    fake: FakeStore, start: Start, caplog: pytest.LogCaptureFixture
) -> None:
    writer = start(first_wait_s=3600.0)
    fake.always = StoreUnavailable("locked")
    writer.put(run(50))
    await fake.wait_begun()
    with suppress(TimeoutError):  # on a busy machine the thread may have no turn in so little time
        await writer.aclose(0.05)
    await writer.aclose(PATIENCE_S)
    assert writer.counters()[:2] == (0, 50)
    assert "readings given up at the end: 50 (locked)" in caplog.text


async def test_closing_tells_of_a_disk_that_hangs(fake: FakeStore, start: Start) -> None:
    writer = start()
    fake.gate.clear()
    writer.put(run(1))
    await fake.wait_begun()
    with pytest.raises(TimeoutError):
        await writer.aclose(0.02)


async def test_a_writer_that_never_started_closes_and_counts_what_it_was_given(fake: FakeStore) -> None:
    writer = ReadingWriter(fake)
    writer.put(run(4))
    await writer.aclose()
    assert writer.counters().dropped == 4


async def test_a_cancelled_flush_leaves_the_thread_well(fake: FakeStore, start: Start) -> None:
    writer = start()
    fake.gate.clear()
    writer.put(run(1))
    with pytest.raises(TimeoutError):
        async with asyncio.timeout(0.01):
            await writer.flush()
    fake.gate.set()
    writer.put(run(1, first_seq=2))
    async with asyncio.timeout(PATIENCE_S):
        await writer.flush()
    assert fake.seqs == [1, 2]


async def test_a_bug_in_the_thread_is_told_to_everyone(fake: FakeStore, start: Start) -> None:
    writer = start()
    fake.errors = [ZeroDivisionError("a bug")]
    fake.gate.clear()
    writer.put(run(1))
    flushing = asyncio.ensure_future(writer.flush())
    await asyncio.sleep(0)  # it waits, before the thread meets the bug
    fake.gate.set()
    with pytest.raises(ZeroDivisionError):
        await flushing
    with pytest.raises(RuntimeError, match="ended by a bug"):
        writer.put(run(1))
    with pytest.raises(ZeroDivisionError):
        await writer.aclose()


async def test_a_disk_that_fills_and_is_cleared_loses_and_doubles_nothing(
    sqlite: SqliteStore, tmp_path: Path, start: Start
) -> None:
    sqlite.append(run(100))
    watched = Watched(sqlite)
    writer = start(store=watched)
    write_ahead = tmp_path / "readings.sqlite-wal"
    with largest_file(write_ahead.stat().st_size + 30_000):
        for tick in range(50):
            writer.put(run(100, first_seq=101 + tick * 100, start_ms=NOON_MS + 100_000 * (tick + 1)))
        for _ in range(3):
            assert await asyncio.to_thread(watched.failed.acquire, timeout=PATIENCE_S)
    async with asyncio.timeout(PATIENCE_S):
        await writer.flush()
    await writer.aclose()
    assert [one.seq for one in sqlite.read("T-1", 0, NOON_MS + 10**9)] == list(range(1, 5101))
    assert writer.counters().written == 5000
    assert writer.counters().retries >= 3
