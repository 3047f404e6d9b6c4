"""A serial line on pseudo-terminals: silences, echo, exclusive opening, an adapter that goes and comes, no writing."""

import asyncio
import errno
import fcntl
import os
import struct
import subprocess
import sys
from dataclasses import replace
from itertools import pairwise
from pathlib import Path
from statistics import median

import pytest
from pymodbus.pdu.register_message import WriteSingleRegisterRequest

from collector.line import Line
from collector.rtu_line import TWIN_MS, RtuLine
from modbus.frames import Request, rtu_frame
from modbus.reply import Failure, FailureKind
from modbus.timing import bytes_ms, exchange_ms, silence_ms
from tests.modbus.tables import rows
from tests.peers import Peer, SerialPeer, TcpPeer, told
from tests.peers.misdeeds import RTU, RTU_OVER_TCP
from tests.peers.wires import FAST_BAUD, bus_spec, on_wire
from tests.steady import SteadyTime

pytestmark = pytest.mark.usefixtures("steady")  # both ends of the wire are on one event loop

TIMEOUT, WRONG = FailureKind.TIMEOUT, FailureKind.WRONG_REPLY
TIMEOUT_MS = 30


def line_to(wire: SerialPeer | TcpPeer, timeout_ms: int = TIMEOUT_MS, baud: int = FAST_BAUD) -> RtuLine:
    return RtuLine(bus_spec(wire, timeout_ms=timeout_ms, baud=baud))


async def addresses(line: Line, unit: int, start: int) -> list[int]:
    got = await line.exchange(unit, 3, start, 3)
    assert not isinstance(got, Failure), got
    return [told(register)[0] for register in got]


class Timed(Peer):
    """Keeps when each request came, by the event loop's clock."""

    def __init__(self, *more: object) -> None:
        super().__init__(*more)  # type: ignore[arg-type]
        self.times_s: list[float] = []

    def take(self, kept: bytearray):  # type: ignore[no-untyped-def]
        found = super().take(kept)
        self.times_s += [asyncio.get_running_loop().time()] * len(found)
        return found


@pytest.mark.parametrize("kind", [RTU, RTU_OVER_TCP])
async def test_nothing_is_sent_until_an_answer_to_whoever_asked_before_could_have_come(kind: str) -> None:
    peer = Timed(kind, (1,))
    async with on_wire(peer) as wire:
        line = line_to(wire)
        opened_s = asyncio.get_running_loop().time()
        await line.open()
        assert line.rest_s > 0
        await addresses(line, 1, 0)
        line.close()
    assert peer.times_s[0] - opened_s >= TIMEOUT_MS / 1000


@pytest.mark.parametrize("kind", [RTU, RTU_OVER_TCP])
@pytest.mark.parametrize("misdeed", ["silence", "wrong CRC", "wrong unit", "short count", "garbage only", "echo only"])
async def test_after_a_failure_the_line_is_quiet_as_long_as_the_slowest_answer_takes(misdeed: str, kind: str) -> None:
    """Also when that failure was told early, by a time-out learned for a quick unit."""
    peer = Timed(kind, (1, 2))
    async with on_wire(peer) as wire:
        line = line_to(wire)
        await line.open()
        await addresses(line, 1, 0)
        peer.misbehave(misdeed, (1,))
        assert isinstance(await line.exchange(1, 3, 0, 3, timeout_ms=5), Failure)
        failed_s = asyncio.get_running_loop().time()
        await addresses(line, 2, 40)
        line.close()
    assert peer.times_s[-1] - failed_s >= (TIMEOUT_MS + exchange_ms(False, 3, FAST_BAUD)) / 1000


async def test_late_answers_of_a_slow_unit_are_errors_not_values_of_the_next_request() -> None:
    """A unit slower than the site's time-out. pymodbus 3.16.1 by itself gives the value of 100 for 200 here (run)."""
    peer = Peer(RTU, (1,), late_s=0.045)
    peer.misbehave("late")
    async with SerialPeer(peer) as wire:
        line = line_to(wire)
        await line.open()
        got = [await line.exchange(1, 3, start, 1) for start in (100, 200, 300, 400, 500)]
        assert [isinstance(g, Failure) and g.kind for g in got] == [TIMEOUT] * 5
        assert 1 <= line.strays <= 5
        peer.behave()
        assert await addresses(line, 1, 60) == [60, 61, 62]
        line.close()


async def test_answers_that_lie_unread_while_the_program_is_held_up_are_not_taken_for_the_next_one(
    steady: SteadyTime,
) -> None:
    """The loop stands still while the late answer comes; the silence is over by the clock when it goes on."""
    peer = Peer(RTU, (1,))
    async with SerialPeer(peer) as wire:
        line = line_to(wire)
        await line.open()
        await addresses(line, 1, 0)
        peer.misbehave("silence", times=1)
        assert isinstance(await line.exchange(1, 3, 0, 3), Failure)
        os.write(wire._ours, rtu_frame(1, b"\x03\x06" + bytes(6)))
        steady.stand_still(3 * TIMEOUT_MS / 1000)
        assert await addresses(line, 1, 50) == [50, 51, 52]
        assert line.strays == 1
        line.close()


async def test_a_request_whose_answer_would_look_like_the_last_one_waits_for_a_copy_to_pass() -> None:
    peer = Timed(RTU, (1, 2))
    async with SerialPeer(peer) as wire:
        line = line_to(wire)
        await line.open()
        for start in (10, 20, 30):
            await addresses(line, 1, start)
        await addresses(line, 2, 40)
        line.close()
    same, same_too, other = (b - a for a, b in pairwise(peer.times_s))
    assert min(same, same_too) >= TWIN_MS / 1000
    assert other < TWIN_MS / 1000


@pytest.mark.parametrize("row", rows("rtu_timing"), ids=lambda r: r["id"])
async def test_the_silence_between_frames_is_that_of_the_baud(row: dict[str, str]) -> None:
    """Source: the row's (t3.5 of Modbus over Serial Line V1.02, 2.5.1.1)."""
    peer = Timed(RTU, range(1, 6))
    baud = int(row["baud"])
    async with SerialPeer(peer) as wire:
        line = line_to(wire, timeout_ms=1, baud=baud)
        await line.open()
        line._quiet_until_s = 0.0  # the rest after opening, over a second at 2400 baud, has a test of its own
        for unit in range(1, 6):
            await addresses(line, unit, 0)
        line.close()
    # The middle one: a request that the peer took in late makes one pause look longer and the next one shorter.
    assert median(b - a for a, b in pairwise(peer.times_s)) >= float(row["t3.5_ms"]) / 1000
    assert exchange_ms(False, int(row["registers_n"]), baud) + float(row["t_proc_ms"]) == pytest.approx(
        float(row["one_read_ms"]), abs=5e-7
    )


async def test_noise_that_nobody_sent_costs_one_silence_and_no_more() -> None:
    peer = Peer(RTU, (1,))
    async with SerialPeer(peer) as wire:
        line = line_to(wire, timeout_ms=500)
        await line.open()
        await addresses(line, 1, 0)
        os.write(wire._ours, b"\xff\x03\x01")
        await asyncio.sleep(0.005)
        assert line.rest_s == 0
        assert await addresses(line, 1, 30) == [30, 31, 32]
        assert line.strays == 0
        line.close()


async def test_a_whole_reply_that_nobody_asked_for_makes_the_line_quiet() -> None:
    async with SerialPeer(Peer(RTU, (1,))) as wire:
        line = line_to(wire)
        await line.open()
        await addresses(line, 1, 0)
        os.write(wire._ours, rtu_frame(1, b"\x03\x06" + bytes(6)))
        async with asyncio.timeout(10):
            while not line.strays:
                await asyncio.sleep(0)
        assert line.rest_s > (TIMEOUT_MS - 5) / 1000
        assert await addresses(line, 1, 30) == [30, 31, 32]
        assert line.strays == 1
        line.close()


async def test_a_line_that_babbles_on_is_a_named_failure() -> None:
    async with SerialPeer(Peer(RTU, (1,))) as wire:
        # At 4800 baud the line counts as silent after 8 ms: ten times the pause between two bytes of the babble. A
        # machine that stumbles for longer does make it silent; then it is tried again.
        line = line_to(wire, timeout_ms=5, baud=4800)
        await line.open()
        loop = asyncio.get_running_loop()

        def babble() -> None:
            nonlocal timer
            os.write(wire._ours, b"\x55")
            timer = loop.call_later(0.0008, babble)

        for _ in range(20):
            asked = wire.peer.age
            timer = loop.call_soon(babble)
            got = await line.exchange(1, 3, 0, 3)
            timer.cancel()
            if isinstance(got, Failure) and "does not fall silent" in got.text:
                break
        assert isinstance(got, Failure)
        assert got.kind is WRONG
        assert "does not fall silent" in got.text
        assert line.rest_s > 0
        assert wire.peer.age == asked
        assert await addresses(line, 1, 30) == [30, 31, 32]
        line.close()


async def test_an_adapter_that_echoes_is_recognised() -> None:
    peer = Peer(RTU, (1,))
    async with SerialPeer(peer) as wire:
        line = line_to(wire)
        await line.open()
        await addresses(line, 1, 0)
        assert not line.echoes
        peer.misbehave("echo")
        assert await addresses(line, 1, 10) == [10, 11, 12]
        assert line.echoes
        peer.misbehave("echo only")
        got = await line.exchange(1, 3, 20, 3)
        assert isinstance(got, Failure)
        assert got.kind is TIMEOUT
        assert "only the echo" in got.text
        line.close()


HOLDER = "import os, sys, fcntl; f = os.open(sys.argv[1], os.O_RDWR); fcntl.flock(f, fcntl.LOCK_EX); print(); input()"


async def test_a_device_that_another_program_holds_is_a_clear_error_until_it_lets_go() -> None:
    async with SerialPeer(Peer(RTU, (1,))) as wire:
        line = line_to(wire)
        command = [sys.executable, "-c", HOLDER, wire.device]
        with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True) as holder:
            assert holder.stdout is not None
            await asyncio.to_thread(holder.stdout.readline)
            assert await line.open() == (
                f"{wire.device} is held by another program; stop that one, only one may ask on a line"
            )
            assert not line.is_open
            holder.communicate("\n")
        assert await line.open() == ""
        line.close()


async def test_the_system_keeps_others_out_while_the_device_is_open() -> None:
    """TIOCEXCL (tty_ioctl(4)): open() fails with EBUSY for all but the administrator; TIOCGEXCL tells the state."""
    gexcl = 0x80045440  # _IOR('T', 0x40, int), asm-generic/ioctls.h; not in Python's termios

    def exclusive(wire: SerialPeer) -> bool:
        return bool(struct.unpack("i", fcntl.ioctl(wire._theirs, gexcl, bytes(4)))[0])

    async with SerialPeer(Peer(RTU, (1,))) as wire:
        first, second = line_to(wire), line_to(wire)
        assert await first.open() == ""
        assert exclusive(wire)
        if os.geteuid():
            with pytest.raises(OSError, match=os.strerror(errno.EBUSY)):
                os.open(wire.device, os.O_RDWR)
        assert "held by another program" in await second.open()
        assert await addresses(first, 1, 0) == [0, 1, 2]
        first.close()
        assert not exclusive(wire)
        assert await second.open() == ""
        second.close()


async def test_an_adapter_pulled_out_and_put_back_is_used_again() -> None:
    peer = Peer(RTU, (1,))
    async with SerialPeer(peer) as wire:
        line = line_to(wire, timeout_ms=5000)
        line._timeout_ms = 30
        await line.open()
        await addresses(line, 1, 0)
        peer.misbehave("silence")
        line._timeout_ms = 5000
        waiting = asyncio.create_task(line.exchange(1, 3, 0, 3))
        while peer.age < 2:
            await asyncio.sleep(0.001)
        wire.unplug()
        async with asyncio.timeout(4):  # less than its own time-out
            got = await waiting
        assert got == (TIMEOUT, f"{wire.device} was lost while waiting for the answer", 0)
        assert not line.is_open
        line._timeout_ms = 30
        line._quiet_until_s = 0
        assert await line.open() == f"there is no {wire.device}; plug the adapter in, or correct the bus's device"
        assert (await line.exchange(1, 3, 0, 3)) == (TIMEOUT, f"{wire.device} is not open", 0)
        peer.behave()
        wire.plug()
        assert await line.open() == ""
        assert await addresses(line, 1, 10) == [10, 11, 12]
        line.close()
        line.close()


async def test_what_is_no_serial_port_is_a_fault_not_a_crash_and_leaves_nothing_open() -> None:
    descriptors = Path("/proc/self/fd")
    async with SerialPeer(Peer(RTU, (1,))) as wire:
        adapter = Path(wire.device)
        (adapter.parent / "no port").touch()
        adapter.unlink()
        adapter.symlink_to("no port")
        line = line_to(wire)
        before = len(list(descriptors.iterdir()))
        for _ in range(20):
            assert (await line.open()).startswith(f"{wire.device} cannot be opened: ")
        assert len(list(descriptors.iterdir())) == before


async def test_opening_and_closing_leaves_nothing_open() -> None:
    descriptors = Path("/proc/self/fd")
    async with SerialPeer(Peer(RTU, (1,))) as wire:
        line = line_to(wire)
        await line.open()
        line.close()
        before = len(list(descriptors.iterdir()))
        for _ in range(20):
            assert await line.open() == ""
        line.close()
        assert len(list(descriptors.iterdir())) == before


@pytest.mark.parametrize("parity", ["N", "E", "O"])
async def test_a_pseudo_terminal_is_opened_whatever_parity_the_site_gives(parity: str) -> None:
    async with SerialPeer(Peer(RTU, (1,))) as wire:
        for stop_bits in (1, 2):
            line = RtuLine(replace(bus_spec(wire), parity=parity, stop_bits=stop_bits))
            assert await line.open() == ""
            line.close()


@pytest.mark.parametrize("kind", [RTU, RTU_OVER_TCP])
async def test_a_writing_request_would_be_stopped_before_the_wire(kind: str) -> None:
    peer = Peer(kind, (1,))
    async with on_wire(peer) as wire:
        line = line_to(wire)
        await line.open()
        line._carrier._requests[Request(1, 3, 0, 1)] = WriteSingleRegisterRequest(dev_id=1, address=0, registers=[1])
        with pytest.raises(AssertionError, match="function 6 was about to be sent"):
            await line.exchange(1, 3, 0, 1)
        assert peer.age == 0
        line.close()


async def test_the_longest_reads_pass_on_a_serial_line() -> None:
    async with SerialPeer(Peer(RTU, (247,))) as wire:
        line = line_to(wire, timeout_ms=500)
        line._timeout_ms = 30
        await line.open()
        got = await line.exchange(247, 4, 0, 125)
        assert not isinstance(got, Failure)
        assert [told(r)[0] for r in got] == list(range(125))
        bits = await line.exchange(247, 1, 0, 2000)
        assert bits == tuple(2 >> (n & 7) & 1 for n in range(2000))  # the second request: its number spelled in bits
        line.close()


def test_a_frames_own_time_is_added_to_the_time_out() -> None:
    """Computed: 8 + 5 + 250 bytes of 11 bits at 2400 baud and two silences; the table's rule, other numbers."""
    assert exchange_ms(False, 125, 2400) == pytest.approx(263 * 11 / 2.4 + 2 * 38.5 / 2.4)
    assert exchange_ms(True, 2000, 2400) == pytest.approx(263 * 11 / 2.4 + 2 * 38.5 / 2.4)
    assert bytes_ms(256, 9600) + silence_ms(9600) == pytest.approx(293.33 + 4.01, abs=0.01)
