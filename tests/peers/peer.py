"""The peer itself: counts requests, knows the right answer, and does what it was told instead. No sockets, no clock."""

from collections.abc import Collection

from modbus.errors import GATEWAY_TARGET_FAILED
from modbus.frames import MBAP_HEADER, crc16, read_mbap
from modbus.responder import answer
from tests.peers.misdeeds import MISDEEDS, RTU, TCP, Question, Step
from tests.peers.telling import tell

_REQUEST = 8
"""Bytes of a serial reading request."""


class Peer:
    """One wire with some units on it.

    kind: "tcp", "rtu" or "rtu-over-tcp". age: the number of the last request. ages: the number of the last request for
    each (unit, function, start); counts: how many there were. late_s: how late a late answer is.
    """

    def __init__(self, kind: str = TCP, units: Collection[int] = (1,), late_s: float = 0.05) -> None:
        self.kind = kind
        self.units = frozenset(units)
        self.late_s = late_s
        self.age = 0
        self.ages: dict[tuple[int, int, int], int] = {}
        self.counts: dict[tuple[int, int, int], int] = {}
        self._doing: dict[int, tuple[str, int]] = {}
        self._earlier: dict[int, bytes] = {}

    def misbehave(self, name: str, units: Collection[int] | None = None, times: int = 1_000_000_000) -> None:
        """Do this to requests for these units (all, if not said), so many times each. Replaces what was being done."""
        misdeed = MISDEEDS[name]
        if self.kind not in misdeed.kinds:
            raise ValueError(f'"{name}" means nothing on "{self.kind}"')
        for unit in self.units if units is None else units:
            self._doing[unit] = (name, times)

    def behave(self) -> None:
        """Answer as one should again."""
        self._doing.clear()

    def registers(self, unit: int, function: int, start: int, count: int) -> list[int]:
        """What the right answer to the request under way holds."""
        return [tell(function, address, self.age) for address in range(start, start + count)]

    def take(self, kept: bytearray) -> list[list[Step]]:
        """Cut the requests out of received bytes, and say what is to be done about each."""
        found = []
        while (frame := self._cut(kept)) is not None:
            transaction, unit, pdu = frame
            found.append(self._steps(transaction, unit, pdu))
        return found

    def _cut(self, kept: bytearray) -> tuple[int, int, bytes] | None:
        if self.kind == TCP:
            header = read_mbap(kept)
            if header is None or len(kept) < header.size:
                return None
            assert not header.fault, f"the client sent {bytes(kept).hex(' ')}"
            pdu = bytes(kept[MBAP_HEADER : header.size])
            del kept[: header.size]
            return header.transaction, header.unit, pdu
        while len(kept) >= _REQUEST:
            if crc16(kept[:_REQUEST]) == 0:
                frame = bytes(kept[:_REQUEST])
                del kept[:_REQUEST]
                return 0, frame[0], frame[1:-2]
            del kept[0]
        return None

    def _steps(self, transaction: int, unit: int, pdu: bytes) -> list[Step]:
        self.age += 1
        if unit not in self.units:
            return [] if self.kind == RTU else [Step(0.0, self._question(transaction, unit, pdu, b"").frame(
                bytes((pdu[0] | 0x80, GATEWAY_TARGET_FAILED))
            ))]  # fmt: skip
        block = (unit, pdu[0], int.from_bytes(pdu[1:3], "big"))
        self.ages[block] = self.age
        self.counts[block] = self.counts.get(block, 0) + 1
        right = answer(self, unit, pdu)
        assert right is not None
        question = self._question(transaction, unit, pdu, right)
        self._earlier[unit] = question.frame()
        name, times = self._doing.get(unit, ("", 0))
        if not times:
            return [Step(0.0, question.frame())]
        self._doing[unit] = (name, times - 1)
        return MISDEEDS[name].deed(question)

    def _question(self, transaction: int, unit: int, pdu: bytes, right: bytes) -> Question:
        bare = Question(self.kind, b"", transaction, unit, pdu, right, b"", self.late_s)
        return bare._replace(asked=bare.frame(pdu), earlier=self._earlier.get(unit) or bare.frame())
