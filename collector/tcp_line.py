"""Modbus TCP through pymodbus: the only file that knows this library.

The library carries connection, transaction numbers and the deadline. It does not check what comes (measured with
3.16.1: short replies, odd byte counts, replies of another function and transaction 0 are taken as good; an unknown
function code raises inside of its protocol and drops the connection). So every reply is judged here from its raw bytes,
in the library's trace hook; the library itself sees none of it and only learns that its request is over.
"""

import logging
from collections.abc import Awaitable, Callable
from typing import Any, Final

from pymodbus.client import AsyncModbusTcpClient
from pymodbus.exceptions import ConnectionException, ModbusIOException
from pymodbus.pdu import ModbusPDU

from modbus.frames import MBAP_HEADER, Request, read_mbap
from modbus.reply import Failure, FailureKind, Registers, check
from modbus.signals import (
    READ_COILS,
    READ_DISCRETE_INPUTS,
    READ_FUNCTIONS,
    READ_HOLDING_REGISTERS,
    READ_INPUT_REGISTERS,
)

_NEVER: Final = 1_000_000_000
"""The library hangs up after a few silent requests; a dead unit behind a gateway must not cost the others the line."""
_MOST_KEPT: Final = 65_536
"""Received bytes that the library may hold; its own 264 throws a whole reply away when a late one stands before it."""


class TcpLine:
    """A connection to a Modbus TCP server or gateway. Reconnecting is the owner's affair, not the library's."""

    def __init__(self, host: str, port: int, timeout_ms: int) -> None:
        self._host = host
        self._port = port
        self._timeout_ms = timeout_ms
        self._client: AsyncModbusTcpClient | None = None
        self._read: dict[int, Callable[..., Awaitable[Any]]] = {}
        self._hook = _Hook()

    @property
    def is_open(self) -> bool:
        return self._client is not None and self._client.connected

    async def open(self) -> str:
        self.close()
        _quiet_library()
        self._hook = hook = _Hook()
        client = AsyncModbusTcpClient(
            self._host,
            port=self._port,
            timeout=self._timeout_ms / 1000,
            retries=0,
            reconnect_delay=0,
            trace_packet=hook.packet,
            trace_connect=hook.connect,
        )
        client.set_max_no_responses(_NEVER)
        client.ctx.max_buffer_size = _MOST_KEPT
        hook.client = client
        if not await client.connect():
            return f"no connection to {self._host} port {self._port} within {self._timeout_ms} ms"
        self._client = client
        self._read = {
            READ_COILS: client.read_coils,
            READ_DISCRETE_INPUTS: client.read_discrete_inputs,
            READ_HOLDING_REGISTERS: client.read_holding_registers,
            READ_INPUT_REGISTERS: client.read_input_registers,
        }
        return ""

    async def exchange(self, unit: int, function: int, start: int, quantity: int) -> Registers | Failure:
        if not self.is_open:
            return Failure(FailureKind.TIMEOUT, f"not connected to {self._host} port {self._port}")
        hook = self._hook
        hook.expect(Request(unit, function, start, quantity))
        try:
            await self._read[function](start, count=quantity, device_id=unit)
        except ModbusIOException:
            pass  # the deadline: what came until then stands in the hook
        except ConnectionException:
            hook.lost = True
        finally:
            hook.request = None
        if hook.verdict is not None:
            return hook.verdict
        if hook.out_of_step or hook.partial:
            self.close()
        if hook.strange or hook.partial:
            return Failure(FailureKind.WRONG_REPLY, hook.strange or f"reply cut short after {hook.partial} bytes")
        if hook.lost:
            return Failure(FailureKind.TIMEOUT, "the connection was lost while waiting for the answer")
        return Failure(FailureKind.TIMEOUT, f"no answer within {self._timeout_ms} ms")

    def close(self) -> None:
        if self._client is not None:
            self._client.close()
            self._client = None


class _Hook:
    """Stands between the socket and the library, and judges what comes.

    verdict: the answer to the request under way. strange: what came instead of one. out_of_step: the stream can no
    longer be cut into frames. partial: bytes of a frame that never became whole. lost: the connection is gone.
    """

    __slots__ = ("_transaction", "client", "lost", "out_of_step", "partial", "request", "strange", "verdict")

    def __init__(self) -> None:
        self.client: AsyncModbusTcpClient | None = None
        self.request: Request | None = None
        self.verdict: Registers | Failure | None = None
        self.strange = ""
        self.out_of_step = False
        self.partial = 0
        self.lost = False
        self._transaction = 0

    def expect(self, request: Request) -> None:
        self.request = request
        self.verdict = None
        self.strange = ""
        self.partial = 0

    def connect(self, connected: bool) -> None:
        """The library tells that the connection is up or gone: waiting out the deadline would help nobody."""
        if not connected:
            self.lost = True
            self._end_waiting()

    def packet(self, sending: bool, data: bytes) -> bytes:
        """All bytes go through here: what is sent, and all that was received since the last request was sent."""
        if not sending:
            if self.request is not None and self.verdict is None and not self.out_of_step:
                self._received(data, self.request)
            return b""  # the library takes wrong replies for good ones, or dies of them
        if data[MBAP_HEADER] not in READ_FUNCTIONS:
            raise AssertionError(f"function {data[MBAP_HEADER]} was about to be sent; only reading ever is")
        self._transaction = int.from_bytes(data[:2], "big")
        return data

    def _received(self, data: bytes, request: Request) -> None:
        """Judge all that came since the request was sent, and end the waiting when that settles it."""
        at = 0
        while (header := read_mbap(data, at)) is not None:
            if header.fault:
                self.strange, self.out_of_step = header.fault, True
                self._end_waiting()
                return
            if len(data) - at < header.size:
                break
            pdu = data[at + MBAP_HEADER : at + header.size]
            at += header.size
            if header.transaction != self._transaction:
                self._foreign(header.transaction)
            elif header.unit != request.unit:
                self.strange = f"reply of unit {header.unit} to a request to unit {request.unit}"
            else:
                self.verdict = check(request, header.unit, pdu)
                self._end_waiting()
                return
        self.partial = len(data) - at

    def _end_waiting(self) -> None:
        """Tell the library that its request is over; with what, it need not know."""
        if self.request is None or self.client is None:
            return
        waiting = self.client.ctx.response_future
        if not waiting.done():
            waiting.set_result(ModbusPDU(dev_id=self.request.unit))

    def _foreign(self, transaction: int) -> None:
        """A number that was used before on this connection is a late reply, which is no fault of the frame."""
        if not 0 < transaction < self._transaction:
            self.strange = f"reply of transaction {transaction} to a request of transaction {self._transaction}"


def _quiet_library() -> None:
    """Each silent unit is an ERROR line of the library; the collector logs the change once. A set level is kept."""
    logger = logging.getLogger("pymodbus.logging")
    if logger.level == logging.NOTSET:
        logger.setLevel(logging.CRITICAL)
