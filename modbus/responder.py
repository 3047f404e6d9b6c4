"""A read-only Modbus responder: bytes in, bytes out. Sockets, ports and time belong to its caller.

One object serves one connection (or one serial line). Any input is legal: nothing that comes in raises, and no more
than one frame is ever kept. Functions other than 1 to 4 are answered with exception 01, so nothing can be written.
Order of refusal: function (01), quantity (03), address (02). Source: Modbus Application Protocol V1.1b3, 6 and 7.
"""

import struct
from collections.abc import Container, Sequence
from typing import Final, Protocol

from modbus import errors
from modbus.errors import BadFrame, ModbusException
from modbus.frames import (
    BROADCAST,
    EXCEPTION_FLAG,
    MAX_RTU_ADU,
    MBAP_HEADER,
    crc16,
    most,
    read_mbap,
    rtu_frame,
    split_rtu_frame,
    tcp_frame,
)
from modbus.signals import BIT_FUNCTIONS, LAST_ADDRESS, READ_FUNCTIONS


class Registers(Protocol):
    """Where a responder gets its numbers. Called once for each request, at the moment of the request."""

    def registers(self, unit: int, function: int, start: int, count: int) -> Sequence[int] | None:
        """`count` registers, 0 to 65535 (functions 1 and 2: bits, 0 or 1); None = stay silent, as a dead unit does.

        Raise `ModbusException(code)` for an exception reply: 02 for an address that is not there, 0x0B for a unit
        that does not exist behind a gateway. The reach of 125 registers and of address 65535 is checked before.
        """


def answer(source: Registers, unit: int, pdu: bytes) -> bytes | None:
    """The reply PDU to a request PDU; None for silence."""
    function = pdu[0]
    try:
        if function not in READ_FUNCTIONS:
            raise ModbusException(errors.ILLEGAL_FUNCTION)
        if len(pdu) != 5:
            raise ModbusException(errors.ILLEGAL_DATA_VALUE)
        start, count = struct.unpack(">HH", pdu[1:])
        if not 1 <= count <= most(function):
            raise ModbusException(errors.ILLEGAL_DATA_VALUE)
        if start + count > LAST_ADDRESS + 1:
            raise ModbusException(errors.ILLEGAL_DATA_ADDRESS)
        values = source.registers(unit, function, start, count)
        return None if values is None else _reply(function, count, values)
    except ModbusException as refusal:
        return bytes((function | EXCEPTION_FLAG, refusal.code))


def _reply(function: int, count: int, values: Sequence[int]) -> bytes:
    """A source that gives too few, too many or too large numbers is a broken device: exception 04, no false data."""
    if len(values) != count:
        raise ModbusException(errors.SERVER_DEVICE_FAILURE)
    if function in BIT_FUNCTIONS:
        packed = 0
        for place, bit in enumerate(values):
            packed |= bool(bit) << place
        data = packed.to_bytes((count + 7) // 8, "little")
    else:
        try:
            data = struct.pack(f">{count}H", *values)
        except struct.error:
            raise ModbusException(errors.SERVER_DEVICE_FAILURE) from None
    return bytes((function, len(data))) + data


class TcpResponder:
    """Answers the byte stream of one TCP connection.

    Requests sent in one burst are all answered, in order, each under its own transaction number. A stream that is not
    Modbus (see `fault`) is read no further: the caller should close the connection, as there is no way back into step.
    """

    def __init__(self, source: Registers) -> None:
        self._source = source
        self._kept = bytearray()
        self._fault = ""

    @property
    def fault(self) -> str:
        """Why the stream cannot be read any further; "" while it can."""
        return self._fault

    def feed(self, data: bytes) -> bytes:
        """Take received bytes, give the bytes to send (b"" when there is nothing to say)."""
        if self._fault:
            return b""
        kept = self._kept
        kept += data
        replies: list[bytes] = []
        at = 0
        while (header := read_mbap(kept, at)) is not None:
            if header.fault:
                self._fault = header.fault
                at = len(kept)
                break
            if len(kept) - at < header.size:
                break
            reply = answer(self._source, header.unit, bytes(kept[at + MBAP_HEADER : at + header.size]))
            if reply is not None:
                replies.append(tcp_frame(header.transaction, header.unit, reply))
            at += header.size
        del kept[:at]
        return b"".join(replies)


_RTU_SIZES: Final = {1: 8, 2: 8, 3: 8, 4: 8, 5: 8, 6: 8, 7: 4, 8: 8, 11: 4, 12: 4, 17: 4, 22: 10, 24: 6}
"""Bytes of a serial request whose function fixes its length (V1.1b3, 6)."""
_RTU_COUNTED: Final = {15: (6, 9), 16: (6, 9), 20: (2, 5), 21: (2, 5), 23: (10, 13)}
"""Function: (place of the byte count, bytes beside the counted ones)."""


class RtuResponder:
    """Answers the byte stream of a serial line, or of RTU frames over TCP.

    A frame is known by its length and CRC; what does not fit is skipped byte by byte until something does (noise, and
    other units' replies on a shared line). Where the caller can tell the silence of 3.5 characters, it calls
    `silence()`: the line is then at a frame's start again. `units`: the only ones answered; None leaves it to the
    source.
    """

    def __init__(self, source: Registers, units: Container[int] | None = None) -> None:
        self._source = source
        self._units = units
        self._kept = bytearray()
        self._since = bytearray()  # all since the last silence or frame, one byte more than a frame at most

    def feed(self, data: bytes) -> bytes:
        """Take received bytes, give the bytes to send."""
        kept = self._kept
        kept += data
        self._since += data[: MAX_RTU_ADU + 1 - len(self._since)]
        replies: list[bytes] = []
        at = 0
        while (size := _rtu_size(kept, at)) >= 0:
            if size == 0 or crc16(kept[at : at + size]) != 0:
                at += 1
                continue
            replies.append(self._answer(bytes(kept[at : at + size])))
            at += size
            self._since[:] = kept[at : at + MAX_RTU_ADU + 1]
        del kept[:at]
        return b"".join(replies)

    def silence(self) -> bytes:
        """The line was quiet for 3.5 characters: what came since the last frame is one frame or none."""
        frame = bytes(self._since)
        self._kept.clear()
        self._since.clear()
        return self._answer(frame)

    def _answer(self, frame: bytes) -> bytes:
        try:
            unit, pdu = split_rtu_frame(frame)
        except BadFrame:
            return b""
        if unit == BROADCAST or (self._units is not None and unit not in self._units):
            return b""
        reply = answer(self._source, unit, pdu)
        return b"" if reply is None else rtu_frame(unit, reply)


def _rtu_size(kept: bytearray, at: int) -> int:
    """Bytes of the request that starts here; 0 = none can start here; -1 = more bytes are needed to tell."""
    have = len(kept) - at
    if have < 2:
        return -1
    function = kept[at + 1]
    size = _RTU_SIZES.get(function, 0)
    if function in _RTU_COUNTED:
        place, beside = _RTU_COUNTED[function]
        if have <= place:
            return -1
        size = beside + kept[at + place]
        if size > MAX_RTU_ADU:
            return 0
    return size if have >= size else -1
