"""Modbus TCP: cuts what comes into frames and judges each against the request under way.

The transaction number ties a reply to its request, so a late one is told from a right one and nothing has to be waited
out. Bytes that cannot be cut into frames leave the stream without a way back into step: the connection is closed. So is
it where an answer was cut short and the late reply to an earlier request filled its place: the frame looks whole then,
and its registers are another reply's head.
"""

import time
from collections import deque
from collections.abc import Callable
from typing import Final

from collector.carrier import tcp_carrier
from modbus.frames import MBAP_HEADER, Request, read_mbap
from modbus.reply import Failure, FailureKind, Registers, check
from modbus.signals import READ_FUNCTIONS


class TcpLine:
    """A connection to a Modbus TCP server or gateway."""

    rest_s = 0.0
    echoes = False

    def __init__(self, host: str, port: int, timeout_ms: int) -> None:
        self._timeout_ms = timeout_ms
        self._judge = _Judge()
        self._carrier = tcp_carrier(host, port, self._judge)
        self._judge.end_waiting = self._carrier.end_waiting
        self.took_ms = 0.0

    @property
    def is_open(self) -> bool:
        return self._carrier.is_open

    @property
    def strays(self) -> int:
        return self._judge.late

    async def open(self) -> str:
        self._judge.forget()
        return await self._carrier.open(self._timeout_ms / 1000)

    async def exchange(
        self, unit: int, function: int, start: int, quantity: int, timeout_ms: float | None = None
    ) -> Registers | Failure:
        if not self.is_open:
            self.took_ms = 0.0
            return Failure(FailureKind.TIMEOUT, f"not connected to {self._carrier.name}")
        patience_ms = self._timeout_ms if timeout_ms is None else min(timeout_ms, self._timeout_ms)
        judge = self._judge
        request = Request(unit, function, start, quantity)
        judge.expect(request)
        began_s = time.monotonic()
        try:
            await self._carrier.ask(request, patience_ms / 1000)
        finally:
            judge.settle()
            self.took_ms = (time.monotonic() - began_s) * 1000.0
        if judge.verdict is not None:
            return judge.verdict
        if judge.out_of_step or judge.partial:
            self.close()
        if judge.strange or judge.partial:
            return Failure(FailureKind.WRONG_REPLY, judge.strange or f"reply cut short after {judge.partial} bytes")
        if judge.gone:
            return Failure(FailureKind.TIMEOUT, "the connection was lost while waiting for the answer")
        return Failure(FailureKind.TIMEOUT, f"no answer within {patience_ms:.0f} ms")

    def close(self) -> None:
        self._carrier.close()


RECENT: Final = 16
"""Requests of a connection whose replies may still come."""
_TO_LENGTH: Final = 5
"""Transaction, protocol and the upper byte of the length, which is 0 in every frame."""
_SWALLOWED: Final = "reply cut short, and another reply begins within it"


def _refusing(sent: bytes) -> bytes:
    """Unit and function of an exception in reply to a request."""
    return bytes((sent[6], sent[7] | 0x80))


def _nothing() -> None:
    """Nobody waits yet."""


class _Judge:
    """What came since the last request was sent, and what it is.

    verdict: the answer to the request under way. strange: what came instead of one. out_of_step: the stream can no
    longer be cut into frames. partial: bytes of a frame that never became whole. gone: the connection is lost. late:
    replies to older requests, ever.
    """

    __slots__ = (
        "_kept", "_recent", "_sent", "_transaction", "_unsettled", "end_waiting", "gone", "late", "out_of_step",
        "partial", "request", "strange", "verdict",
    )  # fmt: skip

    def __init__(self) -> None:
        self.end_waiting: Callable[[], None] = _nothing
        self.late = 0
        self.forget()

    def forget(self) -> None:
        """A new connection: nothing came yet, and numbers begin anew."""
        self.request: Request | None = None
        self.verdict: Registers | Failure | None = None
        self.strange = ""
        self.out_of_step = False
        self.partial = 0
        self.gone = False
        self._transaction = 0
        self._sent = b""
        self._recent: deque[bytes] = deque(maxlen=RECENT)
        self._unsettled = 0
        self._kept = bytearray()

    def expect(self, request: Request) -> None:
        self.request = request
        self.verdict = None
        self.strange = ""
        self.partial = 0
        self._kept.clear()

    def settle(self) -> None:
        """Nobody waits for the request any more; without a verdict its reply may still come."""
        self.request = None
        if self.verdict is None:
            self._unsettled = RECENT
        elif self._unsettled:
            self._unsettled -= 1

    def lost(self) -> None:
        self.gone = True

    def sending(self, frame: bytes) -> None:
        if frame[MBAP_HEADER] not in READ_FUNCTIONS:
            raise AssertionError(f"function {frame[MBAP_HEADER]} was about to be sent; only reading ever is")
        self._sent = frame
        self._transaction = int.from_bytes(frame[:2], "big")
        self._recent.append(frame)
        self._kept.clear()

    def received(self, data: bytes) -> None:
        """Judge what came since the request was sent, and end the waiting when that settles it."""
        request = self.request
        if request is None or self.verdict is not None or self.out_of_step:
            return
        kept = self._kept
        if not kept and not self._unsettled and self._is_whole_answer(data):
            self.verdict = check(request, request.unit, data[MBAP_HEADER:])
            self.end_waiting()
            return
        kept += data
        at = 0
        while (header := read_mbap(kept, at)) is not None:
            if header.fault:
                self.strange, self.out_of_step = header.fault, True
                self.end_waiting()
                return
            if len(kept) - at < header.size:
                break
            if self._swallowed(kept, at, at + header.size):
                self.strange, self.out_of_step = _SWALLOWED, True
                self.end_waiting()
                return
            pdu = bytes(kept[at + MBAP_HEADER : at + header.size])
            at += header.size
            if header.transaction != self._transaction:
                self._foreign(header.transaction)
            elif header.unit != request.unit:
                self.strange = f"reply of unit {header.unit} to a request to unit {request.unit}"
            else:
                self.verdict = check(request, header.unit, pdu)
                self.end_waiting()
                return
        self.partial = len(kept) - at
        del kept[:at]

    def _is_whole_answer(self, data: bytes) -> bool:
        """The usual case told in one look: just one frame, with transaction, protocol and unit of the request."""
        sent, size = self._sent, len(data)
        return size > MBAP_HEADER and data[:4] == sent[:4] and data[4] << 8 | data[5] == size - 6 and data[6] == sent[6]

    def _swallowed(self, stream: bytearray, begin: int, end: int) -> bool:
        """Whether the reply to a recent request begins within a frame: transaction, protocol, unit and function of it,
        seven bytes that registers do not hold by chance."""
        for sent in self._recent:
            at = stream.find(sent[:_TO_LENGTH], begin + 1, end + _TO_LENGTH - 1)
            if at >= 0 and stream[at + _TO_LENGTH + 1 : at + MBAP_HEADER + 1] in (sent[6:8], _refusing(sent)):
                return True
        return False

    def _foreign(self, transaction: int) -> None:
        """A number that was used before on this connection is a late reply, which is no fault of the frame."""
        if 0 < transaction < self._transaction:
            self.late += 1
        else:
            self.strange = f"reply of transaction {transaction} to a request of transaction {self._transaction}"
