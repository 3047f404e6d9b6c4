"""What a peer does instead of answering as it should: one function each, from a question to what is sent and when.

Pure: neither sockets nor clocks are known here. Times are seconds from the question's arrival.
"""

from collections.abc import Callable
from typing import Final, NamedTuple

from modbus.frames import EXCEPTION_FLAG, rtu_frame, tcp_frame

RESET: Final = "reset"
CLOSE: Final = "close"
TCP: Final = "tcp"
RTU: Final = "rtu"
RTU_OVER_TCP: Final = "rtu-over-tcp"
ALL: Final = frozenset({TCP, RTU, RTU_OVER_TCP})
SERIAL: Final = frozenset({RTU, RTU_OVER_TCP})
NETWORK: Final = frozenset({TCP, RTU_OVER_TCP})


class Step(NamedTuple):
    """After so long, send these bytes, or cut the connection (RESET, CLOSE)."""

    after_s: float
    act: bytes | str


class Question(NamedTuple):
    """A request as it came, and its right answer. `earlier`: the right answer's frame to the request before it.

    late_s: how late a late answer is.
    """

    kind: str
    asked: bytes
    transaction: int
    unit: int
    pdu: bytes
    right: bytes
    earlier: bytes
    late_s: float

    def frame(self, pdu: bytes | None = None, unit: int | None = None, transaction: int | None = None) -> bytes:
        """A reply frame; without more said, the right one."""
        pdu = self.right if pdu is None else pdu
        unit = self.unit if unit is None else unit
        if self.kind == TCP:
            return tcp_frame(self.transaction if transaction is None else transaction, unit, pdu)
        return rtu_frame(unit, pdu)


Deed = Callable[[Question], list[Step]]


class Misdeed(NamedTuple):
    """kinds: the wires on which it means something. harmless: the right answer can still be found in it, and must be.

    A misdeed that is harmless on serial lines only (noise before a frame puts a TCP stream out of step) says so in its
    kinds by being there twice, under two names.
    """

    deed: Deed
    kinds: frozenset[str] = ALL
    harmless: bool = False


def _say(*frames: bytes, apart_s: float = 0.0, after_s: float = 0.0) -> list[Step]:
    return [Step(after_s + n * apart_s, frame) for n, frame in enumerate(frames)]


def _exception(code: int) -> Misdeed:
    return Misdeed(lambda q: _say(q.frame(bytes((q.pdu[0] | EXCEPTION_FLAG, code)))))


def _noise(noise: bytes, kinds: frozenset[str], harmless: bool) -> Misdeed:
    return Misdeed(lambda q: _say(noise + q.frame()), kinds, harmless)


def _counted(right: bytes, count: int, data: bytes) -> bytes:
    return right[:1] + bytes((count,)) + data


NOISE: Final = (
    b"\x00",
    b"\xff",
    b"\x01",
    b"\x03\x03",
    b"\x10\x11\x01\x83",
    b"\x01\x03\x08\x00\x01",
    b"\x11\x04\xff" * 3,
)
"""Bytes before a frame that look like the start of another: unit numbers that are function numbers too."""

MISDEEDS: Final[dict[str, Misdeed]] = {
    "silence": Misdeed(lambda q: []),
    "late": Misdeed(lambda q: _say(q.frame(), after_s=q.late_s)),
    "late and twice": Misdeed(lambda q: _say(q.frame(), q.frame(), after_s=q.late_s, apart_s=0.002)),
    "wrong unit": Misdeed(lambda q: _say(q.frame(unit=q.unit % 247 + 1))),
    "wrong unit first": Misdeed(lambda q: _say(q.frame(unit=q.unit % 247 + 1) + q.frame()), harmless=True),
    "wrong transaction": Misdeed(lambda q: _say(q.frame(transaction=q.transaction + 1)), frozenset({TCP})),
    "transaction zero": Misdeed(lambda q: _say(q.frame(transaction=0)), frozenset({TCP})),
    "wrong protocol": Misdeed(lambda q: _say(q.frame()[:2] + b"\0\1" + q.frame()[4:]), frozenset({TCP})),
    "wrong length field": Misdeed(lambda q: _say(q.frame()[:5] + b"\x30" + q.frame()[6:]), frozenset({TCP})),
    "wrong CRC": Misdeed(lambda q: _say(q.frame()[:-1] + bytes((q.frame()[-1] ^ 1,))), SERIAL),
    "wrong function": Misdeed(lambda q: _say(q.frame(bytes((q.pdu[0] ^ 7,)) + q.right[1:]))),
    "unknown function": Misdeed(lambda q: _say(q.frame(b"\x63\x00"))),
    "exception of another function": Misdeed(lambda q: _say(q.frame(bytes((q.pdu[0] ^ 0x87, 2))))),
    "exception without a code": Misdeed(lambda q: _say(q.frame(bytes((q.pdu[0] | EXCEPTION_FLAG,))))),
    "short count": Misdeed(lambda q: _say(q.frame(_counted(q.right, len(q.right) - 4, q.right[2:-2])))),
    "long count": Misdeed(lambda q: _say(q.frame(_counted(q.right, len(q.right), q.right[2:] + b"\xff\xff")))),
    "count above the data": Misdeed(lambda q: _say(q.frame(_counted(q.right, len(q.right), q.right[2:])))),
    "count below the data": Misdeed(lambda q: _say(q.frame(_counted(q.right, len(q.right) - 4, q.right[2:])))),
    "odd count": Misdeed(lambda q: _say(q.frame(_counted(q.right, len(q.right) - 1, q.right[2:] + b"\0")))),
    "truncated": Misdeed(lambda q: _say(q.frame()[:-3])),
    "start only": Misdeed(lambda q: _say(q.frame()[:2])),
    "garbage only": Misdeed(lambda q: _say(b"\xde\xad\xbe\xef" * 5)),
    "much garbage": Misdeed(lambda q: _say(b"\x5a\xa5\x03" * 3000)),
    "garbage after": Misdeed(lambda q: _say(q.frame() + b"\xff\x00\xff"), harmless=True),
    "garbage before": _noise(b"\xff\xff", frozenset({TCP}), False),
    "noise on the line before": _noise(b"\xff\xff", SERIAL, True),
    **{f"noise {noise[:5].hex()}": _noise(noise, SERIAL, True) for noise in NOISE},
    "duplicate": Misdeed(lambda q: _say(q.frame(), q.frame()), harmless=True),
    "duplicate in one": Misdeed(lambda q: _say(q.frame() + q.frame()), harmless=True),
    "duplicate later": Misdeed(lambda q: _say(q.frame(), q.frame(), apart_s=0.012), harmless=True),
    "earlier one first": Misdeed(lambda q: _say(q.earlier + q.frame()), frozenset({TCP}), True),
    "earlier one in one breath": Misdeed(lambda q: _say(q.earlier + q.frame()), SERIAL),
    "byte by byte": Misdeed(lambda q: _say(*(bytes((b,)) for b in q.frame()), apart_s=0.0005), harmless=True),
    "in two pieces": Misdeed(lambda q: _say(q.frame()[:5], q.frame()[5:], apart_s=0.006), harmless=True),
    "echo": Misdeed(lambda q: _say(q.asked, q.frame(), apart_s=0.002), SERIAL, True),
    "echo in one": Misdeed(lambda q: _say(q.asked + q.frame()), SERIAL, True),
    "echo only": Misdeed(lambda q: _say(q.asked), SERIAL),
    **{f"exception {code:02X}": _exception(code) for code in range(1, 12)},
    "reset": Misdeed(lambda q: _say_act(RESET), NETWORK),
    "close": Misdeed(lambda q: _say_act(CLOSE), NETWORK),
    "half and close": Misdeed(lambda q: [*_say(q.frame()[:6]), Step(0.001, CLOSE)], NETWORK),
}


def _say_act(act: str) -> list[Step]:
    return [Step(0.0, act)]
