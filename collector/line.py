"""The seam between what is asked and what carries it: one connection, or one serial port.

A line is owned by one task. It has a deadline of its own for each exchange, and nobody cancels one from outside: on a
serial line the late reply would be taken for the answer to the next question.
"""

import asyncio
from collections.abc import Callable, Coroutine
from typing import Any, Protocol, TypeVar

from modbus.reply import Failure, Registers

T = TypeVar("T")


class Line(Protocol):
    """One way to the units of a bus. No method is called while another one of the same line is under way."""

    @property
    def is_open(self) -> bool:
        """Whether an exchange can be tried now."""

    async def open(self) -> str:
        """Connect, within the line's own time-out; "" when open, else why not. Does not repeat by itself."""

    async def exchange(self, unit: int, function: int, start: int, quantity: int) -> Registers | Failure:
        """Ask and wait for the answer or the deadline. Failures come back as values, never as exceptions.

        A line that can no longer trust what comes next (bytes that are no frame) closes itself: `is_open` tells.
        """

    def close(self) -> None:
        """Let go of the connection. May be called twice; `open` may follow."""


async def to_its_end(work: Coroutine[Any, Any, T], stop: Callable[[], None] = lambda: None) -> T:
    """Await work that must not be broken off: a cancellation tells it to `stop`, waits until it is done, and goes on.

    Bounded by the work's own deadline. A second cancellation leaves without waiting.
    """
    task = asyncio.get_running_loop().create_task(work)  # awaited right here on every way out
    try:
        return await asyncio.shield(task)
    except asyncio.CancelledError:
        stop()
        await asyncio.wait({task})
        if not task.cancelled():
            task.exception()  # seen, so that asyncio does not complain of it later
        raise
