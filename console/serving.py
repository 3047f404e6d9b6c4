"""How the console is served: uvicorn with the settings that the console was measured with, as a part of a daemon.

The daemon owns signals, logs and the socket; stop the server by `should_exit = True` and await its `serve`.
"""

import contextlib
import socket
from collections.abc import Iterator
from pathlib import Path
from typing import Final

import uvicorn
from fastapi import FastAPI

SEND_BUFFER: Final = 64 * 1024
"""Bytes that the kernel may hold for one client. Left to itself it held 2.6 MB, minutes of states for a page that reads
slowly, which then shows them as new."""


class Server(uvicorn.Server):
    """A server that leaves the process's signals to the daemon."""

    async def serve(self, sockets: list[socket.socket] | None = None) -> None:
        for listening in sockets or ():
            listening.setsockopt(socket.SOL_SOCKET, socket.SO_SNDBUF, SEND_BUFFER)  # accepted sockets inherit it
        await super().serve(sockets)

    @contextlib.contextmanager
    def capture_signals(self) -> Iterator[None]:
        yield


def build_server(app: FastAPI, certificate: Path | None = None, key: Path | None = None) -> Server:
    """A server for an open socket: `await server.serve(sockets=[socket])`.

    Forwarded addresses are not believed: `console.security` turns requests away that a proxy passed on. Messages are
    not compressed (a LAN); a page that stops reading holds a shutdown up by at most 3 s. certificate, key: PEM files,
    with which it speaks TLS only.
    """
    return Server(
        uvicorn.Config(
            app,
            ssl_certfile=certificate,
            ssl_keyfile=key,
            proxy_headers=False,
            server_header=False,
            ws="websockets-sansio",
            ws_per_message_deflate=False,
            ws_max_size=4096,
            ws_max_queue=4,
            lifespan="off",
            log_config=None,
            access_log=False,
            timeout_keep_alive=30,
            timeout_graceful_shutdown=3,
            limit_concurrency=200,
        )
    )
