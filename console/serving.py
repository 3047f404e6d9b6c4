"""How the console is served: uvicorn with the settings that the console was measured with, as a part of a daemon.

The daemon owns signals, logs and the socket; stop the server by `should_exit = True` and await its `serve`.
"""

import contextlib
import socket
from collections.abc import Iterator
from pathlib import Path

import uvicorn
from fastapi import FastAPI

from console.limits import (
    BETWEEN_REQUESTS_S,
    LONGEST_HEADERS,
    LONGEST_MESSAGE,
    MOST_CONNECTIONS,
    MOST_MESSAGES,
    SEND_BUFFER,
)
from console.patience import PatientProtocol


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
            http=PatientProtocol,
            h11_max_incomplete_event_size=LONGEST_HEADERS,
            ssl_certfile=certificate,
            ssl_keyfile=key,
            proxy_headers=False,
            server_header=False,
            ws="websockets-sansio",
            ws_per_message_deflate=False,
            ws_max_size=LONGEST_MESSAGE,
            ws_max_queue=MOST_MESSAGES,
            lifespan="off",
            log_config=None,
            access_log=False,
            timeout_keep_alive=BETWEEN_REQUESTS_S,
            timeout_graceful_shutdown=3,
            limit_concurrency=MOST_CONNECTIONS,
        )
    )
