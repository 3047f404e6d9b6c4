"""Looking around on lines with dead units, holes, exceptions, wrong answers and a unit that falls silent."""

from collections.abc import AsyncIterator, Sequence
from contextlib import asynccontextmanager

import pytest

from collector.collector import line_for
from collector.errors import CollectorError
from collector.explore import Explorer
from collector.spec import BusKind, BusSpec
from modbus.errors import ModbusException
from modbus.reply import Failure, FailureKind, Registers
from tests.collector.fakes import SILENT, FakeLine, JumpingClock
from tests.collector.peers import sound
from tests.peers.peer import Peer
from tests.peers.serial import SerialPeer
from tests.peers.tcp import TcpPeer

pytestmark = pytest.mark.usefixtures("steady")  # both ends of the wire are on one event loop


def nothing(text: str) -> None:
    """Nobody listens."""


class Holes:
    """Unit 3: registers 10 to 12, 20 and 64 to 127 by function 3 only, four at once at the most; nobody else there."""

    def __init__(self) -> None:
        self.asked: list[tuple[int, int, int, int]] = []

    def registers(self, unit: int, function: int, start: int, count: int) -> Sequence[int] | None:
        self.asked.append((unit, function, start, count))
        if unit != 3:
            return None
        if function != 3:
            raise ModbusException(0x01)
        if count > 4:
            raise ModbusException(0x03)
        wanted = range(start, start + count)
        if not all(at in (10, 11, 12, 20) or 64 <= at < 128 for at in wanted):
            raise ModbusException(0x02)
        return [at + 1000 for at in wanted]


@asynccontextmanager
async def exploring(
    kind: BusKind, *, host_port: int = 0, device: str = "", timeout_ms: int = 60
) -> AsyncIterator[Explorer]:
    bus = BusSpec("b", kind, (), "127.0.0.1", host_port, device, 115200, "E", 1, 1000, timeout_ms)
    line = line_for(bus)
    assert await line.open() == ""
    try:
        yield Explorer(line, 0.0, nothing)
    finally:
        line.close()


async def test_units_answer_with_registers_or_an_exception_or_are_not_there() -> None:
    holes = Holes()
    async with sound(holes) as port, exploring(BusKind.TCP, host_port=port) as explorer:
        found = await explorer.units([1, 2, 3, 4], 3)
    assert [(unit.unit, unit.how, unit.text) for unit in found] == [
        (3, "exception", "exception 02, illegal data address")
    ]


async def test_registers_between_holes_are_found_by_halves_and_joined() -> None:
    holes = Holes()
    async with sound(holes) as port, exploring(BusKind.TCP, host_port=port) as explorer:
        seen = await explorer.registers(3, 3, 0, 127, 32, 3000)
    assert [(s.start, len(s.registers)) for s in seen.stretches] == [(10, 3), (20, 1), (64, 64)]
    assert seen.stretches[2].registers == tuple(range(1064, 1128))
    assert seen.why == ""
    assert seen.requests == len(holes.asked)
    assert all(count <= 32 for *_, count in holes.asked)


async def test_a_function_that_the_unit_does_not_know_costs_one_request() -> None:
    holes = Holes()
    async with sound(holes) as port, exploring(BusKind.TCP, host_port=port) as explorer:
        seen = await explorer.registers(3, 4, 0, 199, 32, 3000)
    assert (seen.stretches, seen.requests, seen.why) == ((), 1, "exception 01, illegal function")


async def test_the_bound_on_requests_is_kept_and_said() -> None:
    async with sound(Holes()) as port, exploring(BusKind.TCP, host_port=port) as explorer:
        seen = await explorer.registers(3, 3, 0, 65535, 32, 25)
    assert seen.requests == 25
    assert seen.why.startswith("after 25 requests, at address")


@pytest.mark.parametrize("kind", [BusKind.TCP, BusKind.RTU_OVER_TCP])
async def test_a_unit_that_answers_wrongly_is_told_apart_from_one_that_is_not_there(kind: BusKind) -> None:
    peer = Peer(kind.value, units=(1, 2))
    peer.misbehave("wrong function", units=(2,))
    async with TcpPeer(peer) as wire, exploring(kind, host_port=wire.port) as explorer:
        found = await explorer.units([1, 2, 3], 3)
        seen = await explorer.registers(2, 3, 0, 63, 32, 3000)
    assert [(unit.unit, unit.how) for unit in found] == [(1, "registers"), (2, "wrong")]
    assert "function" in found[1].text
    assert (seen.stretches, seen.requests) == ((), 3)
    assert "no good answer from address 0 on" in seen.why


async def test_a_serial_line_is_explored_with_dead_units_on_it() -> None:
    peer = Peer("rtu", units=(7,))
    async with SerialPeer(peer) as wire, exploring(BusKind.RTU, device=wire.device) as explorer:
        found = await explorer.units([6, 7, 8], 4)
        seen = await explorer.registers(7, 4, 0, 40, 32, 3000)
    assert [unit.unit for unit in found] == [7]
    assert [(s.start, len(s.registers)) for s in seen.stretches] == [(0, 41)]
    assert {register >> 8 for register in seen.stretches[0].registers} == set(range(41))


async def test_a_serial_answer_with_a_broken_crc_is_no_answer_of_a_good_unit() -> None:
    peer = Peer("rtu", units=(7,))
    peer.misbehave("wrong CRC")
    async with SerialPeer(peer) as wire, exploring(BusKind.RTU, device=wire.device) as explorer:
        found = await explorer.units([7], 3)
    assert [(unit.unit, unit.how) for unit in found] == [(7, "wrong")]


def scripted(*replies: Registers | Failure) -> tuple[FakeLine, Explorer]:
    waiting = list(replies)
    line = FakeLine(JumpingClock(), lambda unit, function, start, quantity: waiting.pop(0))
    return line, Explorer(line, 0.0, nothing)


async def test_a_unit_that_falls_silent_is_left_alone_after_three_tries() -> None:
    _, explorer = scripted((1, 2), SILENT, SILENT, SILENT)
    seen = await explorer.registers(1, 3, 0, 3, 2, 100)
    assert [s.registers for s in seen.stretches] == [(1, 2)]
    assert seen.why == "no good answer from address 2 on: no answer"


async def test_one_lost_answer_costs_one_request_more() -> None:
    _, explorer = scripted(SILENT, (1, 2))
    seen = await explorer.registers(1, 3, 0, 1, 2, 100)
    assert [s.registers for s in seen.stretches] == [(1, 2)]
    assert seen.requests == 2


async def test_a_busy_unit_is_asked_once_more() -> None:
    line, explorer = scripted(Failure(FailureKind.EXCEPTION, "busy", 6), (1,))
    assert [unit.how for unit in await explorer.units([1], 3)] == ["registers"]
    assert len(line.asked) == 2


async def test_a_gateway_that_names_a_target_that_does_not_answer_means_no_unit() -> None:
    for code in (0x0A, 0x0B):
        _, explorer = scripted(Failure(FailureKind.EXCEPTION, "gateway", code))
        assert await explorer.units([1], 3) == []


async def test_a_line_that_cannot_be_opened_again_ends_it_by_name() -> None:
    line, explorer = scripted((1,))
    line.faults = ["cannot open /dev/ttyX: gone"]
    with pytest.raises(CollectorError, match="gone"):
        await explorer.units([1], 3)
