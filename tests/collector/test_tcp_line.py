"""The line against servers that do wrong: no wrong reply becomes a value, and the next request is right again."""

import asyncio
import random
from collections.abc import Callable

import pytest
from pymodbus.pdu.register_message import WriteSingleRegisterRequest

from collector.tcp_line import TcpLine
from modbus.frames import Request, tcp_frame
from modbus.reply import Failure, FailureKind
from tests.collector.peers import CLOSE, RESET, Act, Recorder, listening, scripted, sound
from tests.ports import free_port

pytestmark = pytest.mark.usefixtures("steady")  # both ends of the wire are on one event loop

EXCEPTION, TIMEOUT, WRONG = FailureKind.EXCEPTION, FailureKind.TIMEOUT, FailureKind.WRONG_REPLY
RIGHT = bytes.fromhex("03 04 00 0A 00 0B")
TIMEOUT_MS = 120


def right(t: int, unit: int) -> bytes:
    return tcp_frame(t, unit, RIGHT)


MISDEEDS: dict[str, tuple[Callable[[int, int], Act | list[Act]], FailureKind, str]] = {
    "silence": (lambda t, u: None, TIMEOUT, "no answer within 120 ms"),
    "exception 02": (lambda t, u: tcp_frame(t, u, b"\x83\x02"), EXCEPTION, "illegal data address"),
    "exception 0B": (lambda t, u: tcp_frame(t, u, b"\x83\x0b"), EXCEPTION, "gateway target"),
    "one register too few": (lambda t, u: tcp_frame(t, u, b"\x03\x02\x00\x0a"), WRONG, "2 registers are 4"),
    "one register too many": (lambda t, u: tcp_frame(t, u, b"\x03\x06" + bytes(6)), WRONG, "2 registers are 4"),
    "odd byte count": (lambda t, u: tcp_frame(t, u, b"\x03\x05" + bytes(5)), WRONG, "2 registers are 4"),
    "byte count above the data": (lambda t, u: tcp_frame(t, u, b"\x03\x04\x00"), WRONG, "brings 1"),
    "byte count below the data": (lambda t, u: tcp_frame(t, u, b"\x03\x02\x00\x0a\x00\x0b"), WRONG, "brings 4"),
    "other function": (lambda t, u: tcp_frame(t, u, b"\x04" + RIGHT[1:]), WRONG, "function 4"),
    "exception of another function": (lambda t, u: tcp_frame(t, u, b"\x84\x02"), WRONG, "function 132"),
    "unknown function": (lambda t, u: tcp_frame(t, u, b"\x63\x00"), WRONG, "function 99"),
    "function only": (lambda t, u: tcp_frame(t, u, b"\x03"), WRONG, "brings 0"),
    "other unit": (lambda t, u: right(t, u + 1), WRONG, "reply of unit 2 to a request to unit 1"),
    "transaction of tomorrow": (lambda t, u: right(t + 1, u), WRONG, "reply of transaction"),
    "transaction zero": (lambda t, u: right(0, u), WRONG, "reply of transaction 0"),
    "other protocol": (lambda t, u: right(t, u)[:2] + b"\0\1" + right(t, u)[4:], WRONG, "protocol identifier 1"),
    "length field 0": (lambda t, u: right(t, u)[:4] + b"\0\0" + right(t, u)[6:], WRONG, "length field 0"),
    "length field too long": (lambda t, u: right(t, u)[:4] + b"\0\x20" + right(t, u)[6:], WRONG, "cut short"),
    "length field huge": (lambda t, u: right(t, u)[:4] + b"\xff\xff" + right(t, u)[6:], WRONG, "length field 65535"),
    "cut short": (lambda t, u: right(t, u)[:-1], WRONG, "cut short after 12 bytes"),
    "header only": (lambda t, u: right(t, u)[:5], WRONG, "cut short after 5 bytes"),
    "garbage": (lambda t, u: b"\xde\xad\xbe\xef" * 5, WRONG, "protocol identifier"),
    "much garbage": (lambda t, u: b"\xff" * 100_000, WRONG, "protocol identifier"),
    "garbage before the reply": (lambda t, u: b"\xff\xff" + right(t, u), WRONG, "protocol identifier"),
    "reset": (lambda t, u: RESET, TIMEOUT, "connection was lost"),
    "end of stream": (lambda t, u: CLOSE, TIMEOUT, "connection was lost"),
    "end in the middle": (lambda t, u: [right(t, u)[:9], CLOSE], WRONG, "cut short after 9 bytes"),
}


@pytest.mark.parametrize("name", MISDEEDS)
async def test_a_wrong_reply_is_a_named_failure_and_the_next_request_is_right(
    name: str, caplog: pytest.LogCaptureFixture
) -> None:
    act, kind, text = MISDEEDS[name]
    wrong = {2, 4}  # the second and the fourth request
    requests = 0

    def script(transaction: int, unit: int, pdu: bytes) -> Act | list[Act]:
        nonlocal requests
        requests += 1
        return act(transaction, unit) if requests in wrong else right(transaction, unit)

    async with scripted(script) as port:
        line = TcpLine("127.0.0.1", port, TIMEOUT_MS)
        for n in range(1, 6):
            if not line.is_open:
                assert await line.open() == ""
            result = await line.exchange(1, 3, 10, 2)
            if n in wrong:
                assert isinstance(result, Failure)
                assert result.kind is kind
                assert text in result.text
            else:
                assert result == (10, 11)
        line.close()
    assert requests == 5
    assert not [r for r in caplog.records if r.name == "asyncio"], "the library died inside of the event loop"


async def test_a_lost_connection_is_told_at_once_not_after_the_deadline() -> None:
    async with scripted(lambda *_: RESET) as port:
        line = TcpLine("127.0.0.1", port, 20_000)
        await line.open()
        async with asyncio.timeout(5):
            failure = await line.exchange(1, 3, 10, 2)
        assert isinstance(failure, Failure)
        assert failure.kind is TIMEOUT
        assert not line.is_open


@pytest.mark.parametrize(
    "act",
    [
        lambda t, u: [bytes((b,)) for b in right(t, u)],
        lambda t, u: [right(t, u), right(t, u)],
        lambda t, u: [right(t, u) + right(t, u)],
        lambda t, u: [right(t, u + 1) + right(t, u)],
        lambda t, u: [tcp_frame(t - 1 or 1, u, b"\x03\x04\0\0\0\0") + right(t, u)] if t > 1 else right(t, u),
        lambda t, u: [right(t, u) + b"\xff\xff"],
    ],
    ids=["byte by byte", "twice", "twice at once", "after a foreign one", "after a late one", "before garbage"],
)
async def test_what_is_odd_but_right_is_taken(act: Callable[[int, int], list[Act]]) -> None:
    async with scripted(lambda t, u, pdu: act(t, u)) as port:
        line = TcpLine("127.0.0.1", port, 500)
        for _ in range(6):
            if not line.is_open:
                assert await line.open() == ""
            result = await line.exchange(1, 3, 10, 2)
            assert result == (10, 11)
        line.close()


async def test_a_late_reply_is_never_the_answer_to_the_next_request() -> None:
    """Each reply holds the address that was asked for, and comes one request late."""
    held: list[bytes] = []

    def script(transaction: int, unit: int, pdu: bytes) -> list[Act]:
        held.append(tcp_frame(transaction, unit, b"\x03\x02" + pdu[1:3]))
        return [held.pop(0)] if len(held) > 1 else [None]

    async with scripted(script) as port:
        line = TcpLine("127.0.0.1", port, 30)
        await line.open()
        for start in range(100, 105):
            result = await line.exchange(1, 3, start, 1)
            assert isinstance(result, Failure)
            assert result.kind is TIMEOUT
        line.close()


@pytest.mark.parametrize("at_once", [True, False])
@pytest.mark.parametrize("refused", [True, False])
@pytest.mark.parametrize("left", range(7, 13))
async def test_a_late_reply_that_fills_the_place_of_a_cut_one_is_no_value(
    left: int, refused: bool, at_once: bool
) -> None:
    """The frame looks whole: its registers are the head of the reply that unit 21 owed."""
    late = b"\x83\x0b" if refused else RIGHT

    def script(transaction: int, unit: int, pdu: bytes) -> list[Act]:
        if transaction == 1:
            return [None]
        cut, other = right(transaction, unit)[:left], tcp_frame(1, 21, late)
        return [cut + other] if at_once else [cut, other]

    async with scripted(script) as port:
        line = TcpLine("127.0.0.1", port, TIMEOUT_MS)
        await line.open()
        assert isinstance(await line.exchange(21, 3, 10, 2, 20), Failure)
        result = await line.exchange(1, 3, 10, 2)
        assert isinstance(result, Failure)
        assert (result.kind, line.is_open) == (WRONG, False), "the stream has no way back into step"
        line.close()


async def test_registers_that_look_a_little_like_a_reply_are_taken() -> None:
    """After a silence, too: transaction and zeros, as counters may hold them."""
    words = b"\x03\x08\x00\x02\x00\x00\x00\x07\x01\x04"  # all of a reply's head but the function

    def script(transaction: int, unit: int, pdu: bytes) -> Act | list[Act]:
        return [None] if transaction == 1 else tcp_frame(transaction, unit, words)

    async with scripted(script) as port:
        line = TcpLine("127.0.0.1", port, TIMEOUT_MS)
        await line.open()
        assert isinstance(await line.exchange(1, 3, 10, 4, 20), Failure)
        for _ in range(3):
            assert await line.exchange(1, 3, 10, 4) == (2, 0, 7, 0x104)
        line.close()


async def test_mangled_replies_by_the_hundred_give_right_values_or_failures() -> None:
    """Everything but the data bytes is mangled: those have no check of their own in Modbus TCP."""
    chance = random.Random(20260101)

    def script(transaction: int, unit: int, pdu: bytes) -> Act | list[Act]:
        frame = bytearray(right(transaction, unit))
        match chance.randrange(6):
            case 0:
                frame[chance.randrange(9)] ^= 1 << chance.randrange(8)
            case 1:
                del frame[chance.randrange(len(frame)) :]
            case 2:
                frame[chance.randrange(9)] = chance.randrange(256)
            case 3:
                frame[0:0] = chance.randbytes(chance.randrange(1, 12))
            case 4:
                return [bytes(frame[:5]), bytes(frame[5:])]
        return bytes(frame)

    good = 0
    async with scripted(script) as port:
        line = TcpLine("127.0.0.1", port, 8)
        for _ in range(250):
            if not line.is_open:
                assert await line.open() == ""
            result = await line.exchange(1, 3, 10, 2)
            if not isinstance(result, Failure):
                assert result == (10, 11)
                good += 1
        line.close()
    assert good >= 40


@pytest.mark.parametrize(
    ("function", "expected"), [(1, (1, 0, 1)), (2, (1, 0, 1)), (3, (11, 12, 13)), (4, (11, 12, 13))]
)
async def test_all_four_reading_functions(function: int, expected: tuple[int, ...]) -> None:
    async with sound() as port:
        line = TcpLine("127.0.0.1", port, 500)
        await line.open()
        for unit in (0, 1, 200):
            assert await line.exchange(unit, function, 11, 3) == expected
        line.close()


async def test_the_longest_reads_pass() -> None:
    async with sound() as port:
        line = TcpLine("127.0.0.1", port, 1000)
        await line.open()
        assert await line.exchange(1, 3, 0, 125) == tuple(range(125))
        assert len(await line.exchange(1, 1, 0, 1000)) == 1000
        line.close()


async def test_a_refused_connection_says_where_and_comes_up_later() -> None:
    port = free_port()
    line = TcpLine("127.0.0.1", port, 200)
    assert await line.open() == f"no connection to 127.0.0.1 port {port}: nobody listens there"
    assert not line.is_open
    assert (await line.exchange(1, 3, 0, 1)) == (TIMEOUT, f"not connected to 127.0.0.1 port {port}", 0)
    async with sound(port=port):
        assert await line.open() == ""
        assert await line.exchange(1, 3, 0, 1) == (0,)
    line.close()
    line.close()
    assert not line.is_open


async def test_a_writing_request_would_be_stopped_before_the_wire() -> None:
    """The last gate: even when the library is told to write, nothing leaves."""
    recorder = Recorder()
    async with sound() as port, recorder.proxy(port) as watched:
        line = TcpLine("127.0.0.1", watched, 200)
        await line.open()
        line._carrier._requests[Request(1, 3, 0, 1)] = WriteSingleRegisterRequest(dev_id=1, address=0, registers=[1])
        with pytest.raises(AssertionError, match="function 6 was about to be sent"):
            await line.exchange(1, 3, 0, 1)
        assert await line.exchange(1, 4, 0, 1) == (0,)
        line.close()
    assert recorder.functions() == [4]


async def test_a_hundred_silent_requests_do_not_cost_the_connection() -> None:
    async with scripted(lambda t, u, pdu: right(t, u) if u == 1 else None) as port:
        line = TcpLine("127.0.0.1", port, 3)
        await line.open()
        for _ in range(100):
            assert isinstance(await line.exchange(2, 3, 10, 2), Failure)
        assert line.is_open
        line.close()


async def test_each_request_has_its_own_deadline_though_the_connection_has_one_timer() -> None:
    """A short patience after a long one ends early; a long one after a short one is not cut at the short one's end."""
    late = asyncio.Event()

    async def serve(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        while True:
            head = await reader.readexactly(7)
            await reader.readexactly(5)
            transaction, unit = int.from_bytes(head[:2], "big"), head[6]
            if unit == 3:
                await late.wait()
            if unit != 2:
                writer.write(right(transaction, unit))

    async with listening(serve) as port, asyncio.timeout(10):
        line = TcpLine("127.0.0.1", port, 60_000)
        assert await line.open() == ""
        assert await line.exchange(1, 3, 10, 2) == (10, 11)
        assert isinstance(await line.exchange(2, 3, 10, 2, 20), Failure)
        assert isinstance(await line.exchange(2, 3, 10, 2, 1), Failure)
        asyncio.get_running_loop().call_later(0.1, late.set)
        assert await line.exchange(3, 3, 10, 2) == (10, 11)
        line.close()
