"""A loop's faults in a real browser: the list, the trace read by keys, an entry written, corrected and closed."""

import re

import pytest
from playwright.sync_api import Page, Route, expect

from tests.browser.conftest import Console

pytestmark = pytest.mark.browser


def open_fault(page: Page, console: Console, name: str) -> None:
    page.goto(f"{console.url}/loops/LI-fennock")
    page.locator("#faults").get_by_role("link", name=name).last.click()
    expect(page.get_by_role("heading", level=1)).to_contain_text(name)


def write(page: Page, **fields: str) -> None:
    for label, text in fields.items():
        page.get_by_label(label.replace("_", " "), exact=False).first.fill(text)
    page.get_by_role("button", name="Write it down").click()


def test_the_loop_page_tells_state_noise_last_fault_repeats_checks_and_budget(page: Page, console: Console) -> None:
    page.goto(f"{console.url}/loops/LI-fennock")
    expect(page.locator(".looppage")).to_contain_text("Noise of the level")
    expect(page.locator(".last")).to_contain_text("failure signal, low")
    expect(page.locator(".last")).to_contain_text("2 in 30 days, this one included")
    expect(page.locator("#faults tbody tr")).to_have_count(2)
    expect(page.locator(".budget")).to_contain_text("Spare volts at 20 mA")
    expect(page.get_by_text("told from five faults on")).to_be_visible()
    with page.expect_download() as download:
        page.get_by_role("link", name="Export CSV of all").click()
    assert download.value.suggested_filename == "LI-fennock-faults.csv"
    width = page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth")
    assert width <= 0


def test_the_fault_trace_is_drawn_and_read_out_by_keys(page: Page, console: Console) -> None:
    open_fault(page, console, "failure signal, low")
    canvas = page.locator("#trace canvas")
    expect(page.locator("#trace output")).to_contain_text("the samples kept around this fault")  # its script has run
    ink = "c => { const d = c.getContext('2d').getImageData(0, 0, c.width, c.height).data; let n = 0;" + (
        " for (let i = 3; i < d.length; i += 4) if (d[i] > 200) n += 1; return n; }"
    )
    drawn = f"() => ({ink})(document.querySelector('#trace canvas')) > 1000"
    page.wait_for_function(drawn)
    canvas.focus()
    page.keyboard.press("[")
    expect(page.locator("#trace output")).to_contain_text("mA")
    page.keyboard.press("+")
    page.keyboard.press("0")
    page.wait_for_function(drawn)


def test_a_form_sent_before_the_pages_scripts_have_come_waits_for_them(page: Page, console: Console) -> None:
    kept: list[Route] = []
    page.route(re.compile(r"/fault\.js"), lambda route: kept.append(route))
    page.goto(f"{console.url}/loops/LI-fennock", wait_until="commit")
    address = page.locator("#faults").get_by_role("link", name="no answer").last.get_attribute("href")
    page.goto(f"{console.url}{address}", wait_until="commit")
    page.get_by_label("Your name").fill("Ada")
    page.get_by_label("Cause", exact=True).fill("loose terminal")
    page.get_by_role("button", name="Write it down").click()
    while not kept:  # the script is still on its way
        page.wait_for_timeout(20)
    expect(page.get_by_label("Cause", exact=True)).to_have_value("loose terminal")
    for one in kept:
        one.continue_()
    expect(page.locator("#entry output")).to_contain_text("entry 1 written by Ada")


def test_an_entry_is_written_corrected_and_the_fault_closed(page: Page, console: Console) -> None:
    open_fault(page, console, "no answer")
    said = page.locator("#entry output")
    page.get_by_role("button", name="Write it down").click()
    expect(said).to_have_text("write your name first")
    page.get_by_label("Your name").fill("Ada")
    page.get_by_role("button", name="Write it down").click()
    expect(said).to_have_text("write what is known, or tick that it is closed")
    write(page, Action="plug pushed in", Dip_before="six metres")
    expect(said).to_have_text("dip before: “six metres” is no number")
    page.get_by_label("Dip before").fill("1 204,5")
    page.get_by_label("The fault is dealt with").check()
    page.get_by_role("button", name="Write it down").click()
    expect(said).to_have_text("entry 1 written by Ada · dip before 1\u202f204.5\u00a0mm")
    entries = page.locator("#entries")
    expect(entries.locator("p.flag")).to_contain_text("closed without a cause")
    expect(entries).to_contain_text("plug pushed in")
    expect(entries).to_contain_text("1\u202f204\u00a0mm")  # 1204.5 mm, to the even millimetre
    page.get_by_role("button", name="correct this entry").click()
    expect(page.locator(".correcting")).to_contain_text("replaces entry 1")
    page.get_by_label("Cause", exact=True).fill("<b>loose plug</b>")
    page.get_by_label("The fault is dealt with").check()
    page.get_by_role("button", name="Write it down").click()
    expect(said).to_have_text("entry 2 written by Ada")
    expect(entries.locator("li[data-replaced]")).to_contain_text("replaced by entry 2")
    expect(entries).to_contain_text("<b>loose plug</b>")
    expect(entries.locator("p.flag")).to_have_text(re.compile(r"^closed closed by Ada, 12:\d\d:\d\d$"))
    page.get_by_label("The fault is dealt with").check()
    page.get_by_role("button", name="Write it down").click()
    expect(said).to_have_text("it was closed before by Ada")


def test_a_fault_that_goes_on_cannot_be_closed(page: Page, console: Console) -> None:
    open_fault(page, console, "failure signal, low")
    page.get_by_label("Your name").fill("Ada")
    page.get_by_label("The fault is dealt with").check()
    page.get_by_role("button", name="Write it down").click()
    expect(page.locator("#entry output")).to_contain_text("it still goes on")
    expect(page.locator("#entries")).to_contain_text("nobody wrote anything yet")
