"""The stock page in a real browser: a month reads as a sum, what blocks a close is said, it is signed by name."""

import re

import pytest
from playwright.sync_api import Page, expect

from tests.browser.conftest import Console

pytestmark = pytest.mark.browser


def test_a_month_is_signed_by_name_and_then_says_so(page: Page, console: Console) -> None:
    page.goto(f"{console.url}/stock?month=2026-10")
    expect(page.get_by_role("heading", name=re.compile("Stock book of Oct 2026"))).to_be_visible()
    button = page.get_by_role("button", name=re.compile("Sign and close Oct 2026"))
    button.click()
    expect(page.locator("form.close output")).to_contain_text("write your name first")
    page.locator("form.close").get_by_label("Your name").fill("Ada")
    button.click()
    expect(page.locator(".closed")).to_contain_text("Closed by Ada")
    expect(page.locator("form.close")).to_have_count(0)
    page.reload()
    expect(page.locator(".closed")).to_contain_text("Closed by Ada")


def test_what_blocks_a_close_and_where_papers_are_missing_is_said(page: Page, console: Console) -> None:
    page.goto(f"{console.url}/stock?month=2026-11")
    expect(page.locator(".obstacles")).to_contain_text("book incomplete")
    expect(page.locator("form.close")).to_have_count(0)
    days = page.locator("main details").first
    days.locator("summary").click()
    expect(days.locator("tbody tr").nth(13)).to_contain_text("book incomplete")
    expect(days.locator("tbody tr").nth(13)).to_contain_text("– – –")


def test_days_and_months_are_walked_through_and_the_csv_is_taken(page: Page, console: Console) -> None:
    page.goto(f"{console.url}/stock")
    page.get_by_role("link", name="The month").click()
    expect(page).to_have_url(re.compile(r"month=2026-11"))
    page.get_by_role("link", name="← Oct 2026").click()
    expect(page.get_by_role("heading", name=re.compile("Stock book of Oct 2026"))).to_be_visible()
    with page.expect_download() as download:
        page.get_by_role("link", name="CSV").click()
    assert download.value.suggested_filename == "marrowfield-stock-2026-10.csv"


@pytest.mark.parametrize("width", [390, 1440])
def test_the_page_is_no_wider_than_the_screen(page: Page, console: Console, width: int) -> None:
    page.set_viewport_size({"width": width, "height": 900})
    page.goto(f"{console.url}/stock?month=2026-10")
    expect(page.locator(".account")).to_be_visible()
    over = page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth")
    assert over <= 0
