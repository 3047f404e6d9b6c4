"""The real daemon on the simulated farm in a real browser: pages move, people act, a dead daemon is told."""

import os
import signal
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import httpx
import pytest
from playwright.sync_api import Browser, BrowserContext, Page, expect

from tests.browser.conftest import ROOT, Server, at_once, clock_moves, watched
from tests.browser.silence import late_pages

pytestmark = pytest.mark.browser

RAISED_MS = 90_000
"""The farm's own faults come within this time, at three times real speed."""


class Demo(Server):
    """`gaugehouse demo` on a port of its own, at three times real speed so that alarms come soon."""

    def __init__(self, folder: Path) -> None:
        super().__init__()
        self.folder = folder

    def start(self) -> None:
        command = [sys.executable, "-m", "gaugehouse.cli", "demo", "--bare", "--port", str(self.port), "--speed", "3"]
        self.process = subprocess.Popen(
            [*command, "--dir", str(self.folder)],
            cwd=ROOT,
            stderr=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
            env=os.environ | {"PYTHONPATH": str(ROOT)},
        )
        assert self.process.stderr is not None
        for line in self.process.stderr:
            if self.url in line:
                return
        raise AssertionError(f"the demo did not start (exit {self.process.poll()})")


@pytest.fixture
def demo(tmp_path: Path) -> Iterator[Demo]:
    with Demo(tmp_path / "demo") as made:
        yield made


@pytest.fixture
def page(browser: Browser, demo: Demo) -> Iterator[Page]:
    with watched(browser, demo) as context:
        yield context.new_page()


def test_the_board_of_the_demo_moves_and_an_alarm_is_acknowledged(page: Page, demo: Demo) -> None:
    page.goto(demo.url)
    volume = page.locator("#row-north .volume .fig")
    before = volume.inner_text()
    clock_moves(page)
    expect(volume).not_to_have_text(before)
    expect(page.get_by_text("SIMULATED", exact=True)).to_be_visible()

    page.goto(f"{demo.url}/alarms")
    line = page.locator("#standing li, main li", has_text="Finch Avgas").first
    expect(line).to_be_visible(timeout=RAISED_MS)
    line.get_by_role("checkbox").check()
    page.get_by_label("Your name").fill("Ada")
    page.get_by_label("Comment").fill("loop looked at")
    page.get_by_role("button", name="Acknowledge 1 chosen").click()
    expect(page.locator("#acknowledge output")).to_contain_text("acknowledged by Ada")
    expect(line.locator(".how b")).to_have_text("acknowledged")
    expect(page.locator("#past tr", has_text="loop looked at").first).to_be_visible()


def test_two_browsers_that_acknowledge_at_once_make_one_entry_and_both_are_told(browser: Browser, demo: Demo) -> None:
    with watched(browser, demo) as one, watched(browser, demo) as two:
        pages = [one.new_page(), two.new_page()]
        for page, name in zip(pages, ("Ada", "Bo"), strict=True):
            page.goto(f"{demo.url}/alarms")
            line = page.locator("main li", has_text="Finch Avgas").filter(has_text="not acknowledged").first
            expect(line).to_be_visible(timeout=RAISED_MS)
            line.get_by_role("checkbox").check()
            page.get_by_label("Your name").fill(name)
        alarm, occurrence = (
            pages[0].locator("input[name=choose]:checked").get_attribute(f"data-{what}")
            for what in ("alarm", "occurrence")
        )
        at_once(pages, "/acknowledge", lambda page: page.get_by_role("button", name="Acknowledge 1 chosen").click())
        for page in pages:
            expect(page.locator("#acknowledge output")).to_contain_text("acknowledged by")
        said = [page.locator("#acknowledge output").inner_text() for page in pages]
    history = httpx.get(f"{demo.url}/api/alarms/history", timeout=60).json()
    entries = [
        row for row in history
        if (row["id"], str(row["occurrence"]), row["event"]) == (alarm, occurrence, "acknowledged")
    ]  # fmt: skip
    assert len(entries) == 1
    assert all(f"acknowledged by {entries[0]['by']}" in text for text in said), (entries, said)
    assert sum("was acknowledged by" in text for text in said) == 1


def test_a_killed_daemon_is_told_within_six_seconds_and_its_return_is_seen(page: Page, demo: Demo) -> None:
    page.goto(demo.url)
    clock_moves(page)
    assert late_pages([("the board", page)], demo.kill) == []
    expect(page.locator("#silent")).to_be_visible()
    demo.start()
    expect(page.locator("#silent")).to_be_hidden()
    clock_moves(page)


def test_a_frozen_daemon_is_told_within_six_seconds_and_recovers(page: Page, demo: Demo) -> None:
    page.goto(f"{demo.url}/tank/palm")
    clock_moves(page)
    assert late_pages([("a tank", page)], lambda: demo.signal(signal.SIGSTOP)) == []
    expect(page.locator("#silent")).to_be_visible()
    demo.signal(signal.SIGCONT)
    expect(page.locator("#silent")).to_be_hidden()
    clock_moves(page)


@pytest.mark.parametrize("path", ["/", "/tank/north", "/tank/dune", "/alarms", "/buses", "/loops", "/loops/palm_loop"])
def test_every_page_of_the_demo_opens_without_an_error(
    context_of_demo: BrowserContext, path: str, shared: Demo
) -> None:
    page = context_of_demo.new_page()
    page.goto(shared.url + path)
    clock_moves(page)
    width = page.evaluate("() => document.documentElement.scrollWidth - document.documentElement.clientWidth")
    assert width <= 0, "the page is wider than the screen"
    page.close()


@pytest.fixture(scope="module")
def shared(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Demo]:
    with Demo(tmp_path_factory.mktemp("shared")) as made:
        yield made


@pytest.fixture(scope="module")
def context_of_demo(browser: Browser, shared: Demo) -> Iterator[BrowserContext]:
    with watched(browser, shared) as context:
        yield context
