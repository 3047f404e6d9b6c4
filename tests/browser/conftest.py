"""A headless browser and a console to look at: the server is a process of its own, so that it can be killed and frozen.

`Console` is the one place that knows how the server is started: forked from a process that has imported it once, since
importing it takes longer than most tests.
"""

import contextlib
import multiprocessing
import os
import signal
import subprocess
from abc import ABC, abstractmethod
from collections.abc import Callable, Iterator
from multiprocessing.process import BaseProcess
from pathlib import Path
from typing import Self

import pytest
from playwright.sync_api import Browser, BrowserContext, Page, Request, expect, sync_playwright

from tests.browser.everypage import every_page
from tests.browser.serve import serve
from tests.ports import free_port
from tests.services import need

ROOT = Path(__file__).parents[2]
NURSERY = multiprocessing.get_context("forkserver")
NURSERY.set_forkserver_preload(["tests.browser.serve"])
STARTS_WITHIN_S = 60
ENDS_WITHIN_S = 60
PATIENCE_MS = 30_000
"""How long a test waits for what must come, where nothing asks for a time: a busy machine may stand for seconds."""
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


class Server(ABC):
    """Something that serves pages on a port of its own, in a process of its own."""

    def __init__(self) -> None:
        self.port = free_port()
        self.process: BaseProcess | subprocess.Popen[str] | None = None

    @abstractmethod
    def start(self) -> None:
        """Start it and wait until it listens."""

    def __enter__(self) -> Self:
        try:
            self.start()
        except BaseException:
            self.kill()
            raise
        return self

    def __exit__(self, *_: object) -> None:
        self.kill()

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
                forked.join(ENDS_WITHIN_S)
                forked.close()
            case subprocess.Popen() as program:
                program.kill()
                program.wait(ENDS_WITHIN_S)
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
        hears, says = NURSERY.Pipe(duplex=False)
        self.process = NURSERY.Process(target=serve, args=(self.port, build, self.password, says.send), daemon=True)
        self.process.start()
        says.close()
        with hears:
            assert hears.poll(STARTS_WITHIN_S), "the console did not start"
            assert hears.recv() == self.port


@pytest.fixture(scope="session", autouse=True)
def patience() -> None:
    expect.set_options(timeout=PATIENCE_MS)


@pytest.fixture
def console() -> Iterator[Console]:
    with Console() as made:
        yield made


@pytest.fixture(scope="module")
def running() -> Iterator[Console]:
    """One console for all tests of a file: for those that change nothing in it."""
    with Console() as made:
        yield made


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
    opened.set_default_timeout(PATIENCE_MS)
    yield opened
    opened.close()
    assert elsewhere == []
    assert errors == []


@pytest.fixture
def page(context: BrowserContext) -> Page:
    return context.new_page()


def clock_moves(page: Page) -> None:
    """Wait until the page has heard the server."""
    clock = page.locator("#clock").inner_text()
    expect(page.locator("#clock")).not_to_have_text(clock)


HOLD = """(part) => {
  const sent = window.fetch;
  const gate = new Promise((open) => { window.letGo = open; });
  window.fetch = async (...all) => {
    if (String(all[0]).includes(part)) { window.waits = true; await gate; }
    const [address, asked] = all;
    return sent(address, { ...asked, signal: undefined });
  };
}"""


def at_once(pages: list[Page], part: str, press: Callable[[Page], None]) -> None:
    """Lay what several pages send upon each other: each one's request to an address with this part is held until all
    have been pressed and want to send, however slow the machine is between two of them."""
    for page in pages:
        page.evaluate(HOLD, part)
    for page in pages:
        press(page)
    for page in pages:
        page.wait_for_function("() => window.waits")
    for page in pages:
        page.evaluate("() => window.letGo()")
