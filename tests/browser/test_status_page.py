"""The release page in a browser: a release with its result, what is refused, a tank set aside, on a phone too."""

import re

import pytest
from playwright.sync_api import Page, expect

from tests.browser.conftest import Console

pytestmark = pytest.mark.browser


def test_a_tank_is_released_with_its_sample_result(page: Page, console: Console) -> None:
    page.goto(f"{console.url}/status?tank=harrowmead")
    form = page.locator("form#release")
    said = form.locator("output")
    row = page.locator("#status-harrowmead")
    expect(row).to_contain_text("awaiting test")
    form.get_by_role("button", name="Release").click()
    expect(said).to_have_text("write your name first")
    form.get_by_label("Your name").fill("Ada")
    form.get_by_role("button", name="Release").click()
    expect(said).to_contain_text("the sample result lacks: appearance, water test")
    form.get_by_label("Appearance").select_option("clear and bright")
    form.get_by_label("Water test").select_option("passed")
    form.get_by_label("Density").fill("much")
    form.get_by_role("button", name="Release").click()
    expect(said).to_contain_text("“")
    form.get_by_label("Density").fill("802,4")
    form.get_by_role("button", name="Release").click()
    expect(said).to_have_text(
        "Harrowmead: released by Ada. Not done: conductivity, certificate, settling (nobody watched it)."
        " · 802.4\N{NO-BREAK SPACE}kg/m³"
    )
    expect(row).to_contain_text("released")
    expect(row).to_contain_text("802.4\N{NO-BREAK SPACE}kg/m³")
    page.goto(f"{console.url}/")
    expect(page.locator("#row-harrowmead .status")).to_have_text("released")


def test_a_tank_that_settles_is_not_released_and_the_page_says_why(page: Page, console: Console) -> None:
    page.goto(f"{console.url}/tank/ostler-s")
    page.get_by_role("link", name=re.compile("settling until")).click()
    form = page.locator("form#release")
    expect(form.get_by_label("Tank")).to_have_value("ostler-s")
    form.get_by_label("Appearance").select_option("clear and bright")
    form.get_by_label("Water test").select_option("passed")
    form.get_by_label("Your name").fill("Ada")
    form.get_by_role("button", name="Release").click()
    expect(form.locator("output")).to_contain_text("it has not settled yet")
    expect(page.locator("#status-ostler-s")).to_contain_text("settling until")


def test_a_tank_is_set_aside_and_the_list_of_days_tells_it(page: Page, console: Console) -> None:
    page.set_viewport_size({"width": 390, "height": 844})
    page.goto(f"{console.url}/status?tank=pipit")
    form = page.locator("form#say")
    form.get_by_label("Your name").fill("Bo")
    form.get_by_role("button", name="Write it down").click()
    expect(form.locator("output")).to_have_text("write the reason first")
    form.get_by_label("Reason").fill("odd smell")
    form.get_by_role("button", name="Write it down").click()
    expect(form.locator("output")).to_have_text("Pipit: quarantined.")
    expect(page.locator("#status-pipit")).to_contain_text("by Bo")
    page.get_by_text("The last 7 days").click()
    expect(page.locator("#status-now details td", has_text="odd smell")).to_be_visible()
    assert page.evaluate("document.documentElement.scrollWidth") <= 390
