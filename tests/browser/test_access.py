"""Every page, by everyone: by axe, by keyboard, on every screen and in every light.

Pages are found by their links (`everypage`). Rules: axe-core's for WCAG 2.0 to 2.2 A and AA and its own best practice.
"""

import re
from collections.abc import Iterator
from typing import Any, Final

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, BrowserContext, Page

from tests.browser.conftest import Console, watched
from tests.browser.everypage import NOT_THERE, templates_of

pytestmark = [pytest.mark.browser, pytest.mark.timeout(300)]

LIGHTS: Final = ("day", "night", "sun")
SCREENS: Final = {
    "wall": (1920, 1080), "desk": (1366, 768), "tablet": (1280, 800), "tablet upright": (800, 1280),
    "phone": (390, 844),
}  # fmt: skip
RULES: Final = {"type": "tag", "values": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]}
BY_COLOUR: Final = {"type": "rule", "values": ["color-contrast", "link-in-text-block"]}
"""All that another light changes: its rules set colours and the width of lines, and hide nothing."""
MOST_STOPS: Final = 60

LOOK = """() => {
  const root = document.documentElement;
  const hidden = (e) => !e.getClientRects().length;
  const scrolls = (e) => /auto|scroll/.test(getComputedStyle(e).overflowX) && e.scrollWidth > e.clientWidth + 1;
  const named = (e) => e.tabIndex === 0 && (e.getAttribute("aria-label") ?? "") !== "";
  return {
    wider: root.scrollWidth - root.clientWidth,
    unreached: [...document.querySelectorAll("body *")].filter((e) => scrolls(e) && !named(e))
      .map((e) => e.outerHTML.slice(0, 80)),
    small: [...document.querySelectorAll("button, input, select, textarea, summary, nav a")].filter((e) => !hidden(e))
      .map((e) => [e.outerHTML.slice(0, 80), e.getBoundingClientRect()])
      .filter(([, box]) => box.width > 1 && (box.width < 24 || box.height < 24)).map(([text]) => text),
  };
}"""
STOP = """() => {
  const e = document.activeElement;
  if (!e || e === document.body) return null;
  const style = getComputedStyle(e), box = e.getBoundingClientRect();
  return {
    what: e.outerHTML.slice(0, 90),
    ring: style.outlineStyle !== "none" && parseFloat(style.outlineWidth) >= 2,
    seen: box.bottom > 0 && box.top < innerHeight && box.right > 0 && box.left < innerWidth && box.width > 0,
    at: [...document.querySelectorAll("*")].indexOf(e),
  };
}"""


@pytest.fixture(scope="module")
def everywhere(browser: Browser, running: Console) -> Iterator[BrowserContext]:
    with watched(browser, running) as opened:
        yield opened


def wear(page: Page, light: str) -> None:
    page.evaluate("light => { document.documentElement.dataset.light = light; }", light)


def told(violation: dict[str, Any]) -> str:
    return f"{violation['id']}: " + "; ".join(node["html"][:100] for node in violation["nodes"][:4])


def test_axe_finds_nothing_on_any_page_in_any_light(
    everywhere: BrowserContext, running: Console, pages: list[str]
) -> None:
    """Every rule by day; those of colour in one of the other lights, in turns."""
    page, script = everywhere.new_page(), Axe().axe_script
    found: set[str] = set()
    for number, path in enumerate(pages):
        page.goto(running.url + path)
        page.evaluate(script)
        for light in ("day", LIGHTS[1 + number % 2]):
            wear(page, light)
            options = {"runOnly": RULES if light == "day" else BY_COLOUR, "resultTypes": ["violations"]}
            answer = page.evaluate("options => window.axe.run(document, options)", options)
            found |= {f"{path} in {light}: {told(one)}" for one in answer["violations"]}
    page.close()
    assert found == set()


def test_every_page_fits_every_screen_in_every_light_without_an_error(
    everywhere: BrowserContext, running: Console, pages: list[str]
) -> None:
    """The page never scrolls sideways; a table that does is reached by keyboard and has a name; targets are 24 px.

    A light sets colours and the width of lines; what that moves shows where there is least room, so on screens wider
    than a phone pages take the other lights in turns. Source of the 24 px: WCAG 2.2, SC 2.5.8 (links within text are
    excepted there)."""
    page = everywhere.new_page()
    wrong: set[str] = set()
    for number, path in enumerate(pages):
        said: list[str] = []
        page.on("console", lambda message, said=said: said.append(message.text) if message.type == "error" else None)
        page.set_viewport_size({"width": 1366, "height": 768})
        page.goto(running.url + path)
        page.evaluate("() => { for (const one of document.querySelectorAll('details')) one.open = true; }")
        for name, (width, height) in SCREENS.items():
            page.set_viewport_size({"width": width, "height": height})
            for light in LIGHTS if name == "phone" else ("day", LIGHTS[1 + number % 2]):
                wear(page, light)
                page.evaluate("() => new Promise((done) => requestAnimationFrame(() => setTimeout(done)))")
                look = page.evaluate(LOOK)
                if look["wider"] > 0 or look["unreached"] or look["small"]:
                    wrong.add(f"{path} on the {name} in {light}: {look}")
        if path not in NOT_THERE:
            wrong |= {f"{path}: {text}" for text in said}
    page.close()
    assert wrong == set()


def test_tab_goes_through_every_page_with_a_ring_that_is_seen(
    everywhere: BrowserContext, running: Console, pages: list[str]
) -> None:
    """WCAG 2.2, SC 2.1.1, 2.1.2, 2.4.7 and 2.4.11: each stop is in sight, wears the ring, and none holds the focus."""
    page = everywhere.new_page()
    page.set_viewport_size({"width": 1366, "height": 768})
    wrong: list[str] = []
    for path in templates_of(pages):
        page.goto(running.url + path)
        before = -1
        for _ in range(MOST_STOPS):
            page.keyboard.press("Tab")
            stop = page.evaluate(STOP)
            if stop is None or stop["at"] < before:
                break
            if stop["at"] == before and not re.search('type="(date|month)', stop["what"]):  # has stops within itself
                wrong.append(f"{path} holds the focus at {stop['what']}")
                break
            if not (stop["ring"] and stop["seen"]):
                wrong.append(f"{path}: {stop}")
            before = stop["at"]
        assert before >= 0, f"{path} has nothing that a key reaches"
    page.close()
    assert wrong == []


def test_what_moves_stands_still_for_those_who_ask(
    everywhere: BrowserContext, running: Console, pages: list[str]
) -> None:
    page = everywhere.new_page()
    page.emulate_media(reduced_motion="reduce")
    moving: list[str] = []
    for path in templates_of(pages):
        page.goto(running.url + path)
        count = page.evaluate("() => document.getAnimations().filter((a) => a.playState === 'running').length")
        if count:
            moving.append(path)
    page.close()
    assert moving == []
