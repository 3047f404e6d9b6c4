"""Signing in with a real browser: the form's own request must pass, and the pages' forms know who acts."""

from collections.abc import Iterator

import pytest
from playwright.sync_api import Browser, expect

from tests.browser.conftest import Console, watched

PASSWORD = "a long enough password"


@pytest.fixture
def console() -> Iterator[Console]:
    with Console(PASSWORD) as made:
        yield made


def test_somebody_signs_in_acts_under_their_name_and_signs_out(browser: Browser, console: Console) -> None:
    with watched(browser, console) as context:
        page = context.new_page()
        page.goto(f"{console.url}/alarms")
        page.get_by_role("link", name="Sign in").click()
        expect(page).to_have_title("Sign in · Marrowfield airfield")
        assert "Ostler" not in page.content(), "the page to sign in shows nothing of the site's state"
        page.get_by_label("Name", exact=True).fill("Ana")
        page.get_by_label("Password").fill("not this one")
        page.get_by_role("button", name="Sign in").click()
        expect(page.get_by_role("alert")).to_have_text("name and password do not belong together")
        page.get_by_label("Password").fill(PASSWORD)
        page.get_by_role("button", name="Sign in").click()
        expect(page).to_have_url(f"{console.url}/alarms")
        expect(page.get_by_role("button", name="Sign out")).to_be_visible()
        expect(page.get_by_label("Your name").first).to_be_hidden()
        line = page.locator("li", has_text="High level").filter(has_text="Ostler north")
        line.get_by_role("checkbox").check()
        page.get_by_role("button", name="Acknowledge 1 chosen").click()
        expect(page.locator("#acknowledge output")).to_contain_text("acknowledged by Ana")
        page.goto(f"{console.url}/tank/ostler-s")
        page.get_by_role("button", name="Start anew").click()
        expect(page.locator("#reset output")).to_have_text("started anew by Ana")
        page.get_by_role("button", name="Sign out").click()
        expect(page.get_by_role("link", name="Sign in")).to_be_visible()


def test_a_change_without_signing_in_is_refused_on_the_page(browser: Browser, console: Console) -> None:
    with watched(browser, console) as context:
        page = context.new_page()
        page.goto(f"{console.url}/tank/ostler-s")
        page.locator("#reset").get_by_label("Your name").fill("Ada")
        page.get_by_role("button", name="Start anew").click()
        expect(page.locator("#reset output")).to_contain_text("sign in first")
