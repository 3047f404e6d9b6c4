"""Units and number format in a browser: the choice, the same digits as the server's, figures as people type them."""

import json
import random
import re
from typing import Any

import pytest
from playwright.sync_api import BrowserContext, Page, expect

from console.numbers import STYLES, feet, feet_in_words, in_style, number
from console.units import for_script, in_units
from tests.browser.conftest import Console

PHONE = {"width": 390, "height": 844}
CHOICES = [("us", "decimal-comma"), ("us", "comma")]
SHOWN = (
    "/", "/tank/ostler-n", "/receipts", "/documents", "/stock", "/dips", "/dips/ostler-s", "/water", "/leak",
    "/forecast", "/status", "/loops", "/settings",
)  # fmt: skip


def choose(context: BrowserContext, console: Console, units: str, numbers: str = "space") -> None:
    context.add_cookies(
        [{"name": name, "value": value, "url": console.url} for name, value in (("units", units), ("numbers", numbers))]
    )


def module(page: Page, name: str) -> str:
    """The address of a script as the page loads it: its name bears its content's hash."""
    found = page.evaluate("performance.getEntriesByType('resource').map(one => one.name)")
    return next(str(url) for url in found if re.search(rf"/{name}\.js", url))


def test_the_scripts_write_numbers_as_the_server_does(page: Page, console: Console) -> None:
    """The server's way is held against its rules in tests/console; halves of a last digit are in here too."""
    page.goto(f"{console.url}/dips/ostler-s")
    expect(page.locator("#dip button")).to_be_enabled()
    draw = random.Random(7)
    values = [draw.randint(-99999, 99999) / 2 ** draw.randint(0, 6) for _ in range(300)]
    values += [draw.uniform(-1, 1) * 10.0 ** draw.randint(-4, 8) for _ in range(300)] + [0.0, -0.04, 0.5, 1.5, 2.5]
    wanted: list[list[Any]] = []
    for style in STYLES:
        with in_style(style):
            for value in values:
                decimals = draw.randint(0, 4)
                text = number(value, decimals, signed=decimals == 1)
                wanted.append([value, decimals, style, text, feet(value), feet_in_words(value)])
    apart = page.evaluate(
        """async ([url, rows]) => {
          const { number, feet, feetInWords } = await import(url);
          return rows.filter(([value, decimals, style, text, ticket, words]) =>
            number(value, decimals, decimals === 1, style) !== text
            || feet(value) !== ticket || feetInWords(value) !== words);
        }""",
        [module(page, "numbers"), wanted],
    )
    assert apart == []


READ = [
    ("space", "dip_m", "6 391", 6.391),
    ("space", "dip_m", "6391,5 mm", 6.3915),
    ("space", "dip_m", "1,234", None),
    ("comma", "dip_m", "1,234", 1.234),
    ("decimal-comma", "dip_m", "1,234", 0.001234),
    ("decimal-comma", "dip_m", "1.234", None),
    ("space", "dip_m", "12 34", None),
]
READ_US = [
    ("space", "dip_m", "6-3-10", 1.920875),
    ("space", "dip_m", "6' 3 5/8\"", 1.920875),
    ("space", "dip_m", "6 ft 3 5/8 in", 1.920875),
    ("decimal-comma", "dip_m", "75,625 in", 1.920875),
    ("space", "dip_m", "1 1/8 in", 0.028575),
    ("space", "dip_m", "1920.875 mm", 1.920875),
    ("space", "dip_m", "0", 0.0),
    ("space", "dip_m", "75", None),
    ("space", "dip_m", "6-12-1", None),
    ("comma", "volume_m3", "1,000", 3.785411784),
    ("space", "volume_m3", "1000 gal", 3.785411784),
    ("space", "volume_m3", "3785 L", 3.785),
    ("space", "volume_m3", "1000 bbl", None),
    ("space", "temperature_degC", "59", 15.0),
    ("space", "temperature_degC", "15 degC", 15.0),
    ("space", "density_kgpm3", "800 kg/m3", 800.0),
]
"""What is typed, and what it is in SI; None: refused. The tape of 6 ft 3 5/8 in: US Army QM5097, p. 51; its metres, the
gallon and 59 °F computed from the exact factors of NIST SP 811."""


@pytest.mark.parametrize(("units", "cases"), [("metric", READ), ("us", READ_US)])
def test_what_is_typed_is_read_once_or_refused_with_the_mend(
    page: Page, console: Console, units: str, cases: list[tuple[str, str, str, float | None]]
) -> None:
    page.goto(f"{console.url}/dips/ostler-s")
    expect(page.locator("#dip button")).to_be_enabled()
    with in_units(units):
        kinds = for_script("dip_m", "volume_m3", "temperature_degC", "density_kgpm3")
    for style, kind, text, si in cases:
        found, why = page.evaluate(
            """async ([url, text, kind, style]) => {
              const { inSI, refusal } = await import(url);
              const found = inSI(text, kind, style);
              return [Number.isNaN(found) ? null : found, refusal()];
            }""",
            [module(page, "amount"), text, kinds[kind], style],
        )
        if si is None:
            assert found is None, (style, text)
            assert text in why
        else:
            assert found == pytest.approx(si, rel=1e-11, abs=1e-15), (style, text)


def test_the_choice_is_made_in_the_head_and_stays(page: Page, console: Console) -> None:
    page.goto(f"{console.url}/stock")
    page.locator("#units summary").click()
    page.get_by_role("button", name="US", exact=True).click()
    expect(page.locator("html")).to_have_attribute("data-units", "us")
    page.locator("#units summary").click()
    page.locator("#units [data-choice=numbers] button").last.click()
    expect(page.locator("html")).to_have_attribute("data-numbers", "decimal-comma")
    expect(page.locator("footer")).to_contain_text("Times are those of Europe/Dublin.")
    page.goto(f"{console.url}/")
    level = page.locator("#row-ostler-n td").nth(5)
    expect(level).to_have_text(re.compile(r"\d+-\d\d-\d\d"))
    clock = page.locator("#clock").text_content()
    expect(page.locator("#clock")).not_to_have_text(clock or "")  # the feed has spoken
    expect(level).to_have_text(re.compile(r"\d+-\d\d-\d\d"))
    expect(page.locator("#row-ostler-n td").nth(7)).to_have_text("52,5")


def test_a_dip_in_feet_is_kept_in_si_and_answered_in_both(context: BrowserContext, console: Console) -> None:
    choose(context, console, "us")
    page = context.new_page()
    sent: list[dict[str, Any]] = []
    page.on(
        "request", lambda one: sent.append(json.loads(one.post_data or "{}")) if one.url.endswith("/dips") else None
    )
    page.goto(f"{console.url}/dips/ostler-s")
    form = page.locator("#dip")
    expect(form.locator("button")).to_be_enabled()
    form.get_by_label("Your name").fill("Ada")
    form.get_by_label("Reading 1").fill("20")
    expect(page.locator("#verdict")).to_contain_text("feet or inches?")
    form.get_by_label("Reading 1").fill("20-11-10")
    form.get_by_label("Reading 2").fill("20' 11 5/8\"")
    expect(page.locator("#verdict")).to_contain_text("20\u00a0ft\u00a011\u00a010/16\u00a0in (6\u202f391.3\u00a0mm)")
    form.get_by_label("Water cut").fill("1/8 in")
    form.get_by_role("button", name="Write it down").click()
    expect(form.locator(".send output")).to_contain_text("dip 7 written by Ada")
    expect(form.locator(".send output")).to_contain_text("water 0\u00a0ft\u00a00\u00a02/16\u00a0in (3.2\u00a0mm)")
    assert sent[-1]["readings_m"] == [6.391275, 6.391275]
    assert sent[-1]["water_m"] == 0.003175


@pytest.mark.parametrize(("units", "numbers"), CHOICES)
def test_no_page_is_wider_than_its_window(context: BrowserContext, console: Console, units: str, numbers: str) -> None:
    choose(context, console, units, numbers)
    page = context.new_page()
    for size in (PHONE, {"width": 1366, "height": 768}):
        page.set_viewport_size(size)  # type: ignore[arg-type]
        for path in SHOWN:
            page.goto(f"{console.url}{path}")
            expect(page.locator("html")).to_have_attribute("data-numbers", numbers)
            wide = page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth")
            assert wide <= 0, (path, size)
