"""The pages in a real browser: they move, people act on them, and they never show old figures as new."""

import re
import signal
from collections.abc import Callable

import httpx
import pytest
from playwright.sync_api import BrowserContext, Page, Route, expect

from tests.browser.conftest import Console, clock_moves
from tests.browser.silence import late_pages

pytestmark = pytest.mark.browser

PATHS = [
    "/", "/tank/ostler-n", "/tank/harrowmead", "/tank/fennock", "/alarms", "/alarms/every", "/alarms/performance",
    "/trends", "/buses", "/loops", "/loops/LI-fennock", "/loops/LI-fennock/faults/2",
    "/help", "/settings",
]  # fmt: skip


def volume(page: Page, tank: str = "ostler-n") -> str:
    return page.locator(f"#row-{tank} .volume .fig").inner_text()


def test_the_board_moves_with_the_data(page: Page, console: Console) -> None:
    page.goto(console.url)
    before, clock = volume(page), page.locator("#clock").inner_text()
    expect(page.locator("#clock")).not_to_have_text(clock)
    expect(page.locator("#row-ostler-n .volume .fig")).not_to_have_text(before)
    width = page.locator("#w-ostler-n rect").get_attribute("width")
    assert float(width or 0) > 200, "the wet part of an almost full tank"


def test_the_board_tells_the_uncertainty_on_demand_and_remembers_it(page: Page, console: Console) -> None:
    page.goto(console.url)
    line = page.locator("#row-ostler-n .u95")
    expect(line).to_be_hidden()
    page.locator("#u95").click()
    expect(line).to_have_text(re.compile(r"GSV [\d\u202f]+ ± [\d\u202f]+\u00a0L"))
    expect(page.locator("#row-fennock .u95")).to_have_text("± not known")
    page.reload()
    expect(line).to_be_visible()
    expect(page.locator("#u95")).to_have_attribute("aria-pressed", "true")


def test_an_alarm_is_acknowledged_by_name_on_its_page(page: Page, console: Console) -> None:
    page.goto(f"{console.url}/alarms")
    line = page.locator("li", has_text="High level").filter(has_text="Ostler north")
    line.get_by_role("checkbox").check()
    button = page.get_by_role("button", name="Acknowledge 1 chosen")
    button.click()
    expect(page.locator("#acknowledge output")).to_have_text("write your name first")
    page.get_by_label("Your name").fill("Ada")
    page.get_by_label("Comment").fill("valve shut <b>")
    button.click()
    expect(page.locator("#acknowledge output")).to_contain_text("acknowledged by Ada")
    expect(line.locator(".how b")).to_have_text("acknowledged")
    expect(line.locator(".how")).to_contain_text("by Ada")
    expect(line.locator(".how")).to_contain_text("valve shut <b>")
    assert "acknowledge" not in (line.get_by_role("checkbox").get_attribute("data-can") or "").split()
    expect(page.locator("#past tr", has_text="Ada").first).to_contain_text("acknowledged")
    expect(page.locator(".top .more")).to_have_text("and 2 more")


def test_choosing_is_kept_while_the_list_is_drawn_anew(context: BrowserContext, console: Console) -> None:
    here, there = context.new_page(), context.new_page()
    for page in (here, there):
        page.goto(f"{console.url}/alarms")
    mine = here.locator("li", has_text="Critical high level").get_by_role("checkbox")
    mine.check()
    there.locator("li", has_text="High-high level").get_by_role("checkbox").check()
    there.get_by_label("Your name").fill("Bo")
    there.get_by_role("button", name="Acknowledge 1 chosen").click()
    expect(here.locator("li", has_text="High-high level").locator(".how b")).to_have_text("acknowledged")
    expect(mine).to_be_checked()
    expect(here.get_by_role("button", name="Acknowledge 1 chosen")).to_be_visible()


def test_a_tick_set_while_the_new_list_is_on_its_way_stays_and_a_list_that_was_lost_is_asked_for_again(
    context: BrowserContext, console: Console
) -> None:
    here, there = context.new_page(), context.new_page()
    asked: list[Route] = []
    here.route("**/alarms/list", lambda route: asked.append(route))
    for page in (here, there):
        page.goto(f"{console.url}/alarms")
    there.locator("li", has_text="High-high level").get_by_role("checkbox").check()
    there.get_by_label("Your name").fill("Bo")
    there.get_by_role("button", name="Acknowledge 1 chosen").click()
    for tries in (1, 2):
        while len(asked) < tries:
            here.wait_for_timeout(20)
        if tries == 1:
            asked[0].abort()
    mine = here.locator("li", has_text="Critical high level").get_by_role("checkbox")
    mine.check()
    asked[1].continue_()
    expect(here.locator("li", has_text="High-high level").locator(".how b")).to_have_text("acknowledged")
    expect(mine).to_be_checked()
    expect(here.get_by_role("button", name="Acknowledge 1 chosen")).to_be_visible()


CHANGES = {
    "/status": ("/tanks/pipit/quarantine", {"reason": "haze"}, "**/status/now"),
    "/loops": ("/loops/LI-ostler-s/check/start", {}, "**/LI-ostler-s/last"),
    "/loops/LI-ostler-s": ("/loops/LI-ostler-s/check/start", {}, "**/LI-ostler-s/faults"),
    "/loops/LI-ostler-s/check": ("/loops/LI-ostler-s/check/start", {}, "**/check/now"),
}


@pytest.mark.parametrize("path", CHANGES)
def test_what_changed_before_the_page_listened_is_asked_for_until_it_was_had(
    page: Page, console: Console, path: str
) -> None:
    act, body, part = CHANGES[path]
    scripts: list[Route] = []
    parts: list[Route] = []
    page.route("**/*.js*", lambda route: scripts.append(route))
    page.route(part, lambda route: parts.append(route))
    page.goto(console.url + path, wait_until="commit")
    while not scripts:
        page.wait_for_timeout(20)
    assert httpx.post(f"{console.url}/api{act}", json=body | {"by": "Ada"}, timeout=60).status_code == 200
    page.unroute("**/*.js*")
    for script in scripts:
        script.continue_()
    while not parts:
        page.wait_for_timeout(20)
    parts[0].abort()
    while len(parts) < 2:
        page.wait_for_timeout(20)
    with page.expect_response(part):
        parts[1].continue_()
    clock_moves(page)
    clock_moves(page)
    assert len(parts) == 2


def says_no_data(page: Page, silence: Callable[[], None]) -> None:
    assert late_pages([("the board", page)], silence) == []
    expect(page.locator("#silent")).to_be_visible()
    expect(page.locator("#silent")).to_contain_text(re.compile(r"no data since \d\d:\d\d:\d\d"))
    struck = page.locator("#row-ostler-s .volume .fig")
    assert "line-through" in struck.evaluate("e => getComputedStyle(e).textDecorationLine")
    assert "gradient" in struck.evaluate("e => getComputedStyle(e).backgroundImage")
    assert page.locator("main").evaluate("e => getComputedStyle(e).outlineStyle") == "dashed"


def is_well_again(page: Page) -> None:
    expect(page.locator("#silent")).to_be_hidden()
    expect(page).not_to_have_title(re.compile("NO DATA"))
    clock_moves(page)
    shown = page.locator("#row-ostler-s .volume .fig").evaluate("e => getComputedStyle(e).textDecorationLine")
    assert shown == "none"


def test_a_killed_server_is_noticed_and_its_return_as_well(page: Page, console: Console) -> None:
    page.goto(console.url)
    clock_moves(page)
    says_no_data(page, console.kill)
    console.start()
    is_well_again(page)


def test_a_frozen_server_is_noticed_although_its_sockets_stay_open(page: Page, console: Console) -> None:
    page.goto(console.url)
    clock_moves(page)
    says_no_data(page, lambda: console.signal(signal.SIGSTOP))
    console.signal(signal.SIGCONT)
    is_well_again(page)


def test_a_socket_that_stays_silent_is_replaced(page: Page, console: Console) -> None:
    """Frozen for longer than 15 s: the page opens a fresh socket by itself, and is well when the server is."""
    page.goto(console.url)
    clock_moves(page)
    console.signal(signal.SIGSTOP)
    page.wait_for_event("websocket", timeout=60_000)
    console.signal(signal.SIGCONT)
    is_well_again(page)


def test_a_new_build_loads_the_page_anew(page: Page, console: Console) -> None:
    page.goto(console.url)
    before = page.locator("html").get_attribute("data-build") or ""
    assert before.startswith("7.")
    console.kill()
    console.start(build="8")
    expect(page.locator("html")).to_have_attribute("data-build", re.compile(r"^8\."))


@pytest.mark.parametrize("size", [(1366, 768), (1920, 1080)])
def test_nothing_overflows_a_desk_screen(page: Page, console: Console, size: tuple[int, int]) -> None:
    page.set_viewport_size({"width": size[0], "height": size[1]})
    for path in PATHS:
        page.goto(console.url + path)
        assert page.evaluate("() => document.documentElement.scrollWidth <= document.documentElement.clientWidth")
        wide = page.evaluate(
            "() => [...document.querySelectorAll('td, dd, .first .words, h1:not(.hush)')]"
            ".filter(e => e.scrollWidth > e.clientWidth + 4 && getComputedStyle(e).display !== 'inline')"
            ".map(e => e.className + ': ' + e.innerText)"
        )
        assert wide == [], path


@pytest.mark.parametrize("wide", [320, 390])
def test_on_a_phone_a_tank_without_a_level_does_not_lie_over_its_own_name(
    page: Page, console: Console, wide: int
) -> None:
    page.set_viewport_size({"width": wide, "height": 844})
    page.goto(console.url)
    over = page.evaluate(
        """() => [...document.querySelectorAll(".tanks tbody tr")].flatMap((row) => {
          const places = (part) => [...row.querySelectorAll(part)].map((e) => {
            const range = document.createRange();
            range.selectNodeContents(e);
            return range.getBoundingClientRect();
          }).filter((r) => r.width);
          return places("th *").filter((a) => places(".volume > *").some((b) =>
            a.right > b.left && b.right > a.left && a.bottom > b.top && b.bottom > a.top)).map(() => row.id);
        })"""
    )
    assert over == []


def test_the_light_mode_is_kept_on_the_next_page(page: Page, console: Console) -> None:
    page.goto(console.url)
    page.get_by_role("button", name="Night").click()
    expect(page.locator("html")).to_have_attribute("data-light", "night")
    page.get_by_role("link", name="Alarms", exact=True).click()
    expect(page.locator("html")).to_have_attribute("data-light", "night")


def readout(page: Page) -> str:
    return page.locator("#trend output").inner_text()


def test_the_trend_reads_out_moves_and_zooms_by_keys(page: Page, console: Console) -> None:
    asked: list[str] = []
    page.on("request", lambda request: asked.append(request.url) if "/trend?" in request.url else None)
    page.goto(f"{console.url}/tank/ostler-n")
    with page.expect_response(re.compile("/trend.*span=86400&")):
        page.get_by_role("button", name="1 day", exact=True).click()
    canvas = page.locator("#trend canvas")
    canvas.focus()
    for _ in range(12):  # past the hole of the fake's last minutes
        page.keyboard.press("[")
    expect(page.locator("#trend output")).to_contain_text("mm")
    assert re.match(r"25 Nov \d\d:\d\d:\d\d · [\d\u202f]+ mm", readout(page))
    # The chart also asks for what is new by itself: only an answer for the wanted span counts.
    with page.expect_response(re.compile("/trend.*span=43200&")):
        page.keyboard.press("+")
    before = len(asked)
    with page.expect_response(re.compile("/trend.*span=43200&")):
        page.keyboard.press("ArrowLeft")
    assert len(asked) > before
    assert "quantity=level_m" in asked[-1]


def test_the_trend_reads_out_under_the_mouse_and_is_dragged(page: Page, console: Console) -> None:
    page.goto(f"{console.url}/tank/ostler-s")
    page.wait_for_timeout(800)
    box = page.locator("#trend canvas").bounding_box()
    assert box is not None
    x, y = box["x"] + box["width"] * 0.55, box["y"] + box["height"] / 2
    page.mouse.move(x, y)
    expect(page.locator("#trend output")).to_contain_text(re.compile(r"\d\d:\d\d:\d\d · "))
    page.mouse.down()
    with page.expect_response(re.compile("/trend.*span=28800&")):
        page.mouse.move(x + 200, y, steps=4)
        page.mouse.up()
    with page.expect_response(re.compile("/trend.*span=23040&")):
        page.mouse.wheel(0, -200)


def test_another_quantity_has_its_own_unit(page: Page, console: Console) -> None:
    page.goto(f"{console.url}/tank/ostler-n")
    with page.expect_response(re.compile("quantity=tov_m3")):
        page.get_by_label("Quantity").select_option("tov_m3")
    page.locator("#trend canvas").focus()
    for _ in range(3):
        page.keyboard.press("[")
    expect(page.locator("#trend output")).to_contain_text(re.compile(r"(\d L|no value)"))


def test_extremes_are_started_anew_by_name(page: Page, console: Console) -> None:
    page.goto(f"{console.url}/tank/ostler-s")
    page.locator("#reset").get_by_label("Your name").fill("Ada")
    page.get_by_role("button", name="Start anew").click()
    expect(page.locator("#reset output")).to_have_text("started anew by Ada")
    row = page.locator(".extremes tbody tr").nth(1)
    expect(row.locator("td").nth(0)).to_have_text(row.locator("td").nth(1).inner_text())


def test_a_movement_is_ordered_by_name_and_ended(page: Page, console: Console) -> None:
    page.goto(f"{console.url}/tank/ostler-s")
    order, said = page.locator("#order"), page.locator("#order output")
    button = order.get_by_role("button", name="Order", exact=True)
    button.click()
    expect(said).to_have_text("write your name first")
    order.get_by_label("Your name").fill("Ada")
    button.click()
    expect(said).to_have_text("write how much first")
    order.get_by_label("How much").fill("200 000")
    button.click()
    expect(said).to_have_text("not done: it does not fit")
    order.get_by_label("How much").fill("20 000")
    order.get_by_label("Agreed rate").fill("1000")
    button.click()
    expect(said).to_have_text("ordered by Ada: 20\u202f000\u00a0L")
    expect(page.locator(".state .plan")).to_contain_text(re.compile("receipt of 20.000.L ordered by Ada: not begun"))
    order.get_by_role("button", name="End the order").click()
    expect(said).to_have_text("ended; it was ordered by Ada")
    expect(page.locator(".order")).to_contain_text("None is ordered.")


def test_the_chain_follows_the_reading(page: Page, console: Console) -> None:
    page.goto(f"{console.url}/tank/ostler-n")
    volume_step = page.locator("#chain tr", has_text="TOV").first.locator(".fig")
    before = volume_step.inner_text()
    expect(volume_step).not_to_have_text(before)


def test_the_policy_stops_an_inline_script(page: Page, console: Console) -> None:
    page.goto(console.url)
    ran = page.evaluate(
        "() => { const s = document.createElement('script'); s.textContent = 'window.ran = 1';"
        " document.body.append(s); return window.ran === 1; }"
    )
    assert ran is False


def test_what_waits_blinks_at_its_edge_and_stands_still_for_those_who_ask(page: Page, console: Console) -> None:
    page.goto(console.url)
    halo = page.locator("#row-ostler-n .state .tab .halo")
    assert halo.evaluate("e => getComputedStyle(e).animationName") == "blink"
    page.emulate_media(reduced_motion="reduce")
    assert halo.evaluate("e => getComputedStyle(e).animationName") == "none"
    calm = page.locator("#row-fennock .state .tab .halo")
    assert calm.evaluate("e => getComputedStyle(e).animationName") == "none"
