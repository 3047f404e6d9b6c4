"""pymodbus as a carrier of bytes: the only file that knows this library.

It makes the connection or opens the port, builds the frame of a reading request and sends it. What comes back it never
sees: the library takes wrong replies for good ones or dies of them (measured with 3.16.1: short replies, odd byte
counts, another function and transaction 0 pass as good; on a serial line so does the late answer to an older request;
an unknown function code raises inside of its protocol). Each byte goes to a `Listener` instead, which judges and ends
the waiting.

A frame is built once for each request; only the transaction number of a TCP frame changes. The deadline is one timer of
the connection, set anew when it finds that the request under way has time left: a timer for each request is a fifth of
what a poll costs, and a farm's thousands of them slow every other timer of the loop down.
"""

import asyncio
import errno
import fcntl
import logging
import os
import termios
from collections.abc import Awaitable, Callable
from contextlib import suppress
from typing import Any, Final, Protocol

from pymodbus.client import AsyncModbusSerialClient, AsyncModbusTcpClient
from pymodbus.framer import FramerBase, FramerSocket, FramerType
from pymodbus.pdu import ModbusPDU
from pymodbus.pdu.bit_message import ReadCoilsRequest, ReadDiscreteInputsRequest
from pymodbus.pdu.register_message import ReadHoldingRegistersRequest, ReadInputRegistersRequest

from modbus.frames import Request
from modbus.signals import (
    READ_COILS,
    READ_DISCRETE_INPUTS,
    READ_HOLDING_REGISTERS,
    READ_INPUT_REGISTERS,
)

_READING: Final[dict[int, type[ModbusPDU]]] = {
    READ_COILS: ReadCoilsRequest,
    READ_DISCRETE_INPUTS: ReadDiscreteInputsRequest,
    READ_HOLDING_REGISTERS: ReadHoldingRegistersRequest,
    READ_INPUT_REGISTERS: ReadInputRegistersRequest,
}

_NUMBER: Final = 2
"""Bytes of the transaction number, the first of a TCP frame. Source: Messaging on TCP/IP V1.0b, 3.1.3."""
_HAIR_S: Final = 0.0005
"""A timer may fire so much early."""
_PSEUDO: Final = range(136, 144)
"""Major numbers of pseudo-terminals. Source: Linux, admin-guide/devices.txt."""
_SET_UP_S: Final = 1.0
"""The library's serial port is ready a turn of the event loop or two after its `connect` says so."""

Client = AsyncModbusTcpClient | AsyncModbusSerialClient
Explain = Callable[[str, int | None, str], str]
"""(where, the system's error number and its words) -> why it cannot be opened, and the mend."""


class Listener(Protocol):
    """Who judges what is sent and what comes."""

    def sending(self, frame: bytes) -> None:
        """A request is about to leave. Raises AssertionError for one that must not: the last gate before the wire."""

    def received(self, data: bytes) -> None:
        """Bytes came, whoever they are from."""

    def lost(self) -> None:
        """The connection or the port is gone."""


class Carrier:
    """One connection or one serial port. `open` may follow `close`; reconnecting is the owner's affair."""

    def __init__(self, name: str, make: Callable[..., Client], explain: Explain, listener: Listener) -> None:
        self.name = name
        self.is_open = False
        self._make = make
        self._explain = explain
        self._listener = listener
        self._client: Client | None = None
        self._requests: dict[Request, ModbusPDU] = {}  # as many as the site has blocks
        self._frames: dict[Request, bytes] = {}  # the same on the wire; of TCP frames what follows the number
        self._waiting: asyncio.Future[None] | None = None  # somebody waits for the end of a request
        self._due_s = 0.0
        self._deadline: asyncio.TimerHandle | None = None
        self._up = asyncio.Event()
        self._fault: tuple[int | None, str] = (None, "")
        self._numbered = False
        self._write_now: Callable[[], None] | None = None

    async def open(self, timeout_s: float) -> str:
        """Connect; "" when that worked, else why it did not."""
        self.close()
        _quiet_library()
        self._up, self._fault = asyncio.Event(), (None, "no answer in time")
        client = self._make(
            timeout=timeout_s,
            retries=0,
            reconnect_delay=0,
            trace_packet=_nothing_passes,
            trace_connect=self._connect,
        )
        client.ctx.data_received = self._listener.received  # type: ignore[method-assign] # past the library
        self._numbered = isinstance(client.ctx.framer, FramerSocket)
        client.ctx.call_create = self._kept(client.ctx.call_create)  # type: ignore[assignment]
        self._client = client
        if not await client.connect():
            self.close()
            return self._explain(self.name, *self._fault)
        try:
            async with asyncio.timeout(_SET_UP_S):
                await self._up.wait()
            _set_exclusive(client, True)
        except (TimeoutError, OSError) as error:
            self.close()
            return f"{self.name} was lost while it was opened ({error or 'no answer of the system'})"
        transport: Any = client.ctx.transport
        self._write_now = getattr(transport, "intern_write_ready", None)
        self.is_open = client.connected
        return "" if self.is_open else f"{self.name} was lost while it was opened"

    def _kept(self, create: Callable[[], Awaitable[Any]]) -> Callable[[], Awaitable[Any]]:
        """The library says only that it could not connect; keep why. (A port refuses settings with other errors.)"""

        async def creating() -> Any:
            try:
                return await create()
            except (OSError, ValueError, termios.error) as fault:
                # Not the error itself: it would keep a port alive that was opened and then refused its settings.
                self._fault = (getattr(fault, "errno", None), str(fault))
                raise ConnectionRefusedError(str(fault)) from fault

        return creating

    async def ask(self, request: Request, timeout_s: float) -> None:
        """Send a reading request and return when the listener ended the waiting, the deadline came, or it was lost."""
        client = self._client
        assert client is not None, "asked before open"
        context = client.ctx
        if not context.transport:
            self._listener.lost()
            return
        frame = self._frames.get(request) or self._built(context.framer, request)
        if self._numbered:
            frame = context.getNextTID().to_bytes(2, "big") + frame
        self._listener.sending(frame)
        loop = asyncio.get_running_loop()
        self._waiting = waiting = loop.create_future()
        self._due_s = due_s = loop.time() + timeout_s
        if self._deadline is None or self._deadline.when() > due_s:
            self._set_deadline(loop)
        try:
            context.send(frame)
            if self._write_now is not None:
                self._write_now()  # a serial port of the library would begin only in the loop's next turn
            await waiting
        finally:
            self._waiting = None

    def _built(self, framer: FramerBase, request: Request) -> bytes:
        """A request's frame, kept from then on."""
        pdu = self._requests.get(request)
        if pdu is None:
            pdu = _READING[request.function](dev_id=request.unit, address=request.start, count=request.quantity)
            self._requests[request] = pdu
        frame = framer.buildFrame(pdu)
        self._frames[request] = kept = frame[_NUMBER:] if self._numbered else frame
        return kept

    def _set_deadline(self, loop: asyncio.AbstractEventLoop) -> None:
        if self._deadline is not None:
            self._deadline.cancel()
        self._deadline = loop.call_at(self._due_s, self._look_at_clock, loop)

    def _look_at_clock(self, loop: asyncio.AbstractEventLoop) -> None:
        """The deadline of a request has come, of the one under way or of one that is over since."""
        self._deadline = None
        if self._waiting is None:
            return
        if loop.time() < self._due_s - _HAIR_S:
            self._set_deadline(loop)
        else:
            self.end_waiting()

    def end_waiting(self) -> None:
        """The request under way is over, whatever came of it."""
        if self._waiting is not None and not self._waiting.done():
            self._waiting.set_result(None)

    def close(self) -> None:
        self.is_open = False
        self._write_now = None
        if self._deadline is not None:
            self._deadline.cancel()
            self._deadline = None
        if self._client is not None:
            with suppress(OSError):
                _set_exclusive(self._client, False)
            self._client.close()
            self._client = None

    def _connect(self, connected: bool) -> None:
        """The library tells that the connection is up or gone."""
        if connected:
            self._up.set()
            return
        self.is_open = False
        self._listener.lost()
        self.end_waiting()  # waiting out the deadline would help nobody


def _nothing_passes(sending: bool, data: bytes) -> bytes:
    """What the library would send or take of its own accord: `Carrier` does both past it."""
    raise AssertionError(f"the library was about to {'send' if sending else 'judge'} {data.hex(' ')} by itself")


def tcp_carrier(host: str, port: int, listener: Listener) -> Carrier:
    """Modbus TCP frames to a server or gateway."""

    def make(**settings: Any) -> Client:
        return AsyncModbusTcpClient(host, port=port, **settings)

    return Carrier(f"{host} port {port}", make, _no_connection, listener)


def rtu_over_tcp_carrier(host: str, port: int, listener: Listener) -> Carrier:
    """Serial frames through a network, to a gateway that hands them on as they are."""

    def make(**settings: Any) -> Client:
        return AsyncModbusTcpClient(host, port=port, framer=FramerType.RTU, **settings)

    return Carrier(f"{host} port {port}", make, _no_connection, listener)


def serial_carrier(device: str, baud: int, parity: str, stop_bits: int, listener: Listener) -> Carrier:
    """Serial frames on a port of this machine, which is opened for us alone."""

    def make(**settings: Any) -> Client:
        possible = _possible_parity(device, parity)
        return AsyncModbusSerialClient(device, baudrate=baud, parity=possible, stopbits=stop_bits, **settings)

    return Carrier(device, make, _no_port, listener)


def _no_connection(name: str, number: int | None, words: str) -> str:
    return f"no connection to {name}: {'nobody listens there' if number == errno.ECONNREFUSED else words}"


def _no_port(name: str, number: int | None, words: str) -> str:
    if number in (errno.EAGAIN, errno.EBUSY):
        return f"{name} is held by another program; stop that one, only one may ask on a line"
    if number in (errno.ENOENT, errno.ENODEV, errno.ENXIO):
        return f"there is no {name}; plug the adapter in, or correct the bus's device"
    if number == errno.EACCES:
        return f"no permission to open {name}; add the daemon's user to the group of the device"
    return f"{name} cannot be opened: {words}"


def _possible_parity(device: str, parity: str) -> str:
    """A pseudo-terminal has no parity, and refuses to be given one."""
    try:
        pseudo = os.major(os.stat(device).st_rdev) in _PSEUDO
    except OSError:
        pseudo = False
    return "N" if pseudo else parity


def _set_exclusive(client: Client, exclusive: bool) -> None:
    """The library locks a port by advice, which only those who ask for it notice; this makes the system refuse all.

    (All but the system's administrator. Undone before closing, as a pseudo-terminal remembers it.)
    """
    port = getattr(client.ctx.transport, "sync_serial", None)
    if port is not None:
        fcntl.ioctl(port.fileno(), termios.TIOCEXCL if exclusive else termios.TIOCNXCL)


def _quiet_library() -> None:
    """Each silent unit is an ERROR line of the library; the collector logs the change once. A set level is kept."""
    logger = logging.getLogger("pymodbus.logging")
    if logger.level == logging.NOTSET:
        logger.setLevel(logging.CRITICAL)
