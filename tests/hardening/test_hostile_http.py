"""Hostile bytes at the console's own server: each ends in an answer or a closed connection, and others are served."""

import asyncio
import contextlib
import json
import logging
from collections.abc import AsyncIterator

import httpx
import pytest
import websockets
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from console import patience
from console.limits import BODY_LIMIT
from tests.console.fake import FakeFacts
from tests.console.test_serving import served

pytestmark = pytest.mark.timeout(120)

HOST = b"Host: ours\r\n"
"""Stands for the name that the console answers to; its port is put in when it is known."""
ACKNOWLEDGE = "/api/alarms/north.high/acknowledge"


def named(port: int, piece: bytes) -> bytes:
    return piece.replace(HOST, f"Host: 127.0.0.1:{port}\r\n".encode())


async def raw(port: int, *pieces: bytes, seconds: float = 40.0) -> bytes:
    """What comes back for these bytes, up to the end of the connection."""
    reader, writer = await asyncio.open_connection("127.0.0.1", port)
    answer = bytearray()

    async def listen() -> None:  # from the beginning on: a reset takes away what nobody has read by then
        with contextlib.suppress(ConnectionError):
            while piece := await reader.read(65_536):
                answer.extend(piece)

    listening = asyncio.create_task(listen())
    try:
        with contextlib.suppress(ConnectionError):
            for piece in pieces:
                writer.write(named(port, piece))
                await writer.drain()
        async with asyncio.timeout(seconds):
            await listening
        return bytes(answer)
    finally:
        listening.cancel()
        writer.close()


@pytest.fixture
async def port() -> AsyncIterator[int]:
    async with served(FakeFacts()) as number:
        yield number
        async with httpx.AsyncClient(base_url=f"http://127.0.0.1:{number}", timeout=30) as client:
            assert (await client.get("/api/site")).status_code == 200, "it serves the next one"


def status(answer: bytes) -> int:
    return int(answer.split(b" ", 2)[1])


async def test_clients_that_never_finish_their_headers_lose_their_places(
    port: int, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    monkeypatch.setattr(patience, "HEADERS_S", 0.5)
    monkeypatch.setattr(patience, "LOOK_S", 0.1)
    caplog.set_level(logging.INFO)
    slow = [await asyncio.open_connection("127.0.0.1", port) for _ in range(210)]
    for _, writer in slow:
        writer.write(b"GET / HTTP/1.1\r\nHost: 127.0")

    async def drip() -> None:
        while True:
            for _, writer in slow:
                with contextlib.suppress(ConnectionError):
                    writer.write(b".")
            await asyncio.sleep(0.05)

    dripping = asyncio.create_task(drip())
    async with asyncio.timeout(40):
        ended = [await _ends(reader) for reader, _ in slow]
    dripping.cancel()
    assert all(ended), "each was closed although it went on dripping"
    for _, writer in slow:
        writer.close()
    assert any("did not finish its request" in line for line in caplog.messages)


async def _ends(reader: asyncio.StreamReader) -> bool:
    with contextlib.suppress(ConnectionError):
        await reader.read()
    return True


async def test_a_body_that_stands_still_is_given_up(port: int, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(patience, "BODY_S", 0.5)
    monkeypatch.setattr(patience, "LOOK_S", 0.1)
    begun = f"POST {ACKNOWLEDGE} HTTP/1.1\r\n".encode() + HOST
    answer = await raw(port, begun + b"Content-Type: application/json\r\nContent-Length: 100\r\n\r\n{", seconds=60)
    assert b" 200 " not in answer


async def test_a_client_that_asks_again_and_again_is_not_hung_up_on(port: int, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(patience, "LOOK_S", 0.05)
    reader, writer = await asyncio.open_connection("127.0.0.1", port)
    for _ in range(4):
        writer.write(named(port, b"GET /api/site HTTP/1.1\r\n" + HOST + b"\r\n"))
        head = await reader.readuntil(b"\r\n\r\n")
        size = next(int(line[16:]) for line in head.lower().split(b"\r\n") if line.startswith(b"content-length: "))
        assert json.loads(await reader.readexactly(size))["id"]
        # Not before the first answer: a busy machine may hold us up between connecting and asking.
        monkeypatch.setattr(patience, "HEADERS_S", 0.3)
        await asyncio.sleep(0.5)  # longer than headers may take: between requests another patience holds
    writer.close()


@pytest.mark.parametrize(
    ("name", "request_bytes", "expected"),
    [
        ("headers too long", b"GET / HTTP/1.1\r\n" + HOST + b"X: " + b"a" * 200_000 + b"\r\n\r\n", {400, 431}),
        ("headers too many", b"GET / HTTP/1.1\r\n" + HOST + b"Connection: close\r\n" + b"X: y\r\n" * 20_000
         + b"\r\n", {400, 431}),
        ("path too long", b"GET /" + b"a" * 200_000 + b" HTTP/1.1\r\n" + HOST + b"\r\n", {400, 414, 431}),
        ("two hosts", b"GET / HTTP/1.1\r\n" + HOST + HOST + b"Connection: close\r\n\r\n", {400}),
        ("no host", b"GET / HTTP/1.1\r\nConnection: close\r\n\r\n", {400}),
        ("another language", b"\x16\x03\x01\x02\x00\x01\x00" + bytes(500), {400}),
        ("two lengths", b"POST /api/x HTTP/1.1\r\n" + HOST
         + b"Content-Length: 1\r\nContent-Length: 2\r\n\r\nab", {400}),
        ("length and pieces", b"POST /api/x HTTP/1.1\r\n" + HOST
         + b"Content-Length: 4\r\nTransfer-Encoding: chunked\r\nConnection: close\r\n\r\n0\r\n\r\n", {400, 404, 405}),
        ("a length below zero", b"POST /api/x HTTP/1.1\r\n" + HOST + b"Content-Length: -1\r\n\r\n", {400}),
        ("a huge length", f"POST {ACKNOWLEDGE} HTTP/1.1\r\n".encode() + HOST
         + b"Connection: close\r\nContent-Length: 99999999999\r\n\r\n", {413}),
        ("a path that climbs", b"GET /assets/../../../../etc/passwd HTTP/1.1\r\n" + HOST
         + b"Connection: close\r\n\r\n", {404}),
        ("a path that climbs in disguise", b"GET /assets/..%2f..%2f..%2fetc%2fpasswd HTTP/1.1\r\n" + HOST
         + b"Connection: close\r\n\r\n", {404}),
        ("a path with a zero", b"GET /assets/%00/etc/passwd HTTP/1.1\r\n" + HOST + b"Connection: close\r\n\r\n", {404}),
        ("an absolute path", b"GET /assets//etc/passwd HTTP/1.1\r\n" + HOST + b"Connection: close\r\n\r\n", {404}),
    ],
    ids=lambda value: value if isinstance(value, str) else "",
)  # fmt: skip
async def test_what_is_no_request_of_ours_is_refused(
    port: int, name: str, request_bytes: bytes, expected: set[int]
) -> None:
    answer = await raw(port, request_bytes)
    if name.endswith("too long") and not answer:
        return  # closed with bytes of ours unread: the system takes the answer away
    assert answer, name
    assert status(answer) in expected, answer[:200]
    assert b"root:" not in answer


@pytest.mark.parametrize("path", ["/sign-in?next=/%0d%0aX-Evil:%201", "/tank/%0d%0aX-Evil:%201", "/%0d%0aX-Evil:%201"])
async def test_no_line_end_of_a_request_gets_into_the_headers_of_an_answer(port: int, path: str) -> None:
    answer = await raw(
        port, f"GET {path} HTTP/1.1\r\n".encode() + HOST + b"Accept: text/html\r\nConnection: close\r\n\r\n"
    )
    head = answer.partition(b"\r\n\r\n")[0]
    assert b"x-evil" not in head.lower()


@pytest.mark.parametrize(
    "body",
    [
        b"\xff\xfe\x00",
        b'{"by": "\xc3\x28"}',
        b"[" * 30_000,
        b'{"a":' * 8_000,
        b'{"occurrence": 1e999999, "by": "Ana"}',
        b'{"occurrence": ' + b"9" * 20_000 + b', "by": "Ana"}',
        b'{"occurrence": NaN, "by": "Ana"}',
        b'{"occurrence": 1, "by": "Ana\\u0000"}',
        b'{"occurrence": 1, "by": "\\ud800"}',
        b"",
    ],
    ids=["no text", "bad utf-8", "deep list", "deep object", "a number too large", "a number too long", "nan", "zero",
         "half a pair", "nothing"],
)  # fmt: skip
async def test_a_body_that_is_no_sense_is_said_to_be_wrong(port: int, body: bytes) -> None:
    async with httpx.AsyncClient(base_url=f"http://127.0.0.1:{port}", timeout=30) as client:
        answer = await client.post(ACKNOWLEDGE, content=body, headers={"Content-Type": "application/json"})
    assert answer.status_code in (400, 422), answer.text
    assert answer.headers["content-type"].startswith("application/problem+json")


async def test_a_body_in_pieces_ends_at_the_limit(port: int) -> None:
    async def pieces() -> AsyncIterator[bytes]:
        for _ in range(4 * BODY_LIMIT // 4096):
            yield b" " * 4096

    async with httpx.AsyncClient(base_url=f"http://127.0.0.1:{port}", timeout=20) as client:
        try:
            answer = await client.post(ACKNOWLEDGE, content=pieces(), headers={"Content-Type": "application/json"})
        except httpx.TransportError:
            return  # cut off
    assert answer.status_code in (400, 413, 422)


@pytest.mark.parametrize("message", ["x" * 100_000, b"\x00" * 100_000, "{" * 4000], ids=["long", "binary", "deep"])
async def test_garbage_at_the_feed_ends_that_client_only(port: int, message: str | bytes) -> None:
    async with websockets.connect(f"ws://127.0.0.1:{port}/feed", compression=None) as client:
        await client.recv()
        with contextlib.suppress(websockets.ConnectionClosed):
            for _ in range(20):
                await client.send(message)
    async with websockets.connect(f"ws://127.0.0.1:{port}/feed", compression=None) as client:
        await client.recv()


PIECES = st.one_of(
    st.binary(max_size=200),
    st.sampled_from([b"GET /api/tanks HTTP/1.1\r\n", HOST, b"\r\n", b"Content-Length: 5\r\n", b"Upgrade: websocket\r\n",
                     b"Connection: Upgrade\r\n", b"Transfer-Encoding: chunked\r\n", b"5\r\nhello\r\n0\r\n\r\n",
                     b"Origin: null\r\n", b"Authorization: Bearer \xff\r\n", b"Cookie: gaugehouse=\r\n"]),
)  # fmt: skip


async def _campaign(examples: int) -> None:
    async with served(FakeFacts()) as port:
        loop = asyncio.get_running_loop()

        @given(st.lists(PIECES, max_size=12), st.booleans())
        @settings(max_examples=examples, suppress_health_check=list(HealthCheck), derandomize=True)
        def fed(pieces: list[bytes], begun: bool) -> None:
            if begun:  # else hardly any gets past the name
                pieces = [b"GET /api/tanks HTTP/1.1\r\n", HOST, *pieces]

            async def ask() -> bytes:
                reader, writer = await asyncio.open_connection("127.0.0.1", port)
                with contextlib.suppress(ConnectionError):
                    writer.write(named(port, b"".join(pieces)))
                    writer.write_eof()
                answer = b""
                with contextlib.suppress(TimeoutError, ConnectionError):
                    async with asyncio.timeout(0.05):
                        answer = await reader.read(1000)
                writer.close()
                with contextlib.suppress(ConnectionError):
                    await writer.wait_closed()
                return answer

            answer = asyncio.run_coroutine_threadsafe(ask(), loop).result(20)
            assert b" 500 " not in answer.split(b"\r\n", 1)[0]

        await asyncio.to_thread(fed)
        async with httpx.AsyncClient(base_url=f"http://127.0.0.1:{port}", timeout=30) as client:
            assert (await client.get("/api/site")).status_code == 200


async def test_any_bytes_leave_the_console_serving() -> None:
    await _campaign(60)


@pytest.mark.soak
@pytest.mark.timeout(0)
async def test_many_bytes_leave_the_console_serving() -> None:
    await _campaign(20_000)
