"""A delivery on the page: checked, planned, started, followed with the line's figure, decided, printed."""

import re

import pytest
from playwright.sync_api import BrowserContext, Page, expect

from tests.browser.conftest import Console

pytestmark = [pytest.mark.browser, pytest.mark.timeout(300)]

SLOW_MS = 100_000
PHONE = {"width": 390, "height": 844}
BEGUN = "#now :is([data-phase=receiving], [data-phase=settling], [data-phase=calm])"
"""It flows or has flowed: the fake's 3 000 L are in within three seconds, which a slow machine may not look at."""
LONG = "12 000"
"""Litres that run for so long that a slow machine sees them run."""


def press(page: Page, name: str) -> None:
    page.get_by_role("button", name=re.compile(name)).click()


def plan(page: Page, console: Console, litres: str = "3 000") -> None:
    page.goto(f"{console.url}/receipts")
    page.locator("#plan [name=tank]").select_option("ostler-s")
    page.locator("#plan [name=observed]").fill(litres)
    page.locator("#plan [name=temperature]").fill("27,0")
    page.locator("#plan [name=density]").fill("800")
    page.locator("#plan [name=rate]").fill("1000")


def planned(page: Page, console: Console, litres: str = "3 000") -> None:
    plan(page, console, litres)
    page.get_by_label("Delivery note").fill("DN-1")
    page.get_by_label("Your name").fill("Ada")
    press(page, "Plan it")
    expect(page).to_have_url(re.compile("/receipts/1$"), timeout=SLOW_MS)


def test_a_delivery_from_call_to_signature(page: Page, console: Console) -> None:
    plan(page, console, "900 000")
    press(page, "^Check$")
    expect(page.locator("#before")).to_contain_text("IT DOES NOT FIT below the maximum working level", timeout=SLOW_MS)
    page.locator("#plan [name=observed]").fill("3 x")
    press(page, "^Check$")
    expect(page.locator("#plan output")).to_have_text("“3 x”: x is not a unit of this field; write L, or no unit")
    planned(page, console)
    expect(page.locator("#more")).to_contain_text("It fits below the maximum working level")
    expect(page.locator("table.donelist tr", has_text="tank dipped by hand")).to_contain_text("not done")
    page.locator("#done [name=what]").select_option("tank dipped by hand")
    page.locator("#done [name=found]").fill("9404 mm")
    page.locator("form#done button").click()
    expect(page.locator("table.donelist tr", has_text="tank dipped by hand")).to_contain_text("9404 mm")
    expect(page.locator("form#line")).to_be_hidden()
    press(page, "Start the receipt")
    expect(page.locator("form#line")).to_be_visible(timeout=SLOW_MS)
    expect(page.locator("form#start")).to_be_hidden()
    expect(page.locator(BEGUN)).to_be_visible(timeout=SLOW_MS)
    page.get_by_label("Line or vehicle has delivered").fill("1 500")
    press(page, "Compare now")
    expect(page.locator("section[aria-label='Line against tank'] tbody tr")).to_have_count(1)
    expect(page.locator("#now [data-phase=calm]")).to_be_visible(timeout=SLOW_MS)
    expect(page.locator("#now")).to_contain_text("The tank cannot resolve a dispute at this limit")
    press(page, "Accept with protest")
    expect(page.locator("#said")).to_contain_text("say why in the comment")
    page.locator("#decide [name=comment]").fill("came late")
    press(page, "Accept with protest")
    expect(page.locator("#now")).to_contain_text("Accepted with protest, by Ada (came late)", timeout=SLOW_MS)
    expect(page.locator("form#decide")).to_have_count(0)
    with page.expect_download() as paper:
        page.get_by_role("link", name="receipt record").click()
    assert paper.value.suggested_filename == "receipt-1.pdf"
    page.goto(f"{console.url}/receipts")
    expect(page.locator("#list tbody tr")).to_contain_text("accepted with protest")


def test_what_is_typed_stays_while_the_figures_move_and_nothing_is_wider_than_a_phone(
    context: BrowserContext, console: Console
) -> None:
    page = context.new_page()
    page.set_viewport_size(PHONE)
    planned(page, console, LONG)
    press(page, "Start the receipt")
    figure = page.get_by_label("Line or vehicle has delivered")
    expect(figure).to_be_visible(timeout=SLOW_MS)
    figure.fill("1 2")
    expect(page.locator("#now [data-phase=receiving]")).to_be_visible(timeout=SLOW_MS)
    expect(figure).to_have_value("1 2")
    assert page.evaluate("document.querySelector('#receipt').scrollWidth") <= PHONE["width"]
    sizes = page.locator("#receipt form :is(button, input:not([type=checkbox]), select):visible").evaluate_all(
        "all => all.map(e => e.getBoundingClientRect().height)"
    )
    assert min(sizes) >= 43
