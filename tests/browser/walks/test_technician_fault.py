"""A technician and a loop's fault, from the board to the signed paper: docs/guides/technician-fault.md."""

import re
from typing import Final

import pytest
from playwright.sync_api import Page, expect

from tests.browser.walks.conftest import Camera, Farm, signed_in, take_step

pytestmark = [pytest.mark.browser, pytest.mark.timeout(300)]

DAYS: Final = 1
LOOP: Final = "dune_loop"
STEPS_MA: Final = (4, 8, 12, 16, 20, 20, 16, 12, 8, 4)
STEADY_MIN: Final = 1.5
"""So long a simulated current stands before its step is taken: five samples and one that was missed."""

camera = Camera("technician")


def from_the_board_to_the_fault(page: Page, farm: Farm) -> None:
    """The torn tape on the board; the alarm says what it is and leads to the loop, the loop to its fault."""
    farm.breaks(LOOP, "open_loop")
    farm.passes(3)
    page.goto(farm.url)
    row = page.locator("#row-dune")
    expect(row).to_contain_text("Loop current failed low")
    expect(row).to_contain_text("the loop current is in the failure range; last good")
    expect(row.locator(".device")).to_contain_text("failure")
    camera.take(page, "1-board", 880)
    page.goto(f"{farm.url}/alarms")
    line = page.locator("main li", has_text="Loop current failed low")
    expect(line).to_contain_text("Stop a receipt into the tank or gauge it by hand")
    line.get_by_role("checkbox").check()
    page.get_by_label("Comment").fill("on my way, Ben dips")
    page.get_by_role("button", name="Acknowledge 1 chosen").click()
    expect(page.locator("#acknowledge output")).to_contain_text("acknowledged by Cleo")
    line.get_by_role("link", name="loop", exact=True).click()
    expect(page).to_have_url(re.compile(f"/loops/{LOOP}$"))
    expect(page.locator(".looppage .verdict")).to_contain_text("failure signal, low")
    expect(page.locator("#trend")).to_contain_text("point at the trend")
    camera.take(page, "2-loop", 1000)
    page.locator("#faults").get_by_role("link", name="failure signal, low").first.click()


def evidence_and_the_first_test(page: Page, farm: Farm) -> None:
    """What the samples say, what may have caused it, and the test that would refute it; then it is mended."""
    expect(page.locator("#facts")).to_contain_text("still open")
    expect(page.locator("#trace output")).to_contain_text("the samples kept around this fault")
    causes = page.locator(".why li > strong")
    expect(causes.first).to_have_text("Open circuit: wire, terminal or connector")
    expect(page.locator(".why")).to_contain_text("Test: Measure volts across the loop's terminals at the panel")
    camera.take(page, "3-fault", 1190)
    farm.mend(LOOP)
    farm.passes(3)
    expect(page.locator("#facts")).not_to_contain_text("still open")


def loop_check(page: Page, farm: Farm) -> None:
    """Five points up and down with a simulated current; the level is Bad and the alarms are blind meanwhile."""
    page.locator(".why").get_by_role("link", name="loop check").click()
    page.get_by_label("Work permit").fill("PTW-0310")
    page.get_by_role("button", name=re.compile("Begin the check")).click()
    expect(page.locator("#said")).to_have_text("Begun. Apply 4 mA.")
    expect(page.locator("p.checks")).to_contain_text("Loop check under way: Dune level, by Cleo")
    expect(page.locator("#now")).to_contain_text("Last good level of Dune Diesel before the check")
    for i, point in enumerate(STEPS_MA):
        farm.breaks(LOOP, "saturated", float(point))
        farm.passes(STEADY_MIN)
        take_step(page, point, "upward" if i < 5 else "downward", lambda: farm.passes(0.5))
        expect(page.locator("#said")).to_contain_text(f"{point} mA: shown")
        farm.mend(LOOP)
    expect(page.locator("#said")).to_contain_text("As found is whole")
    expect(page.locator("#now caption")).to_contain_text("within the limit")
    camera.take(page, "4-loop-check", 1270)
    farm.passes(1)
    page.get_by_label("Reference instrument and its number").fill("loop calibrator 4711")
    page.get_by_role("button", name="Finish and keep the record").click()
    expect(page.locator("#said")).to_have_text("Ended: the loop measures again. Record 1.")
    record = page.locator("table.records tbody tr").first
    expect(record).to_contain_text("finished")
    with page.expect_download() as paper:
        record.get_by_role("link", name="A4").click()
    assert paper.value.suggested_filename == "loop-check-1.pdf"


def closed_with_its_cause(page: Page, farm: Farm) -> None:
    """The fault is closed by name, with cause, part and action; the level is back on the board."""
    page.goto(f"{farm.url}/loops/{LOOP}/faults/1")
    for label, text in {
        "Cause": "loose terminal", "Part": "terminal 3 of the junction box", "Action": "wire cut back, new ferrule",
        "Dip before": "938", "Dip after": "938", "Comment": "loop check record 1",
    }.items():  # fmt: skip
        page.locator("#entry").get_by_label(label, exact=label == "Cause").fill(text)
    page.get_by_label("The fault is dealt with").check()
    page.get_by_role("button", name="Write it down").click()
    expect(page.locator("#entry output")).to_contain_text("entry 1 written by Cleo")
    expect(page.locator("#entries p.flag")).to_contain_text("closed by Cleo")
    camera.take(page, "5-closed", 1560)
    page.goto(farm.url)
    expect(page.locator("#row-dune .volume .fig")).to_have_attribute("data-q", "good")


def test_a_fault_from_the_board_to_the_signed_paper(page: Page, farm: Farm) -> None:
    signed_in(page, farm, "Cleo")
    farm.passes(10)
    from_the_board_to_the_fault(page, farm)
    evidence_and_the_first_test(page, farm)
    loop_check(page, farm)
    closed_with_its_cause(page, farm)
