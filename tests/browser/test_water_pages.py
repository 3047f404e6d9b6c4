"""Water, forecast and the due list in a real browser: a drain check written and taken back, every width and light."""

import pytest
from playwright.sync_api import Page, expect

from tests.browser.conftest import Console

pytestmark = pytest.mark.browser


def ready(page: Page, console: Console) -> None:
    page.goto(f"{console.url}/water")
    expect(page.locator("#check[data-ready]")).to_be_visible()


def test_a_drain_check_is_written_with_only_the_fields_that_it_needs(page: Page, console: Console) -> None:
    ready(page, console)
    said = page.locator("#check output")
    expect(page.locator(".caution")).to_contain_text("bond the vessel")
    page.get_by_role("button", name="Write it down").click()
    expect(said).to_have_text("write your name first")
    page.get_by_label("Your name").fill("Ada")
    page.locator("#check [name=tank]").select_option("ostler-s")
    expect(page.locator("#check [name=water]")).to_be_hidden()
    page.locator("#check [name=result]").select_option("water")
    page.get_by_role("button", name="Write it down").click()
    expect(said).to_have_text("say how the sample looked")
    page.locator("#check [name=appearance]").select_option("cloudy")
    page.locator("#check [name=water]").fill("a lot")
    page.get_by_role("button", name="Write it down").click()
    expect(said).to_have_text("water: “a lot” is no number")
    page.locator("#check [name=water]").fill("1 250,5")
    page.get_by_role("button", name="Write it down").click()
    expect(said).to_contain_text("written by Ada; next due 2026-11-26")
    first = page.locator(".drainchecks tbody tr").first
    expect(first).to_contain_text("Ostler south")
    expect(first).to_contain_text("1\u202f250\u00a0mL")


def test_one_that_was_not_done_says_why_and_stays_overdue(page: Page, console: Console) -> None:
    ready(page, console)
    page.get_by_label("Your name").fill("Cy")
    page.locator("#check [name=result]").select_option("not done")
    expect(page.locator("#check [name=appearance]")).to_be_hidden()
    page.get_by_role("button", name="Write it down").click()
    expect(page.locator("#check output")).to_have_text("say why it was not done")
    page.get_by_label("Why it was not done").fill("<b>storm</b>")
    page.get_by_role("button", name="Write it down").click()
    expect(page.locator("#check output")).to_contain_text("now: it stays overdue")
    expect(page.locator(".drainchecks tbody tr").first).to_contain_text("<b>storm</b>")


def test_one_that_was_wrong_is_taken_back_by_name(page: Page, console: Console) -> None:
    ready(page, console)
    row = page.locator(".drainchecks tbody tr").last
    row.get_by_role("button", name="take back").click()
    expect(page.locator("#check output")).to_have_text("write your name first")
    page.get_by_label("Your name").fill("Bo")
    row.get_by_role("button", name="take back").click()
    expect(page.locator("#check output")).to_have_text("say what was wrong with it")
    page.get_by_label("Comment").fill("other tank")
    row.get_by_role("button", name="take back").click()
    expect(page.locator("#check output")).to_contain_text("counts no more")
    expect(page.locator(".drainchecks tr[data-gone]")).to_contain_text("withdrawn by Bo: other tank")


def test_the_account_opens_and_the_cut_has_words(page: Page, console: Console) -> None:
    ready(page, console)
    tank = page.locator("#ostler-n")
    expect(tank.get_by_role("img")).to_have_attribute("aria-label", "Water cut of Ostler north from 26 Oct 2026 to "
                                                      "24 Nov 2026: 11 to 23\N{NO-BREAK SPACE}mm")  # fmt: skip
    tank.get_by_text("Where it may come from").click()
    expect(tank.get_by_role("table")).to_contain_text("30 ppm")
    page.goto(f"{console.url}/due")
    page.get_by_role("link", name="look for water at the drain").first.click()
    expect(page).to_have_url(f"{console.url}/water?tank=pipit#check")
    expect(page.locator("#check [name=tank]")).to_have_value("pipit")


@pytest.mark.parametrize("path", ["/water", "/forecast", "/due"])
@pytest.mark.parametrize("width", [390, 820, 1366, 1920])
def test_nothing_hangs_over_the_page_at_any_width(page: Page, console: Console, path: str, width: int) -> None:
    page.set_viewport_size({"width": width, "height": 900})
    page.goto(console.url + path)
    expect(page.get_by_role("heading", level=1)).to_be_visible()
    assert page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth") <= 0
