"""A headless browser and a console to look at: the server is a process of its own, so that it can be killed and frozen.

`Console` is the one place that knows how the server is started; point `COMMAND` elsewhere to drive another one.
"""

import contextlib
import os
import signal
import socket
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, BrowserContext, Page, Request, sync_playwright

from tests.services import need

ROOT = Path(__file__).parents[2]
COMMAND = [sys.executable, "-m", "tests.browser.serve"]
FLAGS = [
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--disable-quic",
    "--host-resolver-rules=MAP * ~NOTFOUND, EXCLUDE 127.0.0.1",
]


def free_port() -> int:
    with contextlib.closing(socket.create_server(("127.0.0.1", 0))) as listener:
        return int(listener.getsockname()[1])


class Console:
    """A console in a process of its own, always on the same port."""

    def __init__(self, password: str = "") -> None:
        self.port = free_port()
        self.password = password
        self.process: subprocess.Popen[str] | None = None

    @property
    def url(self) -> str:
        return f"http://127.0.0.1:{self.port}"

    def start(self, build: str = "7") -> None:
        """Start it and wait until it listens."""
        command = [*COMMAND, str(self.port), build, self.password]
        self.process = subprocess.Popen(command, cwd=ROOT, stdout=subprocess.PIPE, text=True)
        assert self.process.stdout is not None
        line = self.process.stdout.readline()
        assert line.startswith("ready"), f"the console did not start (exit {self.process.poll()})"

    def signal(self, number: signal.Signals) -> None:
        assert self.process is not None
        os.kill(self.process.pid, number)

    def kill(self) -> None:
        """End it at once, frozen or not."""
        if self.process is not None:
            self.process.kill()
            self.process.wait(10)
            assert self.process.stdout is not None
            self.process.stdout.close()
            self.process = None


@pytest.fixture
def console() -> Iterator[Console]:
    made = Console()
    made.start()
    yield made
    made.kill()


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    chromium = need("chromium")
    with sync_playwright() as play:
        opened = play.chromium.launch(executable_path=chromium, args=FLAGS)
        yield opened
        opened.close()


@pytest.fixture
def context(browser: Browser, console: Console) -> Iterator[BrowserContext]:
    with watched(browser, console) as opened:
        yield opened


@contextlib.contextmanager
def watched(browser: Browser, console: Console) -> Iterator[BrowserContext]:
    """A browser whose every request is watched: one that leaves the console, or any script error, fails the test."""
    opened = browser.new_context(viewport={"width": 1366, "height": 768})
    elsewhere: list[str] = []
    errors: list[str] = []

    def watch(request: Request) -> None:
        if not request.url.startswith((console.url + "/", f"ws://127.0.0.1:{console.port}/")):
            elsewhere.append(request.url)

    opened.on("request", watch)
    opened.on("weberror", lambda error: errors.append(str(error.error)))
    opened.set_default_timeout(15_000)
    yield opened
    opened.close()
    assert elsewhere == []
    assert errors == []


@pytest.fixture
def page(context: BrowserContext) -> Page:
    return context.new_page()
