"""The yard display in a real browser: millimetres on the glass, what stands on top, silence, and months alone."""

import json
import re
import signal
from typing import Any

import pytest
from playwright.sync_api import Browser, Page, WebSocketRoute, expect

from console import yard, yard_views
from console.model import Model
from tests.browser.conftest import Console, clock_moves
from tests.browser.silence import late_pages
from tests.console.fake import FakeFacts

pytestmark = pytest.mark.browser

CALM = "tank=ostler-s&tank=quillmoor"
PIXELS_PER_MM = "Math.hypot(screen.width, screen.height) / (document.body.dataset.screenInch * 25.4)"
HEIGHT_MM = (
    "(e) => { const ink = document.createElement('canvas').getContext('2d'); const s = getComputedStyle(e);"
    " ink.font = `${s.fontSize} ${s.fontFamily}`; return Math.min(ink.measureText('1').actualBoundingBoxAscent,"
    f" ink.measureText('H').actualBoundingBoxAscent) / ({PIXELS_PER_MM}); }}"
)
TOO_WIDE = (
    "() => [...document.querySelectorAll('.strip, .card > *')].filter(e => e.scrollWidth > e.clientWidth + 1)"
    ".map(e => e.className + ': ' + e.innerText)"
)

CARDS_OF_PAGE = """(number) => {
  if (!document.getElementById("part").textContent.startsWith(`${number}/`)) return null;
  const shown = [...document.querySelectorAll(".card")].filter((card) => card.getClientRects().length);
  const top = (card) => card.getBoundingClientRect().y;
  return shown.sort((a, b) => top(a) - top(b)).map((card) => card.id);
}"""
"""The cards from top to bottom, once this page has its turn: looked at in one go, before it can turn."""


def ready(page: Page, address: str) -> None:
    """Open it and wait until its first message is in."""
    page.goto(address)
    clock_moves(page)


def test_figures_have_the_height_on_the_glass_that_the_distance_asks_for(page: Page, console: Console) -> None:
    page.set_viewport_size({"width": 1920, "height": 1080})
    ready(page, f"{console.url}/yard?{CALM}&dist=8&arc=22&screen=55")
    digits = page.locator(".digits:visible").first.evaluate(HEIGHT_MM)
    assert digits == pytest.approx(1000 * yard.character_height_m(8, 22), rel=0.01)
    for selector in (".name:visible", ".flow:visible", ".fits:visible", "footer", "#clock"):
        small = page.locator(selector).first.evaluate(HEIGHT_MM)
        assert yard.arc_of_min(small / 1000, 8) >= yard.LEAST_ARC_MIN, selector
    expect(page.locator("#small")).to_be_hidden()


def test_nothing_of_a_third_line_is_seen_below_what_to_do(page: Page, console: Console) -> None:
    page.set_viewport_size({"width": 390, "height": 844})
    ready(page, f"{console.url}/yard")
    seen = page.evaluate(
        """() => [...document.querySelectorAll(".order")].filter((e) => e.getClientRects().length).map((order) => {
          order.lastElementChild.textContent = "Stop all of it and look at the gauge ".repeat(9);
          const style = getComputedStyle(order);
          const pen = document.createElement("canvas").getContext("2d");
          pen.font = `${style.fontSize} ${style.fontFamily}`;
          const { fontBoundingBoxAscent, actualBoundingBoxAscent } = pen.measureText("lfk");
          const range = document.createRange();
          range.selectNodeContents(order.lastElementChild);
          const lines = [...range.getClientRects()].map((r) => r.top + fontBoundingBoxAscent - actualBoundingBoxAscent);
          const end = order.getBoundingClientRect().bottom;
          const height = Math.min(...lines.filter((top) => top > end - 0.3 * parseFloat(style.fontSize)));
          return [lines.length > 2, height - end];
        })"""
    )
    assert seen
    for several, below in seen:
        assert several
        assert below >= -0.5


@pytest.mark.parametrize("size", [(1920, 1080), (3840, 2160), (1366, 768), (1080, 1920)])
@pytest.mark.parametrize("query", ["", "show=volume&dist=20", f"{CALM}&show=level"])
def test_nothing_is_cut_off_on_any_screen(page: Page, console: Console, size: tuple[int, int], query: str) -> None:
    page.set_viewport_size({"width": size[0], "height": size[1]})
    ready(page, f"{console.url}/yard?{query}")
    assert page.evaluate(TOO_WIDE) == []
    foot = page.locator("footer").bounding_box()
    last = page.locator(".card:visible").last.bounding_box()
    assert foot is not None
    assert last is not None
    assert last["y"] + last["height"] <= foot["y"] + 1
    assert foot["y"] + foot["height"] <= size[1] + 1
    expect(page.locator("footer")).to_have_text("not a shutdown system")


def test_two_rows_of_two_calm_tanks_fit_55_inches_at_12_metres(page: Page, console: Console) -> None:
    page.set_viewport_size({"width": 1920, "height": 1080})
    ready(page, f"{console.url}/yard?tank=ostler-s&tank=quillmoor&tank=pipit")
    expect(page.locator(".card:visible")).to_have_count(3)
    tops = page.locator(".card:visible").evaluate_all("cards => cards.map(card => card.getBoundingClientRect().y)")
    assert tops[0] == tops[1] < tops[2]
    expect(page.locator("#small")).to_be_hidden()
    expect(page.locator("#part")).to_be_empty()


def test_a_screen_that_is_too_small_says_how_far_it_can_be_read(page: Page, console: Console) -> None:
    page.set_viewport_size({"width": 1366, "height": 768})
    ready(page, f"{console.url}/yard?dist=40&screen=15")
    expect(page.locator("#small")).to_have_text(re.compile(r"^≤ \d+ m$"))
    reach = int(re.findall(r"\d+", page.locator("#small").inner_text())[0])
    digits = page.locator(".card:visible :is(.digits, .nothing)").first.evaluate(HEIGHT_MM)
    assert yard.arc_of_min(digits / 1000, reach) >= yard.MAIN_ARC_MIN


def test_an_urgent_alarm_is_inverted_and_on_top_of_every_page(page: Page, console: Console) -> None:
    page.set_viewport_size({"width": 1920, "height": 1080})
    ready(page, f"{console.url}/yard?turn=3")
    seen = set()
    for number in (1, 2, 3):
        ids = page.wait_for_function(CARDS_OF_PAGE, arg=number).json_value()
        assert ids[0] == "card-harrowmead"
        seen |= set(ids)
    pinned = page.locator("#card-harrowmead")
    assert pinned.evaluate("e => getComputedStyle(e).backgroundColor") == "rgb(0, 0, 0)"
    assert pinned.evaluate("e => getComputedStyle(e).color") == "rgb(255, 255, 255)"
    expect(pinned).to_contain_text("High-high level – Stop the receipt at the loading valve")
    assert len(seen) >= 4, "the other tanks have their turn below it"


def test_a_lost_reading_is_two_dashes_and_the_words(page: Page, console: Console) -> None:
    ready(page, f"{console.url}/yard?tank=pipit")
    card = page.locator("#card-pipit")
    expect(card.locator(".nothing")).to_have_text("– –")
    expect(card.locator(".nodata")).to_be_visible()
    for hidden in (".figure", ".flow", ".fits"):
        expect(card.locator(hidden)).to_be_hidden()


@pytest.mark.parametrize("how", [signal.SIGKILL, signal.SIGSTOP])
def test_a_silent_server_takes_every_figure_away(page: Page, console: Console, how: signal.Signals) -> None:
    ready(page, f"{console.url}/yard?{CALM}")
    expect(page.locator(".figure:visible").first).to_be_visible()
    silence = console.kill if how is signal.SIGKILL else lambda: console.signal(how)
    assert late_pages([("yard", page)], silence) == []
    expect(page.locator("#silent")).to_have_text(re.compile(r"^NO DATA since \d\d:\d\d:\d\d$"))
    expect(page.locator(".figure:visible")).to_have_count(0)
    expect(page.locator(".nodata:visible").first).to_have_text("NO DATA")
    assert page.evaluate(TOO_WIDE) == []
    if how is signal.SIGKILL:
        console.start()
    else:
        console.signal(signal.SIGCONT)
    expect(page.locator("#silent")).to_be_hidden()
    expect(page.locator(".figure:visible").first).to_be_visible()


class Months:
    """A feed of our own that can tell a page of months within seconds."""

    def __init__(self, build: str) -> None:
        self.facts, self.build = FakeFacts(), build
        self.model = Model(self.facts)
        self.socket: WebSocketRoute | None = None

    def open(self, socket: WebSocketRoute) -> None:
        self.socket = socket
        socket.send(json.dumps({"build": self.build}))

    def wait(self, page: Page) -> None:
        """Until the page listens."""
        while self.socket is None:
            page.wait_for_timeout(20)

    def message(self) -> dict[str, Any]:
        return yard_views.message(self.model, self.facts.live())

    def tell(self, page: Page, count: int) -> None:
        """`count` states, ten minutes apart, with an alarm that comes and goes; returns when the last one is shown."""
        assert self.socket is not None
        for number in range(count):
            self.facts.advance(600_000)
            self.facts.standing["harrowmead.high_high"]["state"] = "shelved" if number % 7 < 3 else "unacknowledged"
            self.socket.send(json.dumps(self.message()))
        self.facts.advance(1000)
        last = self.message()
        self.socket.send(json.dumps(last))
        expect(page.locator("#clock")).to_have_text(last["clock"])


def test_memory_stays_flat_over_months_of_states(browser: Browser, console: Console) -> None:
    context = browser.new_context(viewport={"width": 1920, "height": 1080})
    page = context.new_page()
    page.goto(f"{console.url}/yard")
    months = Months(page.locator("html").get_attribute("data-build") or "")
    page.route_web_socket("**/yard/feed", months.open)
    page.goto(f"{console.url}/yard?turn=3")
    months.wait(page)
    months.tell(page, 300)
    probe = context.new_cdp_session(page)

    def held() -> tuple[float, float]:
        for _ in range(3):
            probe.send("HeapProfiler.collectGarbage")
        nodes = page.evaluate("document.querySelectorAll('*').length")
        return probe.send("Runtime.getHeapUsage")["usedSize"], nodes

    before, nodes = held()
    months.tell(page, 2000)  # two weeks of states, as many messages as half an hour brings
    after, nodes_after = held()
    assert nodes_after == nodes
    assert after - before < 400_000, f"the page grew from {before} to {after} bytes"
    context.close()


def test_by_night_it_turns_white_on_black_by_the_sites_clock(page: Page, console: Console) -> None:
    ready(page, f"{console.url}/yard?{CALM}&night=11:00-13:00")
    expect(page.locator("html")).to_have_attribute("data-light", "night")
    ready(page, f"{console.url}/yard?{CALM}&night=13:00-11:00")
    expect(page.locator("html")).to_have_attribute("data-light", "sun")
