"""An operator takes a delivery in, from the note at the gate to the release: docs/guides/operator-receipt.md."""

import re
from typing import Final

import pytest
from playwright.sync_api import Page, expect

from tests.browser.walks.conftest import Camera, Farm, signed_in

pytestmark = [pytest.mark.browser, pytest.mark.timeout(300)]

DAYS: Final = 1
"""Of past: one is enough for a tank that is released and has a dip."""

PAPERS: Final = {"observed": "36000", "temperature": "28.4", "density": "798.5", "rate": "1000"}
REST: Final = {
    "note": "DN-4711", "batch": "B-203", "certificate": "RC-203", "vehicle": "road tanker 3", "sender": "depot",
    "stops": "Ben",
}  # fmt: skip
FOUND: Final = {
    "free water drained from the tank": "none found", "tank dipped by hand": "9405 mm",
    "water of the tank checked": "clear",
}  # fmt: skip
FLOW_M3_PER_H: Final = 60.0
LOAD_M3: Final = 36.0

camera = Camera("operator")


def at_the_gate(page: Page, farm: Farm) -> None:
    """Does it fit? The tank's own page leads to the question."""
    page.goto(f"{farm.url}/tank/ridge")
    expect(page.locator(".status")).to_contain_text("released")
    page.get_by_role("link", name="check whether it fits").click()
    form = page.locator("#plan")
    expect(form.locator("[name=tank]")).to_have_value("ridge")
    for name, text in (PAPERS | {"observed": "360000"}).items():
        form.locator(f"[name={name}]").fill(text)
    check = form.get_by_role("button", name="Check", exact=True)
    check.click()
    expect(page.locator("#before")).to_contain_text("IT DOES NOT FIT below the maximum working level")
    form.locator("[name=observed]").fill(PAPERS["observed"])
    check.click()
    expect(page.locator("#before")).to_contain_text("It fits below the maximum working level")
    expect(page.locator("#before tr", has_text="Response time")).to_contain_text("enough")
    camera.take(page, "1-fits", 1260)
    for name, text in REST.items():
        form.locator(f"[name={name}]").fill(text)
    form.get_by_role("button", name="Plan it").click()
    expect(page).to_have_url(re.compile(r"/receipts/\d+$"))


def before_flow(page: Page) -> None:
    """What was done is written down; the next check comes up by itself. The sample is held against the paper."""
    expect(page.locator("#decide")).to_be_hidden()
    form, checks = page.locator("#done"), page.locator("#checks")
    for what, found in FOUND.items():
        expect(form.locator("[name=what]")).to_have_value(what)
        form.locator("[name=found]").fill(found)
        form.get_by_role("button", name="Write down").click()
        expect(checks.locator("tr", has_text=what)).to_contain_text(found)
    sample = page.locator("#sample")
    for name, text in {"density": "788.9", "at": "28.2", "temperature": "28.3"}.items():
        sample.locator(f"[name={name}]").fill(text)
    sample.get_by_role("button", name="Write down").click()
    expect(checks.locator("tr", has_text="Density and temperature")).to_contain_text("at 15 °C")
    expect(checks.locator("tr", has_text="valves lined up")).to_contain_text("not done")
    camera.take(page, "2-before-flow", 1030)
    page.get_by_role("button", name="Start the receipt").click()
    expect(page.locator("#said")).to_contain_text("started: the tank is watched from now on")


def while_it_runs(page: Page, farm: Farm) -> float:
    """The check after a quarter of an hour; gives what had come before the receipt, by the pump."""
    begun_m3 = farm.truth("ridge")["received_m3"]
    farm.receive("ridge", LOAD_M3, FLOW_M3_PER_H)
    farm.passes(5)
    expect(page.locator("#now [data-phase=receiving]")).to_be_visible()
    expect(page.locator("#now")).to_contain_text("slow start: not held against the agreed rate yet")
    farm.passes(11)
    expect(page.locator("#now")).to_contain_text("CHECK NOW: enter what line or vehicle say has been delivered")
    expect(page.locator("#now")).to_contain_text("agreed 1 000 L/min")
    camera.take(page, "3-check-now", 830)
    come_m3 = farm.truth("ridge")["received_m3"] - begun_m3
    page.get_by_label("Line or vehicle has delivered so far").fill(f"{1000 * come_m3:.0f}")
    page.get_by_role("button", name="Compare now").click()
    table = page.get_by_role("region", name="Line against tank")
    expect(table).to_contain_text("line and tank agree within the site's limit")
    expect(page.locator("#now")).to_contain_text("next check of line against tank at")
    return begun_m3


def an_alarm(page: Page, farm: Farm) -> None:
    """A second pump by mistake: the alarm says what to do. The flow is throttled, then it is acknowledged."""
    farm.stop("ridge")
    farm.receive("ridge", 16.0, 190.0)  # five minutes of it
    farm.passes(3, speed=60)  # slowly enough that a busy machine still polls: the rate must be seen before it ends
    page.goto(f"{farm.url}/alarms")
    line = page.locator("#standing li, main li", has_text="Ridge Jet").first
    expect(line).to_contain_text("not acknowledged")
    camera.take(page, "4-alarm")
    farm.stop("ridge")
    line.get_by_role("checkbox").check()
    page.get_by_label("Comment").fill("second pump off")
    page.get_by_role("button", name="Acknowledge 1 chosen").click()
    expect(page.locator("#acknowledge output")).to_contain_text("acknowledged by Ben")


def after_it(page: Page, farm: Farm, begun_m3: float) -> None:
    """Calm, held against the papers, decided, and into the book."""
    left_m3 = LOAD_M3 - (farm.truth("ridge")["received_m3"] - begun_m3)
    farm.receive("ridge", left_m3, FLOW_M3_PER_H)
    page.goto(f"{farm.url}/receipts")
    page.locator("#list").get_by_role("link", name="3", exact=True).click()
    farm.passes(60 * left_m3 / FLOW_M3_PER_H + 8)
    expect(page.locator("#now [data-phase=calm]")).to_be_visible()
    expect(page.locator("#now")).to_contain_text("Papers against tank")
    expect(page.locator("#now")).to_contain_text("no difference that the tank can tell")
    expect(page.locator("#now")).to_contain_text("The tank cannot resolve a dispute at this limit")
    camera.take(page, "5-papers-against-tank", 1000)
    page.locator("#decide").get_by_role("button", name="Accept", exact=True).click()
    expect(page.locator("#now")).to_contain_text("Accepted, by Ben")
    page.get_by_role("button", name="Make the delivery note of the papers").click()
    expect(page.locator("#now")).to_contain_text("delivery note: document")
    page.get_by_role("link", name="release of Ridge Jet").click()


def released(page: Page, farm: Farm) -> None:
    """It settles, is sampled, and a named person releases it with what was found."""
    row = page.locator("#status-ridge")
    expect(row).to_contain_text("settling")
    form = page.locator("#release")
    expect(form.locator("[name=tank]")).to_have_value("ridge")
    form.locator("[name=appearance]").select_option("clear and bright")
    form.locator("[name=water_test]").select_option("passed")
    form.get_by_role("button", name="Release").click()
    expect(form.locator("output")).to_contain_text("settl")
    farm.passes(62)
    expect(row).to_contain_text("awaiting test")
    form.get_by_role("button", name="Release").click()
    expect(row).to_contain_text("by Ben")
    expect(row).to_contain_text("released")
    camera.take(page, "6-released")


def test_a_delivery_from_the_gate_to_the_release(page: Page, farm: Farm) -> None:
    signed_in(page, farm, "Ben")
    expect(page.locator("#row-north .next")).to_contain_text("High")  # it fills; its rate is not known at first
    farm.passes(6)
    at_the_gate(page, farm)
    before_flow(page)
    begun_m3 = while_it_runs(page, farm)
    an_alarm(page, farm)
    after_it(page, farm, begun_m3)
    released(page, farm)
