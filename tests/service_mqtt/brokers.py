"""A real Mosquitto for one test, and an independent listener: mosquitto_sub, which shares no code with aiomqtt."""

import asyncio
import contextlib
import json
import os
import signal
import subprocess
from collections.abc import AsyncIterator, Callable, Iterator, Sequence
from pathlib import Path
from typing import Any, NamedTuple

from tests.ports import free_port
from tests.services import need

UP_S = 30.0


class Heard(NamedTuple):
    topic: str
    payload: str
    retained: bool
    qos: int

    @property
    def json(self) -> dict[str, Any]:
        return json.loads(self.payload)


class Mosquitto:
    """A broker on a free port. `lines`: its configuration beside the listener; by default everybody may come in.

    text: a whole configuration instead, for a `port` of the test's choice.
    """

    def __init__(self, folder: Path, *lines: str, port: int = 0, text: str = "") -> None:
        self.port = port or free_port()
        self._program = need("mosquitto")
        self._config = folder / f"mosquitto-{self.port}.conf"
        own = ["user root"] if os.geteuid() == 0 else []  # else it gives up root and cannot read the test's files
        listener = [f"listener {self.port} 127.0.0.1", *(lines or ("allow_anonymous true",))]
        self._config.write_text("\n".join([*own, *([text] if text else listener), ""]), encoding="utf-8")
        self._process: subprocess.Popen[bytes] | None = None

    async def start(self) -> None:
        self._process = subprocess.Popen(
            [self._program, "-c", str(self._config)], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
        )
        async with asyncio.timeout(UP_S):
            while True:
                assert self._process.poll() is None, f"mosquitto ended with {self._process.returncode}"
                try:
                    _, writer = await asyncio.open_connection("127.0.0.1", self.port)
                except OSError:
                    await asyncio.sleep(0.02)
                else:
                    writer.close()
                    with contextlib.suppress(ConnectionError):
                        await writer.wait_closed()
                    return

    def kill(self) -> None:
        self.send(signal.SIGKILL)
        assert self._process is not None
        self._process.wait()

    def send(self, number: int) -> None:
        assert self._process is not None
        self._process.send_signal(number)

    def end(self) -> None:
        if self._process is not None and self._process.poll() is None:
            self._process.send_signal(signal.SIGCONT)
            self.kill()


@contextlib.asynccontextmanager
async def mosquitto(folder: Path, *lines: str, port: int = 0, text: str = "") -> AsyncIterator[Mosquitto]:
    broker = Mosquitto(folder, *lines, port=port, text=text)
    try:
        await broker.start()
        yield broker
    finally:
        broker.end()


class Listener:
    """What a subscriber hears, in order."""

    def __init__(self, process: asyncio.subprocess.Process) -> None:
        self._process = process
        self.heard: list[Heard] = []

    async def until(self, done: Callable[[list[Heard]], object], seconds: float = 40.0) -> list[Heard]:
        """Listen until a condition holds of all that was heard."""
        assert self._process.stdout is not None
        try:
            async with asyncio.timeout(seconds):
                while not done(self.heard):
                    line = await self._process.stdout.readline()
                    assert line, "the listener was cut off"
                    said = json.loads(line)
                    payload = said["payload"] if isinstance(said["payload"], str) else json.dumps(said["payload"])
                    self.heard.append(Heard(said["topic"], payload, bool(said["retain"]), said["qos"]))
        except TimeoutError:
            raise AssertionError(
                f"not heard within {seconds:g} s; the last of {len(self.heard)}: {self.heard[-3:]}"
            ) from None
        return self.heard

    def of(self, part: str) -> list[Heard]:
        return [message for message in self.heard if f"/{part}/" in message.topic or message.topic.endswith(f"/{part}")]

    def last(self, topic: str) -> Heard:
        return [message for message in self.heard if message.topic.endswith(topic)][-1]


@contextlib.asynccontextmanager
async def listening(port: int, *options: str, announce: bool = True) -> AsyncIterator[Listener]:
    """A subscriber to everything of ours. It is really there: it has heard a retained word of its own before the block
    begins (without `announce`, for one who may not write, it comes when it comes)."""
    to = ["-h", "127.0.0.1", "-p", str(port), *options]
    publish = [need("mosquitto_pub", "mosquitto-clients"), *to, "-t", "tests/here", "-m", "1", "-r", "-q", "1"]
    if announce:
        subprocess.run(publish, check=True, timeout=30)
    subscribe = [
        need("mosquitto_sub", "mosquitto-clients"),
        *to,
        "-t",
        "gaugehouse/#",
        "-t",
        "tests/here",
        "-q",
        "1",
        "-F",
        "%j",
    ]
    process = await asyncio.create_subprocess_exec(*subscribe, stdout=asyncio.subprocess.PIPE, limit=1 << 20)
    listener = Listener(process)
    try:
        if announce:
            await listener.until(lambda heard: any(message.topic == "tests/here" for message in heard), 30)
        listener.heard[:] = [message for message in listener.heard if message.topic != "tests/here"]
        yield listener
    finally:
        with contextlib.suppress(ProcessLookupError):
            process.kill()
        await process.wait()


class Papers(NamedTuple):
    """Certificates in PEM files, made for one test run."""

    ca: Path
    certificate: Path
    key: Path
    other_ca: Path
    client: Path
    client_key: Path

    def lines(self, *more: str) -> Sequence[str]:
        """A broker's configuration with TLS."""
        return (f"cafile {self.ca}", f"certfile {self.certificate}", f"keyfile {self.key}", *more)


def papers(folder: Path, host: str = "localhost") -> Papers:
    """One authority that signs the broker (for `host`) and a client, and one that signs nobody."""
    openssl = need("openssl")

    def run(*words: str) -> None:
        subprocess.run([openssl, *words], check=True, capture_output=True, timeout=30)

    def authority(name: str) -> tuple[Path, Path]:
        key, certificate = folder / f"{name}.key", folder / f"{name}.pem"
        run(*_NEW, "-x509", "-days", "2", "-subj", f"/CN={name}", "-keyout", str(key), "-out", str(certificate))
        return key, certificate

    def signed(name: str, by: tuple[Path, Path], extension: str) -> tuple[Path, Path]:
        key, request, certificate = (folder / f"{name}.{end}" for end in ("key", "csr", "pem"))
        extensions = folder / f"{name}.ext"
        extensions.write_text(extension, encoding="ascii")
        run(*_NEW, "-subj", f"/CN={name}", "-keyout", str(key), "-out", str(request))
        run(
            "x509", "-req", "-days", "2", "-in", str(request), "-CA", str(by[1]), "-CAkey", str(by[0]),
            "-CAcreateserial", "-extfile", str(extensions), "-out", str(certificate),
        )  # fmt: skip
        return key, certificate

    ours, other = authority("authority"), authority("stranger")
    key, certificate = signed("broker", ours, f"subjectAltName=DNS:{host}")
    client_key, client = signed("client", ours, "extendedKeyUsage=clientAuth")
    return Papers(ours[1], certificate, key, other[1], client, client_key)


_NEW = ("req", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:prime256v1", "-nodes")


@contextlib.contextmanager
def stopped(broker: Mosquitto) -> Iterator[None]:
    """A broker that hangs: the machine takes our bytes, nobody answers."""
    broker.send(signal.SIGSTOP)
    try:
        yield
    finally:
        broker.send(signal.SIGCONT)
