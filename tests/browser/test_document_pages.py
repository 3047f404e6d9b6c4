"""Papers on the page: a wrong entry, a right one, put right, undone; a file with mistakes and without."""

import re
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, expect

from tests.browser.conftest import Console

pytestmark = pytest.mark.browser

SLOW_MS = 30_000
PHONE = {"width": 390, "height": 844}


def opened(page: Page, console: Console) -> None:
    page.goto(f"{console.url}/documents")
    page.get_by_label("Your name").fill("Ada")


def press(page: Page, name: str) -> None:
    page.get_by_role("button", name=re.compile(name)).click()


def note(page: Page, litres: str, paper: str = "DN-1") -> None:
    page.locator("#paper [name=kind]").select_option("delivery note")
    page.locator("#paper [name=tank]").select_option("palm")
    page.locator("#paper [name=paper]").fill(paper)
    page.locator("#paper [name=observed]").fill(litres)


def test_a_wrong_entry_is_told_field_by_field_and_the_right_one_stands_in_the_list(
    page: Page, console: Console
) -> None:
    opened(page, console)
    note(page, "36,5x")
    press(page, "Write it down")
    wrong = page.locator("#paper .wrong tbody tr")
    expect(wrong).to_have_count(1, timeout=SLOW_MS)
    expect(wrong).to_contain_text("Observed")
    expect(page.locator("#paper [name=observed]")).to_have_attribute("aria-invalid", "true")
    expect(page.locator("#list")).to_contain_text("No document")
    note(page, "36 000")
    page.locator("#paper [name=temperature]").fill("71")
    page.locator("#paper [name=density]").fill("800")
    press(page, "Write it down")
    expect(page.locator("#paper output")).to_contain_text("Look at the paper again", timeout=SLOW_MS)
    page.locator("#paper [name=temperature]").fill("27.5")
    press(page, "Write it down")
    expect(page.locator("#paper output")).to_contain_text("document 1", timeout=SLOW_MS)
    expect(page.locator("#list tr[data-number]")).to_have_count(1, timeout=SLOW_MS)
    expect(page.locator("#list tr[data-number]")).to_contain_text(re.compile("\\+36.000"))
    expect(page.locator("#paper .wrong tbody tr")).to_have_count(0)


def test_what_is_asked_about_is_taken_when_one_is_sure(page: Page, console: Console) -> None:
    opened(page, console)
    note(page, "900 000")
    expect(page.get_by_role("button", name="I am sure: it is so").first).to_be_hidden()
    press(page, "Write it down")
    expect(page.locator("#paper .wrong")).to_contain_text("maximum working level", timeout=SLOW_MS)
    page.locator("#sure").click()
    expect(page.locator("#list tr[data-number]")).to_have_count(1, timeout=SLOW_MS)
    expect(page.locator("#sure")).to_be_hidden()


def test_each_kind_shows_its_own_fields(page: Page, console: Console) -> None:
    opened(page, console)
    for kind, shown, hidden in (
        ("meter totaliser", "meter_opening", "observed"),
        ("water draw", "water", "batch"),
        ("transfer note", "to_tank", "meter"),
        ("delivery note", "batch", "water"),
    ):
        page.locator("#paper [name=kind]").select_option(kind)
        expect(page.locator(f"#paper [name={shown}]")).to_be_visible()
        expect(page.locator(f"#paper [name={hidden}]")).to_be_hidden()


def test_a_small_draw_says_that_no_gauge_sees_it(page: Page, console: Console) -> None:
    opened(page, console)
    page.locator("#paper [name=kind]").select_option("water draw")
    page.locator("#paper [name=tank]").select_option("palm")
    page.locator("#paper [name=observed]").fill("40")
    page.locator("#paper [name=water]").fill("30")
    page.locator("#paper [name=went_to]").fill("waste drum")
    press(page, "Write it down")
    expect(page.locator("#paper output")).to_contain_text("the gauge cannot see such a draw", timeout=SLOW_MS)


def test_a_document_is_put_right_and_undone(page: Page, console: Console) -> None:
    opened(page, console)
    note(page, "36 000")
    press(page, "Write it down")
    expect(page.locator("#list tr[data-number]")).to_have_count(1, timeout=SLOW_MS)
    press(page, "Put right")
    expect(page.locator("#paper h2")).to_contain_text("Document 1")
    expect(page.locator("#paper [name=observed]")).to_have_value("36000")
    page.locator("#paper [name=observed]").fill("35 500")
    press(page, "Write it down")
    row = page.locator("#list tr[data-number]")
    expect(row).to_contain_text("puts right document 1", timeout=SLOW_MS)
    expect(row).to_have_count(1)
    row.get_by_role("button", name="Undo").click()
    row.get_by_role("button", name="Press again to undo").click()
    expect(page.locator("#list")).to_contain_text("No document", timeout=SLOW_MS)
    page.locator("#filter [name=undone]").check()
    press(page, "Show")
    expect(page.locator("#list tr[data-undone]")).to_have_count(2, timeout=SLOW_MS)
    expect(page.locator("#list tr[data-undone]").last).to_contain_text("in its place document 2")


ROWS = """kind,day,tank,paper,observed [L]
delivery note,2026-09-20,palm,DN-1,36000
fuelling ticket,2026-09-21,plam,T-1,5200
fuelling ticket,2026-99-21,palm,T-2,5 200
"""


def test_a_file_is_taken_whole_or_not_at_all(page: Page, console: Console, tmp_path: Path) -> None:
    opened(page, console)
    path = tmp_path / "papers.csv"
    path.write_text(ROWS, encoding="utf-8")
    page.locator("#file [name=file]").set_input_files(path)
    press(page, "Take it in")
    wrong = page.locator("#file .wrong tbody tr")
    expect(wrong).to_have_count(3, timeout=SLOW_MS)
    expect(wrong.nth(0)).to_contain_text("plam")
    expect(wrong.filter(has_text="2026-99-21")).to_have_count(1)
    expect(wrong.filter(has_text="without a space")).to_contain_text("observed [L]")
    expect(page.locator("#list")).to_contain_text("No document")
    path.write_text(ROWS.replace("plam", "palm").replace("99", "09").replace("5 200", "5100"), encoding="utf-8")
    page.locator("#file [name=file]").set_input_files(path)
    press(page, "Take it in")
    expect(page.locator("#file output")).to_contain_text("3 documents taken: 1 to 3", timeout=SLOW_MS)
    expect(page.locator("#list tr[data-number]")).to_have_count(3, timeout=SLOW_MS)


def test_on_a_phone_nothing_runs_out_of_the_page(browser: Browser, console: Console) -> None:
    page = browser.new_page(viewport=PHONE)
    opened(page, console)
    note(page, "36 000")
    press(page, "Write it down")
    expect(page.locator("#list tr[data-number]")).to_have_count(1, timeout=SLOW_MS)
    assert page.evaluate("() => document.documentElement.scrollWidth") <= PHONE["width"]
    page.close()
