"""Questions asked off the loop: answers, turning away, and the end."""

import asyncio
import threading

import pytest

from history.book import RecordBook
from history.chain import Entry
from history.errors import BadQuestion, StoreError, StoreUnavailable
from history.readers import ReaderPool
from history.store import Store
from tests.history.samples import NOON_MS, run


async def test_any_call_is_answered_and_its_error_passed_on(store: Store) -> None:
    store.append(run(100))
    pool = ReaderPool()
    trend = await pool.call(store.trend, "T-1", "level_m", NOON_MS, 100_000, points=10)
    assert trend.good == (1.0,) * 10
    assert await pool.call(store.last_seq) == 100
    with pytest.raises(BadQuestion):
        await pool.call(store.trend, "T-1", "colour", NOON_MS, 100_000, 10)
    await pool.aclose()


async def test_long_answers_come_in_parts_and_whole(store: Store) -> None:
    store.append(run(9001))
    pool = ReaderPool()
    assert [one.seq async for one in pool.each(store.read, "T-1", 0, 2 * NOON_MS)] == list(range(1, 9002))
    assert [one async for one in pool.each(store.read, "T-2", 0, 2 * NOON_MS)] == []
    await pool.aclose()


async def test_a_book_answers_from_several_threads_at_once(book: RecordBook) -> None:
    book.commit([Entry("alarm", NOON_MS, seq, {"seq": seq}) for seq in range(1, 2001)], {})
    pool = ReaderPool(workers=4)
    counts = await asyncio.gather(*(pool.call(lambda: sum(1 for _ in book.entries())) for _ in range(12)))
    assert counts == [2000] * 12
    await pool.aclose()


async def test_with_too_many_waiting_a_question_is_turned_away_and_later_ones_are_not() -> None:
    gate = threading.Event()
    pool = ReaderPool(workers=1, most_waiting=2)
    waiting = [asyncio.ensure_future(pool.call(gate.wait, 10)) for _ in range(3)]
    await asyncio.sleep(0)
    with pytest.raises(StoreUnavailable, match="ask again in a moment"):
        await pool.call(gate.wait, 10)
    gate.set()
    assert await asyncio.gather(*waiting) == [True] * 3
    assert await pool.call(gate.wait, 10)
    await pool.aclose()


async def test_a_question_that_is_given_up_while_it_waits_makes_room() -> None:
    gate = threading.Event()
    pool = ReaderPool(workers=1, most_waiting=1)
    first = asyncio.ensure_future(pool.call(gate.wait, 10))
    second = asyncio.ensure_future(pool.call(gate.wait, 10))
    await asyncio.sleep(0)
    second.cancel()
    with pytest.raises(asyncio.CancelledError):
        await second
    third = asyncio.ensure_future(pool.call(gate.wait, 10))
    await asyncio.sleep(0)
    gate.set()
    assert await first
    assert await third
    await pool.aclose()
    with pytest.raises(StoreError, match="closed before this call"):
        await pool.call(gate.wait, 10)
