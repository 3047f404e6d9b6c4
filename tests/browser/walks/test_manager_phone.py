"""A manager with a phone, who only looks: docs/guides/manager-phone.md."""

import re
from typing import Final

import pytest
from playwright.sync_api import Page, expect

from gaugehouse.demousers import PASSWORD
from tests.browser.walks.conftest import Camera, Farm

pytestmark = [pytest.mark.browser, pytest.mark.timeout(300)]

BEGINS: Final = "2026-12-01T09:00+00:00"
DAYS: Final = 5
"""Of past: the demo tells days of cover from four known days on."""

camera = Camera("manager")


@pytest.fixture
def phone(page: Page) -> Page:
    page.set_viewport_size({"width": 390, "height": 844})
    return page


def fits(page: Page) -> None:
    """Nothing runs out of the page at its side."""
    expect(page.locator("main")).to_be_visible()
    wide = "() => document.documentElement.scrollWidth <= document.documentElement.clientWidth"
    assert page.evaluate(wide), "the page is wider than the phone"


def comes_in(page: Page, farm: Farm) -> None:
    """By name and password; what was asked for comes after it."""
    page.goto(f"{farm.url}/sign-in?next=/")
    page.get_by_label("Name", exact=True).fill("Ana")
    page.get_by_label("Password").fill(PASSWORD)
    fits(page)
    page.get_by_role("button", name="Sign in").click()
    expect(page.get_by_role("button", name="Sign out")).to_be_visible()


def looks_at_the_tanks(page: Page) -> None:
    """What is in each tank stands beside its name without a finger."""
    card = page.locator("#row-palm")
    expect(card.locator(".volume .fig")).to_have_text(re.compile(r"^\d{3}\W\d{3}$"))
    expect(card.locator(".volume")).to_be_in_viewport()
    expect(card.locator(".state")).to_contain_text("in use")
    fits(page)
    camera.take(page, "1-tanks", 1330)


def asks_whether_anything_is_wrong(page: Page, farm: Farm) -> None:
    """The head says it in words on every page; behind it stands what to do, and who has seen it."""
    farm.breaks("finch_loop", "fail_low", 3.5)
    farm.passes(1)
    head = page.locator("a.first")
    expect(head).to_contain_text("Finch Avgas")
    head.click()
    expect(page).to_have_url(re.compile("/alarms"))
    line = page.locator("main li", has_text="Finch Avgas").first
    expect(line).to_contain_text("not acknowledged")
    fits(page)
    camera.take(page, "6-alarms", 1000)


def asks_how_long_it_lasts(page: Page) -> None:
    """Days of cover of what is released; what is not is named."""
    page.get_by_role("link", name="Stock", exact=True).click()
    page.get_by_role("link", name="Forecast").click()
    jet = page.locator("tbody", has_text="Jet A-1").first
    expect(jet.locator("[data-label='Cover, days']").first).to_have_text(re.compile(r"^\d+\.\d$"))
    expect(jet).to_contain_text(re.compile(r"days known"))
    expect(jet).to_contain_text("do not count until it is released")
    fits(page)
    camera.take(page, "2-cover", 1000)


def asks_what_is_due(page: Page) -> None:
    page.get_by_role("link", name="Due", exact=True).click()
    due = page.locator("#due")
    expect(due).to_contain_text("close and sign the stock account of Nov 2026")
    expect(due).to_contain_text("stock keeper")
    expect(due).not_to_contain_text(re.compile(r"20\d\d-\d\d-\d\d"))
    fits(page)
    camera.take(page, "3-due", 1000)


def reads_yesterdays_sheet(page: Page) -> None:
    page.get_by_role("link", name="Stock", exact=True).click()
    page.get_by_role("link", name="← 30 Nov").click()
    page.get_by_role("link", name="Stock sheet on paper").click()
    sheet = page.get_by_role("article", name="Daily stock sheet")
    expect(sheet).to_contain_text("30 Nov 2026 00:00 to 1 Dec 2026 00:00")
    expect(sheet).to_contain_text("What each tank holds at the end of the day")
    fits(page)
    camera.take(page, "4-stock-sheet", 1500)
    with page.expect_download() as download:
        page.get_by_role("button", name="PDF", exact=True).click()
    assert download.value.suggested_filename.endswith(".pdf")


def reads_the_months_account(page: Page) -> None:
    """Whether it comes out, in words, and whether it is signed."""
    page.get_by_role("link", name="Stock", exact=True).click()
    page.get_by_role("link", name="The month", exact=True).click()
    page.get_by_role("link", name="← Nov 2026").click()
    jet = page.get_by_role("region", name="Jet A-1")
    palm = jet.locator(".said li", has_text="Palm Jet:")
    expect(palm).to_contain_text("BEYOND what the rule allows")
    expect(palm).to_contain_text("the day that tells most")
    expect(jet.locator("form.close")).to_be_visible()
    fits(page)
    camera.take(page, "5-month", 1750)


def test_a_manager_looks_by_phone(phone: Page, farm: Farm) -> None:
    comes_in(phone, farm)
    looks_at_the_tanks(phone)
    asks_how_long_it_lasts(phone)
    asks_what_is_due(phone)
    reads_yesterdays_sheet(phone)
    reads_the_months_account(phone)
    asks_whether_anything_is_wrong(phone, farm)
    phone.get_by_role("button", name="Sign out").click()
    expect(phone.get_by_role("link", name="Sign in")).to_be_visible()
