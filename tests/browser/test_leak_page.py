"""The leak test in a real browser: a tank is chosen, its test signed by name and found again with its paper."""

import pytest
from playwright.sync_api import Page, expect

from tests.browser.conftest import Console

pytestmark = pytest.mark.browser


def test_a_test_is_signed_and_its_paper_offered(page: Page, console: Console) -> None:
    page.goto(f"{console.url}/leak")
    expect(page.locator(".leak-verdict")).to_contain_text("No loss larger than 3.40 L/h")
    expect(page.locator(".leak-chart circle")).to_have_count(24)
    page.get_by_role("button", name="Sign this test").click()
    expect(page.locator("#said")).to_have_text("write your name first")
    page.get_by_label("Your name").fill("Ada")
    page.get_by_label("Remarks").fill("after the <b>storm</b>")
    page.get_by_role("button", name="Sign this test").click()
    row = page.get_by_role("row", name="Ostler north")
    expect(row).to_contain_text("Ada")
    expect(row).to_contain_text("after the <b>storm</b>")
    with page.expect_download() as download:
        row.get_by_role("link", name="paper").click()
    assert download.value.suggested_filename == "leak-test-1.pdf"


def test_a_suspected_loss_says_what_to_do_first_and_a_refusal_offers_nothing_to_sign(
    page: Page, console: Console
) -> None:
    page.goto(f"{console.url}/leak")
    page.get_by_role("link", name="Ostler south").click()
    expect(page.locator(".leak-verdict")).to_contain_text("Loss of 6.10 L/h")
    expect(page.locator(".leak ol li").first).to_contain_text("stop issuing")
    page.get_by_role("link", name="Quillmoor").click()
    expect(page.locator(".leak")).to_contain_text("a test needs 0.1 mm or finer")
    expect(page.get_by_role("button", name="Sign this test")).to_have_count(0)


def test_it_fits_a_phone(page: Page, console: Console) -> None:
    page.set_viewport_size({"width": 390, "height": 844})
    page.goto(f"{console.url}/leak?tank=ostler-s")
    expect(page.locator(".leak-chart svg")).to_be_visible()
    width = page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth")
    assert width <= 0
