"""Real time-series servers for tests and benchmarks, on free loopback ports, with their data in a folder of the test's.

`victoria_metrics` takes InfluxDB's line protocol at /api/v2/write as it comes. Debian's `influxd` is 1.6, which has no
such address: `influx` puts a small proxy before it that rewrites the path and nothing else, in place of 1.8 and 2.
"""

import contextlib
import os
import subprocess
import threading
import time
import urllib.error
import urllib.parse
import urllib.request
from collections.abc import Iterator, Sequence
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import NamedTuple

from tests.ports import free_port
from tests.services import need

START_S = 60.0


class Server(NamedTuple):
    """A running server: where it listens, where its data lie, and its process."""

    url: str
    folder: Path
    process: subprocess.Popen[bytes]


@contextlib.contextmanager
def victoria_metrics(folder: Path, port: int | None = None, more: Sequence[str] = ()) -> Iterator[Server]:
    """Keeps ten years, drops the second of two equal points, answers for what is newer than 30 s too. more: options."""
    program = need("victoria-metrics")
    port = port or free_port()
    command = [
        program, f"-httpListenAddr=127.0.0.1:{port}", f"-storageDataPath={folder}", "-retentionPeriod=10y",
        "-search.latencyOffset=0s", "-dedup.minScrapeInterval=1ms", "-selfScrapeInterval=0", "-loggerLevel=ERROR",
        *more,
    ]  # fmt: skip
    with _running(command, {}, f"http://127.0.0.1:{port}/health", folder) as process:
        yield Server(f"http://127.0.0.1:{port}", folder, process)


@contextlib.contextmanager
def influxd(folder: Path, database: str = "tanks", port: int | None = None) -> Iterator[Server]:
    """InfluxDB 1.6 with one database, without the address that newer ones write to."""
    program = need("influxd", "influxdb")
    port = port or free_port()
    environment = {
        "INFLUXDB_REPORTING_DISABLED": "true",
        "INFLUXDB_BIND_ADDRESS": f"127.0.0.1:{free_port()}",
        "INFLUXDB_HTTP_BIND_ADDRESS": f"127.0.0.1:{port}",
        "INFLUXDB_DATA_DIR": str(folder / "data"),
        "INFLUXDB_DATA_WAL_DIR": str(folder / "wal"),
        "INFLUXDB_META_DIR": str(folder / "meta"),
        "INFLUXDB_MONITOR_STORE_ENABLED": "false",
        "INFLUXDB_HTTP_LOG_ENABLED": "false",
        "INFLUXDB_HTTP_MAX_BODY_SIZE": "0",
    }
    url = f"http://127.0.0.1:{port}"
    with _running([program, "run", "-config", os.devnull], environment, f"{url}/ping", folder) as process:
        question = urllib.parse.urlencode({"q": f"CREATE DATABASE {database}"})
        urllib.request.urlopen(f"{url}/query", question.encode(), timeout=60).close()
        yield Server(url, folder, process)


@contextlib.contextmanager
def influx(folder: Path, database: str = "tanks", port: int | None = None) -> Iterator[Server]:
    """`influxd` behind a proxy that turns /api/v2/write?bucket=B into /write?db=B."""
    with influxd(folder, database) as server, _proxy(server.url, port or free_port()) as url:
        yield Server(url, folder, server.process)


@contextlib.contextmanager
def _running(
    command: list[str], environment: dict[str, str], ready: str, folder: Path
) -> Iterator[subprocess.Popen[bytes]]:
    folder.mkdir(parents=True, exist_ok=True)
    with (folder.parent / f"{folder.name}.log").open("ab") as log:
        process = subprocess.Popen(command, env=os.environ | environment, stdout=log, stderr=log)
    try:
        _wait(ready, process, folder)
        yield process
    finally:
        process.terminate()
        try:
            process.wait(30)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait()


def _wait(url: str, process: subprocess.Popen[bytes], folder: Path) -> None:
    until = time.monotonic() + START_S
    while time.monotonic() < until:
        if process.poll() is not None:
            break
        with contextlib.suppress(OSError, urllib.error.URLError):
            urllib.request.urlopen(url, timeout=2).close()
            return
        time.sleep(0.05)
    log = (folder.parent / f"{folder.name}.log").read_text(errors="replace")
    raise RuntimeError(f"{process.args}: not up after {START_S:g} s:\n{log[-2000:]}")


@contextlib.contextmanager
def _proxy(target: str, port: int) -> Iterator[str]:
    class Handler(BaseHTTPRequestHandler):
        protocol_version = "HTTP/1.1"

        def do_GET(self) -> None:
            self._pass(None)

        def do_POST(self) -> None:
            self._pass(self.rfile.read(int(self.headers.get("Content-Length", "0"))))

        def _pass(self, body: bytes | None) -> None:
            path, _, query = self.path.partition("?")
            if path == "/api/v2/write":
                asked = urllib.parse.parse_qs(query)
                names = {"db": asked["bucket"][0], "precision": asked.get("precision", ["ns"])[0]}
                path, query = "/write", urllib.parse.urlencode(names)
            request = urllib.request.Request(f"{target}{path}?{query}", body)
            if body is not None and self.headers.get("Content-Encoding"):
                request.add_header("Content-Encoding", self.headers["Content-Encoding"])
            try:
                with urllib.request.urlopen(request, timeout=60) as answer:
                    self._answer(answer.status, answer.headers, answer.read())
            except urllib.error.HTTPError as error:
                self._answer(error.code, error.headers, error.read())
            except OSError as error:
                self._answer(502, {}, str(error).encode())

        def _answer(self, status: int, headers: object, body: bytes) -> None:
            self.send_response(status)
            reason = getattr(headers, "get", lambda name: None)("X-Influxdb-Error")
            if reason:
                self.send_header("X-Influxdb-Error", reason)
            self.send_header("Content-Type", "application/json")
            if status != 204:
                self.send_header("Content-Length", str(len(body)))
            self.end_headers()
            if status != 204:
                self.wfile.write(body)

        def log_message(self, *_: object) -> None:
            pass

    with ThreadingHTTPServer(("127.0.0.1", port), Handler) as server:
        thread = threading.Thread(target=server.serve_forever, daemon=True)
        thread.start()
        try:
            yield f"http://127.0.0.1:{port}"
        finally:
            server.shutdown()
            thread.join()


def size_of(folder: Path) -> int:
    """Bytes of all files below a folder."""
    return sum(path.stat().st_size for path in folder.rglob("*") if path.is_file())
