"""A clock that jumps and a line that answers from a function: a bus is polled for hours in milliseconds."""

import asyncio
from collections.abc import Callable, Sequence
from contextlib import suppress

from collector.bus import Bus
from collector.spec import BusKind, BusSpec, InstrumentSpec
from modbus.reply import Failure, FailureKind, Registers
from modbus.signals import RegisterSignal, RegisterType
from models.reading import Sample

START_UTC_MS = 1_767_225_600_000  # 2026-01-01T00:00:00Z
SILENT = Failure(FailureKind.TIMEOUT, "no answer")
WRONG = Failure(FailureKind.WRONG_REPLY, "reply of function 4 to a request of function 3")
LEVEL = RegisterSignal("level", 3, 10, RegisterType.UINT16)


class JumpingClock:
    """Sleeping moves it; so does a fake line's exchange. At `end_ms` sleepers sleep for good and `over` is set."""

    def __init__(self, end_ms: int = 1_000_000_000) -> None:
        self.elapsed = 0
        self.end_ms = end_ms
        self.over = asyncio.Event()

    def now_ms(self) -> int:
        return START_UTC_MS + self.elapsed

    def elapsed_ms(self) -> int:
        return self.elapsed

    def both_ms(self) -> tuple[int, int]:
        return START_UTC_MS + self.elapsed, self.elapsed

    async def sleep_until_elapsed(self, elapsed_ms: int) -> None:
        if elapsed_ms > self.end_ms:
            self.over.set()
            await asyncio.Event().wait()
        self.elapsed = max(self.elapsed, elapsed_ms)
        await asyncio.sleep(0)


Answer = Callable[[int, int, int, int], Registers | Failure]


class FakeLine:
    """Answers at once by the wall, after `takes_ms` by the site's clock."""

    def __init__(self, clock: JumpingClock, answer: Answer, takes_ms: Callable[[int], int] = lambda unit: 10) -> None:
        self._clock = clock
        self._answer = answer
        self._takes_ms = takes_ms
        self.is_open = False
        self.rest_s = 0.0
        self.took_ms = 0.0
        self.strays = 0
        self.echoes = False
        self.patience: list[float | None] = []
        self.faults: list[str] = []
        self.opened = 0
        self.asked: list[tuple[int, int, int, int, int]] = []
        self.held: asyncio.Event | None = None
        self.entered = asyncio.Event()

    async def open(self) -> str:
        await asyncio.sleep(0)
        fault = self.faults.pop(0) if self.faults else ""
        self.is_open = not fault
        self.opened += self.is_open
        return fault

    async def exchange(
        self, unit: int, function: int, start: int, quantity: int, timeout_ms: float | None = None
    ) -> Registers | Failure:
        if not self.is_open:
            return Failure(FailureKind.TIMEOUT, "not connected")
        self.patience.append(timeout_ms)
        self.asked.append((self._clock.elapsed, unit, function, start, quantity))
        self.entered.set()
        if self.held is not None:
            await self.held.wait()
        await asyncio.sleep(0)
        if self._clock.elapsed >= self._clock.end_ms:
            self._clock.over.set()  # a line that is never idle never sleeps
        self.took_ms = float(self._takes_ms(unit))
        self._clock.elapsed += self._takes_ms(unit)
        return self._answer(unit, function, start, quantity)

    def close(self) -> None:
        self.is_open = False


def counting(unit: int, function: int, start: int, quantity: int) -> Registers | Failure:
    """Each register holds its own address."""
    return tuple(range(start, start + quantity))


def instruments(units: Sequence[int], **more: int) -> tuple[InstrumentSpec, ...]:
    return tuple(InstrumentSpec(f"LT-{unit}", unit, (LEVEL,), **more) for unit in units)


def bus_of(units: Sequence[int], period_ms: int = 1000, timeout_ms: int = 500) -> BusSpec:
    return BusSpec(
        "north", BusKind.TCP, instruments(units), "127.0.0.1", 502, period_ms=period_ms, timeout_ms=timeout_ms
    )


async def run_for(spec: BusSpec, line: FakeLine, clock: JumpingClock, end_ms: int) -> tuple[list[Sample], Bus]:
    """All Samples of a bus until the clock stands at `end_ms`."""
    samples: list[Sample] = []
    bus = Bus(spec, line, samples.append, clock)
    clock.end_ms = end_ms
    task = asyncio.create_task(bus.run())
    over = asyncio.create_task(clock.over.wait())
    await asyncio.wait({task, over}, return_when=asyncio.FIRST_COMPLETED)
    task.cancel()
    over.cancel()
    with suppress(asyncio.CancelledError):
        await task
    return samples, bus
