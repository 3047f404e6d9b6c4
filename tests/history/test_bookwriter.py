"""The record book's thread: order, patience, cancellation and the end."""

import asyncio
import threading
from collections.abc import Mapping, Sequence

import pytest

from history.book import RecordBook
from history.bookwriter import BookWriter
from history.chain import Entry, Head
from history.errors import EntryRejected, StoreError, StoreUnavailable
from tests.history.samples import NOON_MS

PATIENCE_S = 60.0


class HeldBook:
    """A record book in memory whose commits can be held and failed."""

    def __init__(self) -> None:
        self.kept: list[int] = []
        self.state: dict[str, str | None] = {}
        self.failures = 0
        self.gate = threading.Event()
        self.gate.set()

    def commit(self, entries: Sequence[Entry], state: Mapping[str, str | None]) -> Head:
        assert self.gate.wait(PATIENCE_S)
        if self.failures:
            self.failures -= 1
            raise StoreUnavailable("the disk is full; make room")
        self.kept += [entry.seq for entry in entries]
        self.save_state(state)
        return Head(len(self.kept), "0" * 64)

    def save_state(self, state: Mapping[str, str | None]) -> None:
        self.state.update(state)


def entry(seq: int) -> Entry:
    return Entry("alarm", NOON_MS, seq, {"tank": "T-1"})


async def test_a_commit_returns_when_another_connection_can_see_it(book: RecordBook) -> None:
    writer = BookWriter(book)
    head = await writer.commit([entry(1), entry(2)], {"tick": "2"})
    await writer.save_state({"other": "1"})
    assert book.head() == head
    assert book.state() == {"other": "1", "tick": "2"}
    counters = writer.counters()
    assert (counters.commits, counters.entries, counters.retries, counters.waiting) == (2, 2, 0, 0)
    assert counters.last_s > 0
    await writer.aclose()


async def test_commits_are_carried_out_in_the_order_of_the_calls() -> None:
    held = HeldBook()
    writer = BookWriter(held)
    heads = await asyncio.gather(*(writer.commit([entry(seq)], {}) for seq in range(1, 51)))
    assert held.kept == list(range(1, 51))
    assert [head.count for head in heads] == list(range(1, 51))
    await writer.aclose()


async def test_a_book_that_is_away_for_a_moment_is_tried_again() -> None:
    held = HeldBook()
    held.failures = 3
    writer = BookWriter(held, patience_s=PATIENCE_S, first_wait_s=0.001)
    await writer.commit([entry(1)], {"a": "1"})
    assert held.kept == [1]
    assert writer.counters().retries == 3
    await writer.aclose()


async def test_a_book_that_stays_away_is_told_to_the_caller() -> None:
    held = HeldBook()
    held.failures = 10**9
    writer = BookWriter(held, patience_s=0.01, first_wait_s=0.001)
    with pytest.raises(StoreUnavailable, match="make room"):
        await writer.commit([entry(1)], {})
    assert held.kept == []
    assert writer.counters().entries == 0
    held.failures = 0
    await writer.commit([entry(2)], {})
    assert held.kept == [2]
    await writer.aclose()


async def test_a_record_that_cannot_be_written_is_told_at_once(book: RecordBook) -> None:
    writer = BookWriter(book)
    with pytest.raises(EntryRejected):
        await writer.commit([Entry("alarm", NOON_MS, 1, {"x": float("nan")})], {})
    assert writer.counters().retries == 0
    await writer.aclose()


async def test_a_caller_that_is_cancelled_does_not_undo_its_commit_nor_the_next() -> None:
    held = HeldBook()
    held.gate.clear()
    writer = BookWriter(held)
    first = asyncio.ensure_future(writer.commit([entry(1)], {}))
    second = asyncio.ensure_future(writer.commit([entry(2)], {}))  # still queued when it is cancelled
    third = asyncio.ensure_future(writer.commit([entry(3)], {}))
    await asyncio.sleep(0)
    first.cancel()
    second.cancel()
    with pytest.raises(asyncio.CancelledError):
        await second
    held.gate.set()
    assert (await third).count == 3
    assert held.kept == [1, 2, 3]
    await writer.aclose()


async def test_the_caller_may_change_what_it_gave_while_it_waits() -> None:
    held = HeldBook()
    held.gate.clear()
    writer = BookWriter(held)
    entries, state = [entry(1)], {"a": "1"}
    waiting = asyncio.ensure_future(writer.commit(entries, state))
    await asyncio.sleep(0)
    entries.clear()
    state.clear()
    held.gate.set()
    assert (await waiting).count == 1
    assert held.state == {"a": "1"}
    await writer.aclose()


async def test_closing_waits_for_the_commits_under_way_and_refuses_new_ones() -> None:
    held = HeldBook()
    held.gate.clear()
    writer = BookWriter(held)
    waiting = asyncio.ensure_future(writer.commit([entry(1)], {}))
    await asyncio.sleep(0)
    closing = asyncio.ensure_future(writer.aclose(PATIENCE_S))
    await asyncio.sleep(0)
    with pytest.raises(StoreError, match="closed before this call"):
        await writer.commit([entry(2)], {})
    held.gate.set()
    await closing
    assert (await waiting).count == 1


async def test_what_its_caller_takes_back_while_the_writer_closes_is_no_end_of_the_closing() -> None:
    held = HeldBook()
    held.gate.clear()
    writer = BookWriter(held)
    commit = asyncio.create_task(writer.commit([entry(1)], {}))
    await asyncio.sleep(0)
    waiting = writer.in_turn(lambda: None)
    closing = asyncio.create_task(writer.aclose(PATIENCE_S))
    await asyncio.sleep(0)
    waiting.cancel()
    held.gate.set()
    await closing
    assert (await commit).count == 1
    assert held.kept == [1]


async def test_closing_ends_the_tries_of_a_book_that_is_away() -> None:
    held = HeldBook()
    held.failures = 10**9
    writer = BookWriter(held, patience_s=3600.0, first_wait_s=1800.0)
    waiting = asyncio.ensure_future(writer.commit([entry(1)], {}))
    await asyncio.sleep(0)
    await writer.aclose(PATIENCE_S)
    with pytest.raises(StoreUnavailable):
        await waiting


async def test_closing_tells_of_a_disk_that_hangs() -> None:
    held = HeldBook()
    held.gate.clear()
    writer = BookWriter(held)
    waiting = asyncio.ensure_future(writer.commit([entry(1)], {}))
    await asyncio.sleep(0)
    with pytest.raises(TimeoutError, match="1 commits to the record book did not end"):
        await writer.aclose(0.01)
    held.gate.set()
    await waiting
