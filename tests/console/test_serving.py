"""The console behind a real uvicorn: handshake rules, compression, a client that does not read, a clean end."""

import asyncio
import base64
import json
import socket
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager

import pytest
from websockets.asyncio.client import connect
from websockets.exceptions import InvalidStatus

from console.app import create_app
from console.serving import build_server
from tests.console.fake import FakeFacts


@asynccontextmanager
async def served(facts: FakeFacts) -> AsyncIterator[int]:
    listener = socket.create_server(("127.0.0.1", 0))
    port = int(listener.getsockname()[1])
    server = build_server(create_app(facts, port=port))
    async with asyncio.TaskGroup() as group:
        group.create_task(server.serve(sockets=[listener]))
        while not server.started:
            await asyncio.sleep(0)
        try:
            yield port
        finally:
            server.should_exit = True


async def test_the_feed_speaks_uncompressed_and_moves(facts: FakeFacts) -> None:
    async with served(facts) as port, connect(f"ws://127.0.0.1:{port}/api/live/feed", proxy=None) as ws:
        assert ws.response is not None
        assert "Sec-WebSocket-Extensions" not in ws.response.headers
        assert set(json.loads(await ws.recv())) == {"build"}
        assert json.loads(await ws.recv())["seq"] == 1
        facts.advance()
        assert json.loads(await ws.recv())["seq"] == 2


@pytest.mark.parametrize("path", ["/feed", "/api/live/feed"])
async def test_a_page_of_another_site_cannot_listen(facts: FakeFacts, path: str) -> None:
    async with served(facts) as port:
        with pytest.raises(InvalidStatus) as refused:
            await connect(f"ws://127.0.0.1:{port}{path}", origin="http://evil.example", proxy=None)  # type: ignore[arg-type]
    assert refused.value.response.status_code == 403


async def test_our_own_page_can_listen(facts: FakeFacts) -> None:
    async with served(facts) as port:
        own = f"http://127.0.0.1:{port}"
        async with connect(f"ws://127.0.0.1:{port}/feed", origin=own, proxy=None) as ws:  # type: ignore[arg-type]
            assert "build" in json.loads(await ws.recv())


async def test_a_foreign_host_name_cannot_listen(facts: FakeFacts) -> None:
    async with served(facts) as port:
        with pytest.raises(InvalidStatus):
            await connect(f"ws://127.0.0.1:{port}/feed", additional_headers={"Host": "evil.example"}, proxy=None)


async def test_a_client_that_does_not_read_holds_nobody_up_and_is_never_queued_for(facts: FakeFacts) -> None:
    """What waits for the deaf client, in the server and in the kernel, is bounded whatever is told meanwhile."""
    sent_states, size = 400, 0
    async with served(facts) as port:
        deaf = socket.socket()
        deaf.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4096)
        deaf.setblocking(False)
        loop = asyncio.get_running_loop()
        await loop.sock_connect(deaf, ("127.0.0.1", port))
        key = base64.b64encode(b"0123456789abcdef").decode()
        lines = [
            "GET /api/live/feed HTTP/1.1", f"Host: 127.0.0.1:{port}", "Upgrade: websocket", "Connection: Upgrade",
            f"Sec-WebSocket-Key: {key}", "Sec-WebSocket-Version: 13", "", "",
        ]  # fmt: skip
        await loop.sock_sendall(deaf, "\r\n".join(lines).encode())
        async with connect(f"ws://127.0.0.1:{port}/api/live/feed", proxy=None) as well:
            await well.recv()
            size = len(await well.recv())
            for _ in range(sent_states):
                facts.advance()
                while json.loads(await well.recv())["seq"] != facts.seq:
                    pass
        got, end = 0, b""
        newest = f'"seq":{facts.seq},'.encode()
        while newest not in end:  # drain what the kernel and the server held for the deaf one, to the newest state
            chunk = await loop.sock_recv(deaf, 1 << 16)
            if not chunk:  # dropped: on a slow machine the states took longer than its patience
                break
            got += len(chunk)
            end = end[-size:] + chunk
        deaf.close()
    assert got < 40 * size, "it skipped states instead of being sent all of them late"


async def test_the_server_ends_while_pages_still_listen(facts: FakeFacts) -> None:
    async with asyncio.timeout(60):
        async with served(facts) as port:
            ws = await connect(f"ws://127.0.0.1:{port}/feed", proxy=None)
            await ws.recv()
        await ws.wait_closed()
