"""A loop check done with a phone beside the instrument: from its start over ten steps to the paper."""

import re

import pytest
from playwright.sync_api import BrowserContext, Page, expect

from tests.browser.conftest import Console

pytestmark = pytest.mark.browser

PHONE = {"width": 390, "height": 844}


@pytest.fixture
def phone(context: BrowserContext, console: Console) -> Page:
    page = context.new_page()
    page.set_viewport_size(PHONE)
    page.goto(f"{console.url}/loops/LI-ostler-s/check")
    return page


def press(page: Page, name: str) -> None:
    page.get_by_role("button", name=re.compile(name)).click()


def test_a_check_is_done_from_start_to_paper(phone: Page, console: Console) -> None:
    expect(phone.locator("form#step")).to_be_hidden()
    press(phone, "Begin the check")
    expect(phone.locator("#said")).to_have_text("write your name first")
    phone.get_by_label("Your name").fill("Ada")
    phone.get_by_label("Work permit").fill("PTW-7")
    press(phone, "Begin the check")
    expect(phone.locator("#said")).to_have_text("Begun. Apply 4 mA.")
    expect(phone.locator("p.checks")).to_contain_text("Loop check under way: Level indicator Ostler south, by Ada")
    expect(phone.locator("form#start")).to_be_hidden()
    for point, way in [(4, "upward"), (8, "upward"), (12, "upward"), (16, "upward"), (20, "upward")]:
        press(phone, f"Take as found, {point} mA, {way}")
        expect(phone.locator("#said")).to_contain_text(f"{point} mA: shown {point}.0120 mA, error +0.075 % of span.")
    phone.get_by_label("Shown").fill("20,06")
    press(phone, "Take as found, 20 mA, downward")
    expect(phone.locator("#said")).to_contain_text("shown 20.0600 mA, error +0.375")
    expect(phone.locator("#now caption")).to_contain_text("outside the limit")
    expect(phone.get_by_label("Shown")).to_have_value("")
    phone.get_by_label("Applied").fill("16 mA")
    press(phone, "Take as found, 16 mA, downward")
    expect(phone.locator("#said")).to_contain_text("is no number")
    phone.get_by_label("Applied").fill("")
    for point in (16, 12, 8, 4):
        press(phone, f"Take as found, {point} mA, downward")
        expect(phone.locator("#said")).to_contain_text(f"{point} mA: shown")
    expect(phone.locator("#said")).to_contain_text("As found is whole")
    phone.get_by_label("Remarks").fill("calm")
    press(phone, "Finish and keep the record")
    expect(phone.locator("#said")).to_have_text("Ended: the loop measures again. Record 1.")
    expect(phone.locator("p.checks")).to_be_hidden()
    row = phone.locator("table.records tbody tr").first
    expect(row).to_contain_text("finished")
    with phone.expect_download() as paper:
        row.get_by_role("link", name="A4").click()
    assert paper.value.suggested_filename == "loop-check-1.pdf"


def test_nothing_is_wider_than_the_phone_and_targets_are_large(phone: Page) -> None:
    phone.get_by_label("Your name").fill("Ada")
    press(phone, "Begin the check")
    expect(phone.locator("form#step")).to_be_visible()
    press(phone, "Take as found, 4 mA, upward")
    expect(phone.locator("#now table.steps")).to_be_visible()
    assert phone.evaluate("document.querySelector('#check').scrollWidth") <= PHONE["width"]
    sizes = phone.locator("#check :is(button, input, select):visible").evaluate_all(
        "all => all.map(e => e.getBoundingClientRect().height)"
    )
    assert min(sizes) >= 44


def test_a_step_of_somebody_else_appears_by_itself(phone: Page, context: BrowserContext, console: Console) -> None:
    phone.get_by_label("Your name").fill("Ada")
    press(phone, "Begin the check")
    expect(phone.locator("form#step")).to_be_visible()
    other = context.new_page()
    other.goto(f"{console.url}/loops/LI-ostler-s/check")
    other.get_by_label("Your name").fill("Bo")
    press(other, "Take as found, 4 mA, upward")
    expect(phone.locator("#now table.steps tbody tr")).to_have_count(1)
    expect(phone.get_by_role("button", name=re.compile("Take as found, 8 mA, upward"))).to_be_visible()


def test_a_refusal_says_why(page: Page, console: Console) -> None:
    page.goto(f"{console.url}/loops/LI-ostler-n/check")
    page.get_by_label("Your name").fill("Ada")
    press(page, "Begin the check")
    expect(page.locator("#said")).to_contain_text("tank ostler-n receives")
