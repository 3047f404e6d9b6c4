"""Looks around on a line that nobody knows yet: which units answer, which of their registers can be read.

Reads only, one request at a time through the same `Line` as the collector, with a pause after each and a bound on all.
Refuses to guess what a register means (`modbus.decodings` lists that) and to run beside somebody else who asks.
"""

import asyncio
from collections.abc import Callable, Iterable
from typing import Final, NamedTuple

from collector.errors import CollectorError
from collector.line import Line, to_its_end
from modbus.errors import (
    GATEWAY_PATH_UNAVAILABLE,
    GATEWAY_TARGET_FAILED,
    ILLEGAL_FUNCTION,
    SERVER_DEVICE_BUSY,
)
from modbus.reply import Failure, FailureKind, Registers

ABSENT: Final = frozenset({GATEWAY_PATH_UNAVAILABLE, GATEWAY_TARGET_FAILED})
"""A gateway that says this speaks for a unit that is not there."""

PATIENCE: Final = 3
"""Failures in a row without a word from the unit, after which a function of it is left alone."""

Tell = Callable[[str], None]


class Unit(NamedTuple):
    """A unit that said something. how: "registers", "exception" or "wrong"; text: what, in words."""

    unit: int
    how: str
    text: str
    took_ms: float


class Stretch(NamedTuple):
    """Registers of a unit that can be read, from PDU address `start` on."""

    unit: int
    function: int
    start: int
    registers: Registers


class Searched(NamedTuple):
    """What was found of one unit by one function. why: why the search ended early, empty when it did not."""

    stretches: tuple[Stretch, ...]
    requests: int
    why: str = ""


class Explorer:
    """One line, asked by nobody else meanwhile. pause_s: after each exchange; tell: gets a line now and then."""

    def __init__(self, line: Line, pause_s: float, tell: Tell) -> None:
        self._line, self._pause_s, self._tell = line, pause_s, tell

    async def units(self, candidates: Iterable[int], function: int) -> list[Unit]:
        """Ask each for the first register; everything but silence counts as a unit."""
        wanted = list(candidates)
        found: list[Unit] = []
        for place, unit in enumerate(wanted, 1):
            reply = await self._ask(unit, function, 0, 1)
            said = _said(unit, reply, self._line.took_ms)
            if said is not None:
                found.append(said)
            self._tell(f"unit {unit}, {place} of {len(wanted)}: {len(found)} answer")
        return found

    async def registers(self, unit: int, function: int, first: int, last: int, longest: int, most: int) -> Searched:
        """Read first..last in blocks of at most `longest`; what refuses a block is asked for in halves, down to one.

        most: requests at the most.
        """
        waiting = [(at, min(longest, last + 1 - at)) for at in range(first, last + 1, longest)][::-1]
        found: list[Stretch] = []
        requests = silent = 0
        while waiting:
            if requests >= most:
                return Searched(_joined(found), requests, f"after {most} requests, at address {waiting[-1][0]}")
            start, quantity = waiting.pop()
            reply = await self._ask(unit, function, start, quantity)
            requests += 1
            self._tell(f"unit {unit}, function {function}, address {start}: {requests} requests")
            if not isinstance(reply, Failure):
                silent = 0
                found.append(Stretch(unit, function, start, reply))
                continue
            if reply.kind is not FailureKind.EXCEPTION:
                silent += 1
                if silent >= PATIENCE:
                    return Searched(_joined(found), requests, f"no good answer from address {start} on: {reply.text}")
                waiting.append((start, quantity))
                continue
            silent = 0
            if reply.exception_code == ILLEGAL_FUNCTION or reply.exception_code in ABSENT:
                return Searched(_joined(found), requests, reply.text)
            if quantity > 1:
                half = quantity // 2
                waiting += [(start + half, quantity - half), (start, half)]
        return Searched(_joined(found), requests)

    async def _ask(self, unit: int, function: int, start: int, quantity: int) -> Registers | Failure:
        """One exchange; a line that closed itself is opened again, a busy unit is asked once more."""
        reply = await self._exchange(unit, function, start, quantity)
        if isinstance(reply, Failure) and reply.exception_code == SERVER_DEVICE_BUSY:
            await asyncio.sleep(10 * self._pause_s)
            reply = await self._exchange(unit, function, start, quantity)
        return reply

    async def _exchange(self, unit: int, function: int, start: int, quantity: int) -> Registers | Failure:
        if not self._line.is_open:
            fault = await self._line.open()
            if fault:
                raise CollectorError(fault)
        reply = await to_its_end(self._line.exchange(unit, function, start, quantity))
        await asyncio.sleep(self._pause_s)
        return reply


def _said(unit: int, reply: Registers | Failure, took_ms: float) -> Unit | None:
    if not isinstance(reply, Failure):
        return Unit(unit, "registers", "answers", took_ms)
    if reply.kind is FailureKind.TIMEOUT or reply.exception_code in ABSENT:
        return None
    how = "exception" if reply.kind is FailureKind.EXCEPTION else "wrong"
    return Unit(unit, how, reply.text, took_ms)


def _joined(found: Iterable[Stretch]) -> tuple[Stretch, ...]:
    """Stretches that touch become one."""
    out: list[Stretch] = []
    for stretch in sorted(found, key=lambda s: s.start):
        if out and out[-1].start + len(out[-1].registers) == stretch.start:
            out[-1] = out[-1]._replace(registers=out[-1].registers + stretch.registers)
        else:
            out.append(stretch)
    return tuple(out)
