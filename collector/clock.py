"""The site's clock. The wire's time-outs do not go by it: they are real time, whatever the speed of the site.

A step of the computer's own clock moves `now_ms`, never `elapsed_ms`.
"""

import asyncio
import time
from typing import Final, Protocol

_ONE_MOMENT_MS: Final = 50


class Clock(Protocol):
    """What the collector asks of time."""

    def now_ms(self) -> int:
        """The site's UTC time in ms, for people and stores."""

    def elapsed_ms(self) -> int:
        """The site's monotonic time in ms, from an origin of its own."""

    def both_ms(self) -> tuple[int, int]:
        """`now_ms()` and `elapsed_ms()` of one moment, however busy the machine is between two readings."""

    async def sleep_until_elapsed(self, elapsed_ms: int) -> None:
        """Return when `elapsed_ms()` has reached this; yield at least once."""


class RealClock:
    """The computer's clocks; with a speed, site time starts at real UTC now and runs that many times faster.

    start_ms: site time starts there instead of now. Such a clock does not follow steps of the computer's.
    """

    __slots__ = ("_follows", "_speed", "_start_s", "_start_utc_ms")

    def __init__(self, speed: float = 1.0, start_ms: int | None = None) -> None:
        if not 0 < speed <= 10_000:
            raise ValueError(f"speed {speed:g}; allowed above 0 to 10000")
        self._speed = speed
        self._start_s = time.monotonic()
        self._start_utc_ms = time.time_ns() // 1_000_000 if start_ms is None else start_ms
        self._follows = speed == 1.0 and start_ms is None

    @property
    def speed(self) -> float:
        return self._speed

    def now_ms(self) -> int:
        if self._follows:
            return time.time_ns() // 1_000_000  # follows the computer's clock, steps and all
        return self._start_utc_ms + self.elapsed_ms()

    def elapsed_ms(self) -> int:
        return int((time.monotonic() - self._start_s) * 1000.0 * self._speed)

    def both_ms(self) -> tuple[int, int]:
        if not self._follows:
            elapsed_ms = self.elapsed_ms()
            return self._start_utc_ms + elapsed_ms, elapsed_ms
        while True:
            before_ms, now_ms = self.elapsed_ms(), self.now_ms()
            if self.elapsed_ms() - before_ms <= _ONE_MOMENT_MS:
                return now_ms, before_ms

    async def sleep_until_elapsed(self, elapsed_ms: int) -> None:
        due_s = self._start_s + elapsed_ms / (1000.0 * self._speed)
        wait_s = due_s - time.monotonic()
        await asyncio.sleep(max(0.0, wait_s))
        if self.elapsed_ms() < elapsed_ms:  # a timer may fire a hair early
            await asyncio.sleep(0.001)
