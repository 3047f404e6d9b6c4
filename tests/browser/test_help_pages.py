"""Help and settings in a real browser: reached by keyboard, readable without scripts, on a phone and on paper."""

import pytest
from playwright.sync_api import Browser, Page, expect

from tests.browser.conftest import Console

pytestmark = pytest.mark.browser


def test_the_question_mark_leads_to_the_pages_own_help_by_keyboard(page: Page, console: Console) -> None:
    page.goto(f"{console.url}/alarms")
    link = page.get_by_role("link", name="Help with this page")
    link.focus()
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", level=1)).to_have_text("Help: Alarms")
    row = page.get_by_role("row", name="Shelved")
    expect(row).to_contain_text("ISA-18.2")


def test_the_foot_leads_to_help_settings_and_yard(page: Page, console: Console) -> None:
    page.goto(console.url)
    foot = page.get_by_role("navigation", name="More")
    foot.get_by_role("link", name="Settings").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Settings")
    page.get_by_text("Tanks", exact=True).click()
    expect(page.get_by_role("row", name="limits.high.at m")).to_contain_text("10\u202f800\u00a0mm")
    foot.get_by_role("link", name="Help").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Help")
    foot.get_by_role("link", name="Yard").click()
    expect(page.locator("footer")).to_have_text("not a shutdown system")


def test_the_help_needs_no_script_and_prints(browser: Browser, console: Console) -> None:
    context = browser.new_context(java_script_enabled=False)
    page = context.new_page()
    page.goto(f"{console.url}/help/yard")
    expect(page.get_by_role("rowheader", name="Minutes of arc")).to_be_visible()
    page.emulate_media(media="print")
    expect(page.get_by_role("rowheader", name="Minutes of arc")).to_be_visible()
    expect(page.locator(".top nav")).to_be_hidden()
    context.close()


@pytest.mark.parametrize("path", ["/help", "/help/board", "/settings"])
def test_it_fits_a_phone(page: Page, console: Console, path: str) -> None:
    page.set_viewport_size({"width": 390, "height": 844})
    page.goto(console.url + path)
    expect(page.get_by_role("heading", level=1)).to_be_visible()
    assert page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth") <= 0
