"""A headless browser and a console to look at: the server is a process of its own, so that it can be killed and frozen.

`Console` is the one place that knows how the server is started: forked from a process that has imported it once, since
importing it takes longer than most tests.
"""

import contextlib
import multiprocessing
import os
import signal
import subprocess
from collections.abc import Iterator
from multiprocessing.process import BaseProcess
from pathlib import Path

import pytest
from playwright.sync_api import Browser, BrowserContext, Page, Request, sync_playwright

from tests.browser.everypage import every_page
from tests.browser.serve import serve
from tests.ports import free_port
from tests.services import need

ROOT = Path(__file__).parents[2]
NURSERY = multiprocessing.get_context("forkserver")
NURSERY.set_forkserver_preload(["tests.browser.serve"])
STARTS_WITHIN_S = 60
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


class Server:
    """Something that serves pages on a port of its own, in a process of its own."""

    def __init__(self) -> None:
        self.port = free_port()
        self.process: BaseProcess | subprocess.Popen[str] | None = None

    @property
    def url(self) -> str:
        return f"http://127.0.0.1:{self.port}"

    def signal(self, number: signal.Signals) -> None:
        assert self.process is not None
        assert self.process.pid is not None
        os.kill(self.process.pid, number)

    def kill(self) -> None:
        """End it at once, frozen or not."""
        match self.process:
            case BaseProcess() as forked:
                forked.kill()
                forked.join(10)
                forked.close()
            case subprocess.Popen() as program:
                program.kill()
                program.wait(10)
                for stream in (program.stdin, program.stdout, program.stderr):
                    if stream is not None:
                        stream.close()
        self.process = None


class Console(Server):
    """The console with a fake farm. password: that of its user Ana (empty: it has no users)."""

    def __init__(self, password: str = "") -> None:
        super().__init__()
        self.password = password

    def start(self, build: str = "7") -> None:
        """Start it and wait until it listens."""
        hears, says = NURSERY.Pipe(duplex=False)
        self.process = NURSERY.Process(target=serve, args=(self.port, build, self.password, says.send), daemon=True)
        self.process.start()
        says.close()
        with hears:
            assert hears.poll(STARTS_WITHIN_S), "the console did not start"
            assert hears.recv() == self.port


@pytest.fixture
def console() -> Iterator[Console]:
    made = Console()
    made.start()
    yield made
    made.kill()


@pytest.fixture(scope="module")
def running() -> Iterator[Console]:
    """One console for all tests of a file: for those that change nothing in it."""
    made = Console()
    made.start()
    yield made
    made.kill()


@pytest.fixture(scope="module")
def pages(running: Console) -> list[str]:
    """The addresses of all its pages."""
    return every_page(running.url)


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
def watched(browser: Browser, console: Server) -> Iterator[BrowserContext]:
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
