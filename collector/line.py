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

    @property
    def rest_s(self) -> float:
        """How long nothing may be asked yet, as a late answer may still come; 0 = ask. An exchange waits it out too."""

    @property
    def took_ms(self) -> float:
        """Real time of the last exchange, from its request's leaving to its answer or its end."""

    @property
    def strays(self) -> int:
        """Whole replies that came when nobody had asked for them: late ones, copies, another master's."""

    @property
    def echoes(self) -> bool:
        """Whether our own requests come back, as some two-wire adapters give them."""

    async def open(self) -> str:
        """Connect, within the line's own time-out; "" when open, else why not. Does not repeat by itself."""

    async def exchange(
        self, unit: int, function: int, start: int, quantity: int, timeout_ms: float | None = None
    ) -> Registers | Failure:
        """Ask and wait for the answer or the deadline. Failures come back as values, never as exceptions.

        timeout_ms: how long this answer is waited for; never longer than the line's own time-out, which is the default.
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
