"""A real HTTP server that answers /api/v2/write as a test tells it to, and keeps the points that it has taken."""

import contextlib
import socket
import struct
import threading
from collections.abc import Callable, Iterator, Sequence
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Final, NamedTuple

HANG: Final = 0
RESET: Final = -1


class Answer(NamedTuple):
    """status: of HTTP, or HANG (none before the server is closed) or RESET (the connection breaks)."""

    status: int
    body: str = ""
    headers: Sequence[tuple[str, str]] = ()


TAKEN: Final = Answer(204)


class Scripted:
    """answers: one a post, then `judge` decides; without one everything is taken."""

    def __init__(self) -> None:
        self.url = ""
        self.answers: list[Answer] = []
        self.judge: Callable[[Sequence[str]], Answer] = lambda lines: TAKEN
        self.posts: list[list[str]] = []
        self.paths: list[str] = []
        self.clients: list[int] = []
        self.tokens: list[str | None] = []
        self.taken: list[str] = []
        self._points: dict[tuple[str, str], str] = {}
        self.closing = threading.Event()

    @property
    def points(self) -> dict[tuple[str, str], str]:
        """As they are now: posts of other threads go on while somebody looks through them."""
        return self._points.copy()

    def take(self, path: str, token: str | None, lines: list[str]) -> Answer:
        self.paths.append(path)
        self.tokens.append(token)
        self.posts.append(lines)
        answer = self.answers.pop(0) if self.answers else self.judge(lines)
        if answer.status == 204:
            self.taken += lines
            for line in lines:
                series, fields, ns = line.split(" ")
                self._points[series, ns] = fields
        return answer


@contextlib.contextmanager
def scripted(port: int = 0) -> Iterator[Scripted]:
    script = Scripted()
    open_connections: list[socket.socket] = []

    class Handler(BaseHTTPRequestHandler):
        protocol_version = "HTTP/1.1"

        def setup(self) -> None:
            super().setup()
            open_connections.append(self.connection)

        def do_POST(self) -> None:
            script.clients.append(self.client_address[1])
            body = self.rfile.read(int(self.headers["Content-Length"])).decode()
            answer = script.take(self.path, self.headers.get("Authorization"), body.split("\n"))
            if answer.status == HANG:
                script.closing.wait(30)
                self.close_connection = True
                return
            if answer.status == RESET:
                self.connection.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0))
                self.connection.close()
                self.close_connection = True
                return
            self.send_response(answer.status)
            for name, value in answer.headers:
                self.send_header(name, value)
            content = answer.body.encode()
            if answer.status != 204:
                self.send_header("Content-Length", str(len(content)))
            self.end_headers()
            if answer.status != 204:
                self.wfile.write(content)

        def finish(self) -> None:
            with contextlib.suppress(OSError):
                super().finish()

        def log_message(self, *_: object) -> None:
            pass

    class Server(ThreadingHTTPServer):
        def handle_error(self, *_: object) -> None:
            pass  # a connection that the test broke

    with Server(("127.0.0.1", port), Handler) as server:
        script.url = f"http://127.0.0.1:{server.server_address[1]}"
        thread = threading.Thread(target=server.serve_forever, args=(0.02,), daemon=True)
        thread.start()
        try:
            yield script
        finally:
            script.closing.set()
            server.shutdown()
            for connection in open_connections:  # kept alive: they would go on answering
                with contextlib.suppress(OSError):
                    connection.shutdown(socket.SHUT_RDWR)
            thread.join()
