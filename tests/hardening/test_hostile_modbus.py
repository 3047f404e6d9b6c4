"""Hostile bytes on both sides of Modbus TCP: never a wrong value, never an exception, never more than a frame kept."""

import asyncio
import contextlib
import struct

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from collector.tcp_line import TcpLine
from modbus.frames import MAX_TCP_ADU, Request, read_request, tcp_frame
from modbus.reply import Failure, check
from modbus.responder import RtuResponder, TcpResponder
from modbus.rtu_search import search
from tests.modbus.test_responder import Bank

pytestmark = pytest.mark.timeout(90)

ASKED = Request(1, 3, 0, 2)
SENT = tcp_frame(1, 1, read_request(3, 0, 2))
RIGHT = tcp_frame(1, 1, bytes((3, 4, 0, 7, 0, 9)))

FRAMES = st.one_of(
    st.binary(max_size=300),
    st.builds(tcp_frame, st.integers(0, 3), st.integers(0, 255), st.binary(min_size=1, max_size=253)),
    st.builds(
        lambda body: struct.pack(">HHHB", 1, 0, len(body) + 1, 1) + body[: len(body) // 2], st.binary(max_size=250)
    ),
    st.sampled_from([RIGHT, RIGHT[:-1], SENT, b"\x00\x01\x00\x00\xff\xff\x01\x03"]),
)
PIECES = st.lists(FRAMES, max_size=8)


def judged(pieces: list[bytes]) -> None:
    """The client's judge: a verdict is a failure in words, or two registers out of one whole frame that came."""
    judge = TcpLine("127.0.0.1", 1, 100)._judge
    judge.expect(ASKED)
    judge.sending(SENT)
    for piece in pieces:
        judge.received(piece)
        assert len(judge._kept) <= MAX_TCP_ADU
    verdict = judge.verdict
    if verdict is not None and not isinstance(verdict, Failure):
        assert len(verdict) == 2
        body = struct.pack(">2H", *verdict)
        assert tcp_frame(1, 1, bytes((3, 4)) + body) in b"".join(pieces)


def answered(pieces: list[bytes]) -> None:
    """The responders: whole frames back, or nothing."""
    tcp, rtu = TcpResponder(Bank()), RtuResponder(Bank())
    for piece in pieces:
        out = tcp.feed(piece)
        while out:
            length = struct.unpack_from(">H", out, 4)[0]
            assert len(out) >= 6 + length
            out = out[6 + length :]
        rtu.feed(piece)
        assert len(tcp._kept) <= MAX_TCP_ADU
        assert len(rtu._kept) <= 2 * MAX_TCP_ADU
    rtu.silence()
    found = search(ASKED, SENT[6:], b"".join(pieces))
    assert found.verdict is None or isinstance(found.verdict, Failure) or len(found.verdict) == 2
    check(ASKED, 1, b"".join(pieces))


@given(PIECES)
@settings(max_examples=200, derandomize=True)
def test_no_bytes_of_a_device_become_a_wrong_value(pieces: list[bytes]) -> None:
    judged(pieces)


@given(PIECES)
@settings(max_examples=200, derandomize=True)
def test_no_bytes_of_a_caller_harm_the_responders(pieces: list[bytes]) -> None:
    answered(pieces)


@pytest.mark.soak
@pytest.mark.timeout(0)
@given(PIECES)
@settings(max_examples=200_000)
def test_many_bytes_from_both_sides(pieces: list[bytes]) -> None:
    judged(pieces)
    answered(pieces)


async def test_a_device_that_never_stops_talking_is_a_failure_in_time_and_the_next_one_is_read() -> None:
    """A flood of whole frames that answer nobody, then a device that answers."""
    flooding = asyncio.Event()
    flooding.set()

    talking: set[asyncio.Task[None]] = set()

    async def device(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        talking.add(asyncio.current_task())  # type: ignore[arg-type]
        with contextlib.suppress(ConnectionError):
            while request := await reader.read(300):
                if not flooding.is_set():
                    writer.write(request[:2] + RIGHT[2:])
                    continue
                while True:  # to the end of the connection
                    writer.write(tcp_frame(9_999, 1, bytes((3, 4, 0, 1, 0, 2))) * 20)
                    await writer.drain()
                    await asyncio.sleep(0)  # where all of it is taken at once, others of this loop need a turn
        writer.close()

    server = await asyncio.start_server(device, "127.0.0.1", 0)
    line = TcpLine("127.0.0.1", server.sockets[0].getsockname()[1], 3_000)  # a busy machine may stand still for two
    try:
        assert await line.open() == ""
        async with asyncio.timeout(40):
            told = await line.exchange(1, 3, 0, 2)
        assert isinstance(told, Failure)
        assert "transaction 9999" in told.text
        flooding.clear()
        line.close()
        assert await line.open() == ""
        assert await line.exchange(1, 3, 0, 2) == (7, 9)
    finally:
        line.close()
        server.close()
        await asyncio.wait(talking, timeout=10)
