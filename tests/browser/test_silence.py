"""A server that says nothing any more is told on every page, and so is its return."""

import signal
from collections.abc import Callable
from typing import Final

import pytest
from playwright.sync_api import Browser, Page, expect

from tests.browser.conftest import Console, watched
from tests.browser.everypage import NOT_THERE, templates_of
from tests.browser.silence import late_pages

pytestmark = [pytest.mark.browser, pytest.mark.timeout(600)]

AT_ONCE: Final = 15
"""Pages open at the same time; all at once would be more work than two cores can do."""


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
    """The pages that told of a silent server too late; all must hear it again afterwards."""
    try:
        late = late_pages(opened, silence)
    finally:
        again()
    for path, page in opened:
        expect(page.locator("#silent"), f"{path} hears it again").to_have_attribute("data-off", "", timeout=60_000)
    return late
