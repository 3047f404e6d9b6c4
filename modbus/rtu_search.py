"""The answer on a serial line, found among what came: noise, our own echo, other units' frames, copies.

Pure. A serial frame has no number that ties it to its request; what can be checked is unit, function, byte count and
CRC, and all four are. Where two different answers came to one question, neither is taken. Which frames came at a time
when they can belong to an older request is not known here: that is what the quiet time of the line is for.
"""

from typing import Final, NamedTuple

from modbus.frames import EXCEPTION_FLAG, MAX_RTU_ADU, Request, crc16
from modbus.reply import Failure, FailureKind, Registers, check

SHORTEST_REPLY: Final = 5
"""Bytes of an exception reply with unit and CRC; no reply is shorter."""
_SHOWN: Final = 16
_COUNTED: Final = frozenset({1, 2, 3, 4, 12, 17, 20, 21, 23})
"""Functions whose reply tells its length in its third byte (V1.1b3, 6)."""
_FIXED: Final = {5: 8, 6: 8, 7: 5, 8: 8, 11: 8, 15: 8, 16: 8, 22: 10}
"""Bytes of the replies whose length is fixed."""


class Finding(NamedTuple):
    """What a search brought. verdict: the answer, or a reply of the asked unit that is none; None = neither came.

    echo: our own request came back. foreign: the last unit that answered without having been asked, 0 = none did.
    rest: the bytes that belong to no whole frame.
    """

    verdict: Registers | Failure | None
    echo: bool
    foreign: int
    rest: bytes


def search(request: Request, sent: bytes, data: bytes | bytearray) -> Finding:
    """Look for the answer to a request in all that came since it was sent; `sent` is the request's own frame.

    The first copy of the request is taken for the echo of an adapter. (A reply can look the same in one case only:
    17 to 24 bits asked from an address 0x03xx that spell the request's own end. It is then passed over, not believed.)
    """
    verdict: Registers | Failure | None = None
    echo, foreign, at = False, 0, 0
    rest = bytearray()
    while at < len(data):
        if not echo and data.startswith(sent, at):
            echo = True
            at += len(sent)
            continue
        size = frame_size(data, at)
        if not size:
            rest.append(data[at])
            at += 1
            continue
        unit, pdu = data[at], bytes(data[at + 1 : at + size - 2])
        at += size
        if unit != request.unit:
            foreign = unit
            continue
        found = check(request, unit, pdu)
        if verdict is None:
            verdict = found
        elif found != verdict:
            verdict = Failure(FailureKind.WRONG_REPLY, "two different replies to one request")
    return Finding(verdict, echo, foreign, bytes(rest))


def whole_frames(data: bytes | bytearray) -> int:
    """How many replies with a right CRC are in bytes that nobody asked for."""
    at = found = 0
    while at < len(data):
        size = frame_size(data, at)
        found += size > 0
        at += size or 1
    return found


def frame_size(data: bytes | bytearray, at: int) -> int:
    """Bytes of the reply that starts here whole and with a right CRC; 0 = none does."""
    have = len(data) - at
    if have < SHORTEST_REPLY:
        return 0
    function = data[at + 1]
    if function & EXCEPTION_FLAG:
        size = SHORTEST_REPLY
    elif function in _COUNTED:
        size = SHORTEST_REPLY + data[at + 2]
    else:
        size = _FIXED.get(function, MAX_RTU_ADU + 1)
    if size > have or size > MAX_RTU_ADU or crc16(data[at : at + size]) != 0:
        return 0
    return size


def without_answer(request: Request, finding: Finding, waited_ms: float) -> Failure:
    """Why nothing of what came is the answer, for the time when the waiting is over.

    Less than the shortest reply is noise beside a silent unit, unless it looks like the start of its reply.
    """
    rest = finding.rest
    if finding.foreign:
        return _wrong(f"reply of unit {finding.foreign} to a request to unit {request.unit}")
    if len(rest) >= SHORTEST_REPLY and crc16(rest) == 0:  # a frame whose count does not fit its length
        found = check(request, rest[0], rest[1:-2])
        if isinstance(found, Failure):
            return _wrong(found.text)
    starts = (bytes((request.unit, request.function)), bytes((request.unit, request.function | EXCEPTION_FLAG)))
    if len(rest) >= SHORTEST_REPLY or any(start in rest for start in starts):
        shown = rest[:_SHOWN].hex(" ") + (" ..." if len(rest) > _SHOWN else "")
        return _wrong(f"no whole frame with a right CRC in {len(rest)} bytes: {shown}")
    noise = f", only {len(rest)} byte(s) of noise" if rest else ", only the echo of the request" if finding.echo else ""
    return Failure(FailureKind.TIMEOUT, f"no answer within {waited_ms:.0f} ms{noise}")


def _wrong(text: str) -> Failure:
    return Failure(FailureKind.WRONG_REPLY, text)
