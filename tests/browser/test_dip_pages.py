"""Dips in a real browser: judged while they are typed, written, withdrawn; the charts; day, night and a phone."""

import pytest
from playwright.sync_api import Page, expect

from tests.browser.conftest import Console

pytestmark = pytest.mark.browser


def test_a_dip_is_judged_while_it_is_typed_and_then_written(page: Page, console: Console) -> None:
    page.goto(f"{console.url}/dips")
    page.get_by_role("link", name="Ostler south").click()
    expect(page.get_by_role("heading", level=1)).to_contain_text("Ostler south")
    form = page.locator("#dip")
    expect(page.locator("#now .point")).to_have_count(12)
    form.get_by_role("button", name="Write it down").click()
    expect(form.locator(".send output")).to_have_text("write your name first")
    form.get_by_label("Your name").fill("Ada")
    form.get_by_label("Reading 1").fill("6 391")
    expect(page.locator("#verdict")).to_contain_text("take 2 identical readings")
    form.get_by_label("Reading 2").fill("6391,0")
    expect(page.locator("#verdict")).to_contain_text("6\u202f391.0\u00a0mm (2 identical readings)")
    expect(page.locator("#verdict")).to_contain_text("gauge less dip +11.0")
    form.get_by_label("Reading 2").fill("63x")
    expect(page.locator("#verdict")).to_contain_text("“")
    form.get_by_label("Reading 2").fill("6391")
    form.get_by_label("Water cut").fill("3")
    form.get_by_role("button", name="Write it down").click()
    expect(form.locator(".send output")).to_contain_text("dip 7 written by Ada")
    expect(page.locator("#now .point")).to_have_count(14)
    expect(page.locator("#now table").first.locator("tbody tr").first).to_contain_text("Ada")
    expect(form.get_by_label("Reading 1")).to_have_value("")


def test_too_early_is_told_before_anything_is_sent(page: Page, console: Console) -> None:
    page.goto(f"{console.url}/dips/ostler-n")
    expect(page.locator("#dip button")).to_be_enabled()  # its script has run
    expect(page.locator("#state")).to_contain_text("fuel flows: no dip, no sample; then wait 30 min")
    page.get_by_label("Reading 1").fill("10830")
    expect(page.locator("#verdict")).to_contain_text("static electricity")


def test_a_sample_is_written_and_withdrawn(page: Page, console: Console) -> None:
    page.goto(f"{console.url}/dips/ostler-s")
    form = page.locator("#sample")
    form.get_by_label("Density as read").fill("801,5")
    form.get_by_label("Sample °C").fill("15")
    form.get_by_label("Your name").fill("Ada")
    form.get_by_role("button", name="Write it down").click()
    told = "sample 1 written by Ada: 801.5\N{NO-BREAK SPACE}kg/m³ at 15 °C, accepted"
    expect(form.locator(".send output")).to_contain_text(told)
    expect(page.locator("#state")).to_contain_text("sample 1 of")
    out = page.locator("#withdraw")
    out.get_by_label("It is").select_option("samples")
    out.get_by_label("Number").fill("1")
    out.get_by_label("Why").fill("wrong tank")
    out.get_by_label("Your name").fill("Ada")
    out.get_by_role("button", name="Withdraw it").click()
    expect(out.locator(".send output")).to_have_text("number 1 withdrawn by Ada")
    expect(page.locator("#now")).to_contain_text("the product's own density counts")


@pytest.mark.parametrize("path", ["/dips", "/dips/ostler-s"])
def test_the_pages_fit_a_phone_and_every_field_has_a_name(page: Page, console: Console, path: str) -> None:
    page.goto(console.url + path)
    expect(page.get_by_role("heading", level=1)).to_be_visible()
    nameless = "() => [...document.querySelectorAll('main :is(input, select)')].filter((e) => !e.labels.length).length"
    assert page.evaluate(nameless) == 0
    page.set_viewport_size({"width": 390, "height": 844})
    width = page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth")
    assert width <= 0
