"""Is this the answer to that question? Strict checks of a reply against its request.

Nothing is repaired and nothing is guessed: a reply is the registers that were asked for, an exception, or wrong, and
then the text says why. Which unit and which transaction a frame belongs to is read from its envelope before.
"""

import struct
from enum import StrEnum
from typing import NamedTuple

from modbus.errors import exception_name
from modbus.frames import EXCEPTION_FLAG, Request
from modbus.signals import BIT_FUNCTIONS

Registers = tuple[int, ...]
"""What was read, in the order of the wire: registers 0 to 65535, or bits 0 and 1 for functions 1 and 2."""


class FailureKind(StrEnum):
    TIMEOUT = "timeout"  # nothing came that could be an answer
    WRONG_REPLY = "wrong-reply"  # something came that is no answer to this request
    EXCEPTION = "exception"  # the unit, or a gateway before it, refused


class Failure(NamedTuple):
    """Why a request brought no registers. `text` is for people; `exception_code` only with EXCEPTION."""

    kind: FailureKind
    text: str
    exception_code: int = 0


def check(request: Request, unit: int, pdu: bytes) -> Registers | Failure:
    """The registers of a reply to this request, or what is wrong with it. `unit` is who the reply says it is from."""
    if unit != request.unit:
        return _wrong(f"reply of unit {unit} to a request to unit {request.unit}")
    if not pdu:
        return _wrong("empty reply")
    function = pdu[0]
    if function == request.function | EXCEPTION_FLAG:
        if len(pdu) != 2 or pdu[1] == 0:
            return _wrong(f"exception reply {pdu.hex(' ')} without a code of one byte")
        return Failure(FailureKind.EXCEPTION, f"exception {pdu[1]:02X}, {exception_name(pdu[1])}", pdu[1])
    if function != request.function:
        return _wrong(f"reply of function {function} to a request of function {request.function}")
    bits = request.function in BIT_FUNCTIONS
    expected = (request.quantity + 7) // 8 if bits else 2 * request.quantity
    counted = pdu[1] if len(pdu) > 1 else 0
    if counted != expected or len(pdu) != 2 + expected:
        return _wrong(
            f"reply counts {counted} data bytes and brings {max(0, len(pdu) - 2)}; "
            f"{request.quantity} {'bits' if bits else 'registers'} are {expected}"
        )
    if not bits:
        return struct.unpack_from(f">{request.quantity}H", pdu, 2)
    packed = int.from_bytes(pdu[2:], "little")
    return tuple(packed >> place & 1 for place in range(request.quantity))


def _wrong(text: str) -> Failure:
    return Failure(FailureKind.WRONG_REPLY, text)
