"""A real HTTP server as a process of its own.

`python -m tests.service_notify.hookserver PORT FILE [STATUS [CERTIFICATE KEY]]`

Each request that it has taken is one line of JSON in FILE, on the disk before it is answered with STATUS.
"""

import contextlib
import json
import os
import ssl
import sys
import time
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path


def main(port: int, path: Path, status: int = 200, certificate: str = "", key: str = "") -> None:
    class Hook(BaseHTTPRequestHandler):
        def do_POST(self) -> None:
            begun_s = time.time()
            body = self.rfile.read(int(self.headers["Content-Length"]))
            if status == 0:
                time.sleep(60)
            if 200 <= status < 300:
                with path.open("a", encoding="utf-8") as file:
                    line = {
                        "path": self.path,
                        "headers": dict(self.headers.items()),
                        "body": json.loads(body),
                        "at_s": begun_s,
                    }
                    file.write(json.dumps(line) + "\n")
                    file.flush()
                    os.fsync(file.fileno())
            self.send_response(status)
            self.send_header("Content-Type", "text/plain")
            if status == 302:
                self.send_header("Location", "https://elsewhere.example/")
            self.end_headers()
            with contextlib.suppress(BrokenPipeError, ConnectionResetError):  # the sender gave us up
                self.wfile.write(f"you came by {self.path} with {self.headers.get('Authorization')}".encode())

        def log_message(self, *args: object) -> None:
            pass

    server = ThreadingHTTPServer(("127.0.0.1", port), Hook)
    if certificate:
        context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
        context.load_cert_chain(certificate, key)
        server.socket = context.wrap_socket(server.socket, server_side=True)
    print("up", flush=True)
    server.serve_forever()


if __name__ == "__main__":
    main(int(sys.argv[1]), Path(sys.argv[2]), int((sys.argv[3:] or ["200"])[0]), *sys.argv[4:])
