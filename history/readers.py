"""Questions to the stores, asked off the event loop by a few threads.

Knows how many may be asked at once; refuses to know what they are about. End it before the stores that it reads.
"""

import asyncio
import threading
from collections.abc import AsyncIterator, Callable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from itertools import islice
from typing import Final, ParamSpec, TypeVar

from history.errors import StoreError, StoreUnavailable

P = ParamSpec("P")
T = TypeVar("T")

CHUNK: Final = 2000


class ReaderPool:
    """workers: questions answered at the same time. most_waiting: with that many in the queue a further one is turned
    away with `StoreUnavailable`, instead of making all slow.
    """

    def __init__(self, *, workers: int = 2, most_waiting: int = 64) -> None:
        self._threads = ThreadPoolExecutor(workers, thread_name_prefix="history reader")
        self._room = threading.BoundedSemaphore(workers + most_waiting)
        self._closed = False

    async def call(self, question: Callable[P, T], *args: P.args, **kwargs: P.kwargs) -> T:
        """Any call to a store or a record book: `await pool.call(store.trend, "T-1", "level_m", start, span, 600)`.

        A caller that is cancelled leaves at once; a question already under way then ends unheard.
        """
        if self._closed:
            raise StoreError("the readers were closed before this call")
        if not self._room.acquire(blocking=False):
            raise StoreUnavailable("too many questions to the store wait already; ask again in a moment")
        future = self._threads.submit(question, *args, **kwargs)
        future.add_done_callback(self._answered)
        return await asyncio.wrap_future(future)

    async def each(self, question: Callable[P, Iterator[T]], *args: P.args, **kwargs: P.kwargs) -> AsyncIterator[T]:
        """The items of a call that gives an iterator: `async for entry in pool.each(book.entries, ["dip"])`."""
        items = await self.call(question, *args, **kwargs)
        while chunk := await self.call(_some, items):
            for item in chunk:
                yield item

    async def aclose(self) -> None:
        """Turn away what waits, and wait for the questions under way: a store must not be closed under them."""
        self._closed = True
        await asyncio.to_thread(self._threads.shutdown, wait=True, cancel_futures=True)

    def _answered(self, _: Future[T]) -> None:
        self._room.release()


def _some(items: Iterator[T]) -> list[T]:
    return list(islice(items, CHUNK))
