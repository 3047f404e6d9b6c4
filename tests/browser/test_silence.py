"""A server that says nothing any more is told on every page, and so is its return."""

import signal
import time
from collections.abc import Callable
from typing import Any, Final

import pytest
from playwright.sync_api import Browser, Page, expect

from tests.browser.conftest import Console, watched
from tests.browser.everypage import NOT_THERE, templates_of

pytestmark = [pytest.mark.browser, pytest.mark.timeout(600)]

SAYS_SO_MS: Final = 6_000
AT_ONCE: Final = 15
"""Pages open at the same time; all at once would be more work than two cores can do."""

WATCH: Final = """() => {
  window.told = undefined;
  window.stood = 0;
  const beat = 100, banner = document.getElementById("silent");
  let last = performance.now();
  setInterval(() => {
    const now = performance.now();
    window.stood = Math.max(window.stood, now - last - beat);
    last = now;
  }, beat);
  new MutationObserver(() => { window.told ??= banner.hasAttribute("data-off") ? undefined : Date.now(); })
    .observe(banner, { attributes: true });
}"""


def test_a_frozen_and_a_killed_server_are_told_within_six_seconds_on_every_page_and_so_is_their_return(
    browser: Browser, running: Console, pages: list[str]
) -> None:
    """A page that says "not found" shows no figure that could age."""
    late: list[str] = []
    alive = [path for path in templates_of(pages) if path not in NOT_THERE]
    for first in range(0, len(alive), AT_ONCE):
        with watched(browser, running) as context:
            opened = [(path, context.new_page()) for path in alive[first : first + AT_ONCE]]
            for path, page in opened:
                page.goto(running.url + path, timeout=60_000)
            late += late_of(opened, lambda: running.signal(signal.SIGSTOP), lambda: running.signal(signal.SIGCONT))
            late += late_of(opened, running.kill, running.start)
    assert late == []


def late_of(opened: list[tuple[str, Page]], silence: Callable[[], None], again: Callable[[], None]) -> list[str]:
    """The pages that told of a silent server too late; all must hear it again afterwards.

    What a busy machine takes is not the page's: a beat of its own tells how long a page got no turn at all.
    """
    for _, page in opened:
        page.evaluate(WATCH)
    since_ms = 1000 * time.time()
    silence()
    late = []
    try:
        for path, page in opened:
            page.wait_for_function("() => window.told", timeout=20_000)
            found: dict[str, Any] = page.evaluate("() => ({ told: window.told, stood: window.stood })")
            took_ms = found["told"] - since_ms
            if took_ms > SAYS_SO_MS + found["stood"]:
                late.append(f"{path} after {took_ms:.0f} ms, of which it got no turn for {found['stood']:.0f} ms")
            assert page.title().startswith("NO DATA"), path
    finally:
        again()
    for path, page in opened:
        expect(page.locator("#silent"), f"{path} hears it again").to_have_attribute("data-off", "", timeout=60_000)
    return late
