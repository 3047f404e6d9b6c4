"""The alarm pages in a real browser: shelving, out of service, sound, and two people at once."""

import re

import pytest
from playwright.sync_api import BrowserContext, Locator, Page, expect

from tests.browser.conftest import Console, at_once

pytestmark = pytest.mark.browser


def line_of(page: Page, name: str, place: str) -> Locator:
    return page.locator("li", has_text=name).filter(has_text=place)


def told(page: Page) -> Locator:
    return page.locator("#acknowledge output")


def press(page: Page, name: str) -> None:
    page.get_by_role("button", name=name, exact=True).click()


def test_an_alarm_is_shelved_with_a_time_and_a_reason_and_let_speak_again(page: Page, console: Console) -> None:
    page.goto(f"{console.url}/alarms")
    line = line_of(page, "High level", "Ostler north")
    line.get_by_role("checkbox").check()
    page.get_by_label("Your name").fill("Ada")
    press(page, "Shelve")
    expect(told(page)).to_have_text("write the reason first")
    page.get_by_label("Comment or reason").fill("float being cleaned")
    page.locator("select[name=span]").select_option(label="2 h")
    press(page, "Shelve")
    expect(told(page)).to_contain_text("High level, Ostler north: shelved by Ada")
    expect(line.locator(".how b")).to_have_text(re.compile(r"^shelved until \d\d:\d\d$"))
    expect(line.locator(".how")).to_contain_text("float being cleaned")
    assert line.locator("svg.tab").get_attribute("data-s") == "shelved"
    dashes = line.locator("svg.tab .body").evaluate("e => getComputedStyle(e).strokeDasharray")
    assert dashes != "none"
    expect(page.locator("#list h2").last).to_have_text("Set aside")
    line.get_by_role("checkbox").check()
    press(page, "Unshelve")
    expect(line.locator(".how b")).to_have_text("not acknowledged")
    expect(page.locator("#past tr", has_text="float being cleaned").first).to_contain_text("shelved")


def test_an_act_that_one_of_the_chosen_does_not_admit_is_not_sent(page: Page, console: Console) -> None:
    page.goto(f"{console.url}/alarms")
    for name in ("High-high level", "Critical high level"):
        line_of(page, name, "Harrowmead").get_by_role("checkbox").check()
    page.get_by_label("Your name").fill("Ada")
    page.get_by_label("Comment or reason").fill("try")
    for name in ("Reset the latch", "Unshelve", "Back into service"):
        press(page, name)
        expect(told(page)).to_have_text("the chosen alarms do not all admit that")
    assert page.locator("#past tr", has_text="try").count() == 0


def test_any_alarm_is_taken_out_of_service_on_the_page_of_all(page: Page, console: Console) -> None:
    page.goto(f"{console.url}/alarms/every")
    row = page.locator("tr", has_text="harrowmead.critical_high")
    row.get_by_role("checkbox").check()
    page.get_by_label("Your name").fill("Bo")
    page.get_by_label("Comment or reason").fill("transmitter on the bench")
    press(page, "Take out of service")
    expect(told(page)).to_contain_text("taken out of service by Bo")
    expect(row).to_contain_text("out of service by Bo")
    page.goto(f"{console.url}/alarms")
    line = line_of(page, "Critical high level", "Harrowmead")
    expect(line.locator(".how b")).to_have_text("out of service")
    line.get_by_role("checkbox").check()
    press(page, "Back into service")
    expect(line.locator(".how b")).to_have_text("not acknowledged")


def test_a_test_of_one_alarm_begins_on_the_page_of_all_and_overdue_ones_stand_out(page: Page, console: Console) -> None:
    page.goto(f"{console.url}/alarms/every")
    row = page.locator("tr", has_text="harrowmead.high").last
    expect(row.locator("b")).to_have_text("test overdue since 2026-01-31")
    row.get_by_role("checkbox").check()
    page.get_by_label("Your name").fill("Ada")
    page.locator("select[name=means]").select_option("simulated")
    press(page, "Test, the signal moves now")
    expect(told(page)).to_have_text("the chosen alarms do not all admit that")  # its condition is on


def test_the_sound_calls_for_what_waits_and_is_silenced_without_acknowledging(page: Page, console: Console) -> None:
    page.goto(f"{console.url}/alarms")
    sound = page.locator("#sound")
    expect(sound).to_have_text("Sound: off")
    sound.click()
    expect(sound).to_have_text("Silence")
    expect(sound).to_have_attribute("data-heard", re.compile(r"\d+"))
    waiting = page.locator("#list li[data-waits='1']").count()
    sound.click()
    expect(sound).to_have_text("Sound: silenced")
    heard = sound.get_attribute("data-heard")
    page.goto(f"{console.url}/")
    expect(page.locator("#sound")).to_have_text(re.compile("Sound: silenced|Sound: press to hear"))
    page.goto(f"{console.url}/alarms")
    assert page.locator("#list li[data-waits='1']").count() == waiting, "silencing acknowledged something"
    assert heard is not None


def test_two_people_who_acknowledge_at_once_are_both_told_who_was_first(
    context: BrowserContext, console: Console
) -> None:
    here, there = context.new_page(), context.new_page()
    for page, name in ((here, "Ada"), (there, "Bo")):
        page.goto(f"{console.url}/alarms")
        page.get_by_label("Your name").fill(name)
        line_of(page, "High-high level", "Harrowmead").get_by_role("checkbox").check()
    at_once([here, there], "/acknowledge", lambda page: press(page, "Acknowledge 1 chosen"))
    first, second = told(here), told(there)
    expect(first).to_contain_text("acknowledged by")
    expect(second).to_contain_text("acknowledged by")
    said = [first.inner_text(), second.inner_text()]
    assert sum("was acknowledged by" in text for text in said) == 1, said
    winner = "Ada" if "was acknowledged" in said[1] else "Bo"
    assert all(f"acknowledged by {winner}" in text for text in said), said


@pytest.mark.parametrize("days", [1, 7, 30])
def test_the_performance_page_names_its_aims_and_its_stretch(page: Page, console: Console, days: int) -> None:
    page.goto(f"{console.url}/alarms/performance?days={days}")
    expect(page.locator(".judged tbody tr")).to_have_count(13)
    expect(page.locator("a[aria-current=true]", has_text=f"{days} d")).to_be_visible()
