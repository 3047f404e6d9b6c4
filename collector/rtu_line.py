"""Serial frames, on a port of this machine or through a network: one question at a time, and silence in between.

A serial reply has no number that ties it to its request. What keeps the answer to one question from being taken for
the answer to the next is time, and it is kept here:

- before each request the line is silent for 3.5 characters;
- after a failed exchange nothing is sent for as long as the slowest answer may still take (the site's time-out and the
  frames' own time); the same after opening, as nobody knows what was asked before, and after a whole reply that nobody
  asked for;
- a request whose reply would look like the last one (same unit, function and length) waits a little longer, for a copy
  of that one to come and be thrown away;
- an answer is taken only when the line has fallen silent after it, so that two different ones in one breath are seen.
"""

import asyncio
from typing import Final

from collector.carrier import Carrier, rtu_over_tcp_carrier, serial_carrier
from collector.spec import BusKind, BusSpec
from modbus.frames import MAX_RTU_ADU, Request
from modbus.reply import Failure, FailureKind, Registers
from modbus.rtu_search import Finding, search, whole_frames, without_answer
from modbus.signals import BIT_FUNCTIONS, READ_FUNCTIONS
from modbus.timing import bytes_ms, exchange_ms, silence_ms

TWIN_MS: Final = 30.0
"""How long a copy of an answer is watched for before a request that it could answer."""
_MOST_KEPT: Final = 4 * MAX_RTU_ADU
"""Bytes that are looked through; of a line that babbles on, the newest."""


_GRAIN_S: Final = 0.001
"""An event loop sleeps in whole ms and rounds up: of a silence of 4.01 ms (9600 baud) it made 5."""
_AWAKE_S: Final = 0.0003
"""What is left beyond whole ms is waited out awake when it is no longer than this."""


def nap_s(silence_s: float) -> float:
    """How long to sleep towards the end of a silence."""
    whole_s = silence_s // _GRAIN_S * _GRAIN_S
    return whole_s if silence_s - whole_s <= _AWAKE_S else silence_s


class RtuLine:
    """A serial line, or a gateway that hands serial frames on as they are. Says nothing before it is asked to."""

    def __init__(self, bus: BusSpec) -> None:
        if bus.kind is BusKind.RTU:
            self._carrier: Carrier = serial_carrier(bus.device, bus.baud, bus.parity, bus.stop_bits, self)
        else:
            self._carrier = rtu_over_tcp_carrier(bus.host, bus.port, self)
        self._timeout_ms = bus.timeout_ms
        self._baud = bus.baud
        self._silence_s = silence_ms(bus.baud) / 1000
        self._request: Request | None = None
        self._sent = b""
        self._heard = bytearray()
        self._verdict: Registers | Failure | None = None
        self._gone = False
        self._last_byte_s = 0.0
        self._quiet_until_s = 0.0
        self._last_answered: tuple[int, int, int] | None = None
        self._falling_silent: asyncio.Handle | None = None
        self._nap_s = nap_s(self._silence_s)
        self.took_ms = 0.0
        self.strays = 0
        self.echoes = False

    @property
    def is_open(self) -> bool:
        return self._carrier.is_open

    @property
    def rest_s(self) -> float:
        return max(0.0, self._quiet_until_s - asyncio.get_running_loop().time())

    async def open(self) -> str:
        self._forget()
        fault = await self._carrier.open(self._timeout_ms / 1000)
        if not fault:
            self._be_quiet(bytes_ms(MAX_RTU_ADU, self._baud))
        return fault

    async def exchange(
        self, unit: int, function: int, start: int, quantity: int, timeout_ms: float | None = None
    ) -> Registers | Failure:
        self.took_ms = 0.0
        request = Request(unit, function, start, quantity)
        if self.is_open and not await self._silence(request):
            self._be_quiet(0.0)
            return Failure(FailureKind.WRONG_REPLY, "the line does not fall silent; nothing was asked")
        if not self.is_open:
            return Failure(FailureKind.TIMEOUT, f"{self._carrier.name} is not open")
        patience_ms = self._timeout_ms if timeout_ms is None else min(timeout_ms, self._timeout_ms)
        frames_ms = exchange_ms(function in BIT_FUNCTIONS, quantity, self._baud)
        result = await self._ask(request, patience_ms, frames_ms)
        if isinstance(result, Failure) and result.kind is not FailureKind.EXCEPTION:
            self._last_answered = None
            self._be_quiet(frames_ms)
        else:
            self._last_answered = (unit, function, quantity)
        return result

    async def _ask(self, request: Request, patience_ms: float, frames_ms: float) -> Registers | Failure:
        loop = asyncio.get_running_loop()
        self._request, self._verdict, self._gone = request, None, False
        self._heard.clear()
        began_s = loop.time()
        try:
            await self._carrier.ask(request, (patience_ms + frames_ms) / 1000)
        finally:
            self._request = None
            self.took_ms = (loop.time() - began_s) * 1000.0
            heard = bytes(self._heard)
            self._heard.clear()
        if self._verdict is not None:
            return self._verdict
        finding = self._look(request, heard)  # the deadline may come between an answer and the silence after it
        if self._verdict is not None:
            return self._verdict
        if self._gone:
            return Failure(FailureKind.TIMEOUT, f"{self._carrier.name} was lost while waiting for the answer")
        return without_answer(request, finding, patience_ms)

    async def _silence(self, request: Request) -> bool:
        """Wait until this request may leave; False when the line never falls silent (or is lost)."""
        loop = asyncio.get_running_loop()
        give_up_s = max(loop.time(), self._quiet_until_s) + 2 * self._slowest_s(bytes_ms(MAX_RTU_ADU, self._baud))
        while self.is_open:
            wait_s = self._free_from_s(request) - loop.time()
            if wait_s > 0:
                await asyncio.sleep(wait_s)
            # What lies unread in the system's buffer was there before the question: let the loop bring it first.
            await asyncio.sleep(0)
            await asyncio.sleep(0)
            if self._free_from_s(request) <= loop.time():
                return True
            if loop.time() > give_up_s:
                return False
        return True  # lost: the caller looks

    def _free_from_s(self, request: Request) -> float:
        free_s = max(self._quiet_until_s, self._last_byte_s + self._silence_s)
        if self._last_answered == (request.unit, request.function, request.quantity):
            free_s = max(free_s, self._last_byte_s + TWIN_MS / 1000)
        return free_s

    def _slowest_s(self, frames_ms: float) -> float:
        return (self._timeout_ms + frames_ms) / 1000 + self._silence_s

    def _be_quiet(self, frames_ms: float) -> None:
        """From now on, say nothing for as long as the slowest answer may take."""
        until_s = asyncio.get_running_loop().time() + self._slowest_s(frames_ms)
        self._quiet_until_s = max(self._quiet_until_s, until_s)

    def sending(self, frame: bytes) -> None:
        if frame[1] not in READ_FUNCTIONS:
            raise AssertionError(f"function {frame[1]} was about to be sent; only reading ever is")
        self._sent = frame

    def received(self, data: bytes) -> None:
        loop = asyncio.get_running_loop()
        self._last_byte_s = loop.time()
        self._heard += data
        if len(self._heard) > _MOST_KEPT:
            del self._heard[:-_MOST_KEPT]
        if self._falling_silent is not None:
            self._falling_silent.cancel()
        self._falling_silent = loop.call_later(self._nap_s, self._see_silence)

    def lost(self) -> None:
        self._gone = True

    def _see_silence(self) -> None:
        """The silence may be over; what is left of it is shorter than the loop can sleep."""
        loop = asyncio.get_running_loop()
        if loop.time() < self._last_byte_s + self._silence_s:
            self._falling_silent = loop.call_soon(self._see_silence)
        else:
            self._fell_silent()

    def _fell_silent(self) -> None:
        self._falling_silent = None
        if self._request is not None:
            self._look(self._request, self._heard)
            if self._verdict is not None:
                self._carrier.end_waiting()
            return
        frames = whole_frames(self._heard)
        self._heard.clear()
        if frames:  # not noise: someone speaks who was not asked, or late, or twice
            self.strays += frames
            self._be_quiet(0.0)

    def _look(self, request: Request, heard: bytes | bytearray) -> Finding:
        """Is the answer there, or something else that the asked unit said? The first look that finds one counts."""
        finding = search(request, self._sent, heard)
        self.echoes = finding.echo or self.echoes
        if self._verdict is None:
            self._verdict = finding.verdict
        return finding

    def _forget(self) -> None:
        """Another connection, perhaps another adapter. What was promised of silence stays."""
        self.close()
        self._heard.clear()
        self._last_answered = None
        self.echoes = False

    def close(self) -> None:
        if self._falling_silent is not None:
            self._falling_silent.cancel()
            self._falling_silent = None
        self._carrier.close()
