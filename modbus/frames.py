"""Requests and frames as bytes: the reading PDU, its TCP (MBAP) and serial (RTU) envelopes, the CRC.

Reading requests only: `read_request` is the sole maker of a request here, and it refuses every function but 1 to 4.
Source of layouts: Modbus Application Protocol V1.1b3, 4 and 6; Messaging on TCP/IP V1.0b, 3.1.3; Serial Line V1.02,
2.5.
"""

import struct
from typing import Final, NamedTuple

from modbus.errors import BadFrame, BadRequest
from modbus.signals import BIT_FUNCTIONS, LAST_ADDRESS, READ_FUNCTIONS

MAX_PDU: Final = 253
MAX_RTU_ADU: Final = 256
MAX_TCP_ADU: Final = 260
MBAP_HEADER: Final = 7
MAX_REGISTERS: Final = 125
MAX_BITS: Final = 2000
EXCEPTION_FLAG: Final = 0x80
DEFAULT_PORT: Final = 502
PROTOCOL: Final = 0
FIRST_UNIT: Final = 1
LAST_UNIT: Final = 247
BROADCAST: Final = 0
UNIT_OF_A_DIRECT_SERVER: Final = 255
CRC_POLYNOMIAL: Final = 0xA001
CRC_PRESET: Final = 0xFFFF

_READ = struct.Struct(">BHH")
_MBAP = struct.Struct(">HHHB")


class Request(NamedTuple):
    """A reading request: what a reply is held against. `quantity` counts registers, or bits with functions 1 and 2."""

    unit: int
    function: int
    start: int
    quantity: int


def most(function: int) -> int:
    """The most registers (or bits) that one request may ask for. Source: V1.1b3, 6.1 to 6.4."""
    return MAX_BITS if function in BIT_FUNCTIONS else MAX_REGISTERS


def read_request(function: int, start: int, count: int) -> bytes:
    """The PDU that reads `count` registers or bits from PDU address `start`. Raises `BadRequest`."""
    if function not in READ_FUNCTIONS:
        raise BadRequest(f"function {function}: only reading (1, 2, 3, 4) is ever sent")
    if not 1 <= count <= most(function):
        raise BadRequest(f"count {count} for function {function}; allowed 1 to {most(function)}")
    if not 0 <= start <= LAST_ADDRESS + 1 - count:
        raise BadRequest(f"start {start} with count {count}; the last address is {LAST_ADDRESS}")
    return _READ.pack(function, start, count)


class Mbap(NamedTuple):
    """The header of a TCP frame. `length` counts the unit and the PDU."""

    transaction: int
    protocol: int
    length: int
    unit: int

    @property
    def size(self) -> int:
        """Bytes of the whole frame."""
        return self.length + 6

    @property
    def fault(self) -> str:
        """Why this cannot head a frame, "" when it can."""
        if self.protocol != PROTOCOL:
            return f"protocol identifier {self.protocol} instead of {PROTOCOL}"
        if not 2 <= self.length <= MAX_PDU + 1:
            return f"length field {self.length}; allowed 2 to {MAX_PDU + 1}"
        return ""


def read_mbap(data: bytes | bytearray, at: int = 0) -> Mbap | None:
    """The header at a place in received bytes, None while it is not there whole."""
    return Mbap._make(_MBAP.unpack_from(data, at)) if len(data) - at >= MBAP_HEADER else None


def tcp_frame(transaction: int, unit: int, pdu: bytes) -> bytes:
    """PDU in its TCP envelope."""
    return _MBAP.pack(transaction, PROTOCOL, len(pdu) + 1, unit) + pdu


def split_tcp_frame(frame: bytes) -> tuple[int, int, bytes]:
    """(transaction, unit, PDU) of one whole TCP frame. Raises `BadFrame`."""
    header = read_mbap(frame)
    if header is None:
        raise BadFrame(f"{len(frame)} bytes; a TCP frame has at least {MBAP_HEADER + 1}")
    if header.fault:
        raise BadFrame(header.fault)
    if header.size != len(frame):
        raise BadFrame(f"length field {header.length} needs {header.size} bytes, not {len(frame)}")
    return header.transaction, header.unit, bytes(frame[MBAP_HEADER:])


def _crc_table() -> tuple[int, ...]:
    table = []
    for value in range(256):
        for _ in range(8):
            value = (value >> 1) ^ CRC_POLYNOMIAL if value & 1 else value >> 1
        table.append(value)
    return tuple(table)


_CRC_TABLE: Final = _crc_table()


def crc16(data: bytes | bytearray) -> int:
    """The CRC register over the bytes; its low byte is sent first. Source: Serial Line V1.02, 6.2.2."""
    crc = CRC_PRESET
    for byte in data:
        crc = (crc >> 8) ^ _CRC_TABLE[(crc ^ byte) & 0xFF]
    return crc


def rtu_frame(unit: int, pdu: bytes) -> bytes:
    """PDU in its serial envelope."""
    body = bytes((unit,)) + pdu
    return body + crc16(body).to_bytes(2, "little")


def split_rtu_frame(frame: bytes) -> tuple[int, bytes]:
    """(unit, PDU) of one whole serial frame. Raises `BadFrame`."""
    if not 4 <= len(frame) <= MAX_RTU_ADU:
        raise BadFrame(f"{len(frame)} bytes; a serial frame has 4 to {MAX_RTU_ADU}")
    sent = int.from_bytes(frame[-2:], "little")
    right = crc16(frame[:-2])
    if sent != right:
        raise BadFrame(f"CRC {sent:#06x} instead of {right:#06x}")
    return frame[0], bytes(frame[1:-2])
