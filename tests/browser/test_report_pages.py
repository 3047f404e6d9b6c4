"""Reports in a real browser: chosen, looked at, taken as files, printed black on white; a shift changes hands."""

import re

import pytest
from playwright.sync_api import Page, expect

from tests.browser.conftest import Console

pytestmark = pytest.mark.browser


def test_a_report_is_chosen_and_taken_as_every_file(page: Page, console: Console) -> None:
    page.goto(f"{console.url}/stock")
    page.get_by_label("Stock pages").get_by_role("link", name="Reports").click()
    page.get_by_role("link", name="Stock account of a month").first.click()
    page.get_by_label("Month", exact=True).fill("2024-01")
    page.get_by_role("button", name="Show").click()
    expect(page.locator(".report h2")).to_have_text("Stock account of a month")
    expect(page.locator(".notdone")).to_contain_text("2024-01 is not closed and signed")
    page.get_by_role("button", name="PDF").click()
    expect(page.locator("#said")).to_contain_text("write your name first")
    page.get_by_label("Made by").fill("Ada")
    for name, ending in (("PDF", "pdf"), ("CSV", "csv"), ("XLSX", "xlsx")):
        with page.expect_download() as download:
            page.get_by_role("button", name=name).click()
        assert download.value.suggested_filename == f"marrowfield-account-2024-01.{ending}"


def test_a_shift_is_handed_over_and_taken_over(page: Page, console: Console) -> None:
    page.goto(f"{console.url}/reports/handover")
    give = page.locator("#give")
    give.get_by_role("button").click()
    expect(give.locator("output")).to_contain_text("write your name first")
    give.get_by_label("Your name").fill("Cy")
    give.get_by_label("Notes").fill("valve 3 is stiff")
    give.get_by_role("button").click()
    take = page.locator("#take")
    expect(take).to_contain_text("Take over number 2 from Cy")
    take.get_by_label("Your name").fill("Cy")
    take.get_by_role("button").click()
    expect(take.locator("output")).to_contain_text("another person takes it over")
    take.get_by_label("Your name").fill("Dee")
    take.get_by_label("Notes").fill("greased")
    take.get_by_role("button").click()
    expect(page.locator(".shift").first).to_contain_text("taken over by Dee")
    expect(page.locator("#take")).to_have_count(0)


def test_printed_it_is_black_on_white_without_what_is_for_the_screen(page: Page, console: Console) -> None:
    page.goto(f"{console.url}/reports/stock?day=2024-01-31&by=Ada")
    page.evaluate("() => { document.documentElement.dataset.light = 'night'; }")
    page.emulate_media(media="print")
    expect(page.locator(".report h2")).to_be_visible()
    for gone in (".top", "#ask", ".kinds", "footer"):
        expect(page.locator(gone).first).to_be_hidden()
    look = page.evaluate(
        "() => [getComputedStyle(document.body).backgroundColor,"
        " getComputedStyle(document.querySelector('.report td')).color]"
    )
    assert look == ["rgb(255, 255, 255)", "rgb(0, 0, 0)"]
    expect(page.locator(".invented")).to_be_visible()


@pytest.mark.parametrize("kind", ["stock?day=2024-01-31", "account?month=2024-01", "handover", "dips", "due"])
@pytest.mark.parametrize("width", [390, 1440])
def test_no_page_is_wider_than_the_screen(page: Page, console: Console, kind: str, width: int) -> None:
    page.set_viewport_size({"width": width, "height": 900})
    page.goto(f"{console.url}/reports/{kind}")
    expect(page.locator(".report h2")).to_be_visible()
    over = page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth")
    assert over <= 0


def test_a_wrong_day_is_told_beside_the_form(page: Page, console: Console) -> None:
    page.goto(f"{console.url}/reports/stock?day=2030-01-01")
    expect(page.locator(".refused")).to_have_text(re.compile("2030-01-01 is still to come"))
