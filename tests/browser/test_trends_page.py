"""The trends page in a real browser: several tanks, keys, an address that keeps what is in view, a picture."""

import base64
import csv
import re
from pathlib import Path
from urllib.parse import parse_qs, urlparse

import pytest
from playwright.sync_api import Page, expect

from tests.browser.conftest import Console, clock_moves
from tests.browser.test_units import module

pytestmark = pytest.mark.browser

TWO = "/trends?tanks=ostler-n,pipit&span=86400"


LOOKED_AT = """async (text) => {
  const bytes = Uint8Array.from(atob(text), (one) => one.charCodeAt(0));
  const image = await createImageBitmap(new Blob([bytes], { type: "image/png" }));
  const pen = new OffscreenCanvas(image.width, image.height).getContext("2d");
  pen.drawImage(image, 0, 0);
  const { data } = pen.getImageData(0, 0, image.width, image.height);
  let [dark, light] = [0, 0];
  for (let i = 0; i < data.length; i += 4) {
    if (data[i + 3] === 255 && data[i] < 60) dark += 1;
    if (data[i + 3] === 255 && data[i] > 200) light += 1;
  }
  return [image.width, image.height, dark, light];
}"""
"""Width and height of a PNG, and how many of its pixels are dark and light."""


def asked_of(page: Page) -> dict[str, str]:
    return {name: values[0] for name, values in parse_qs(urlparse(page.url).query).items()}


def test_each_line_has_a_letter_a_dash_and_its_value(page: Page, console: Console) -> None:
    page.goto(console.url + TWO)
    rows = page.locator("#legend tbody tr")
    expect(rows).to_have_count(2)
    expect(rows.nth(0).locator("th")).to_contain_text("A")
    expect(rows.nth(0)).to_contain_text(re.compile(r"Ostler north.*mm"))
    expect(rows.nth(1).locator("path")).to_have_attribute("stroke-dasharray", "9 4")
    expect(rows.nth(1)).to_contain_text("no value since 25 Nov 11:")
    page.get_by_label("Right axis").select_option("temperature_degC")
    expect(rows).to_have_count(4)
    expect(rows.nth(3)).to_contain_text("Temperature (thin line, right axis)")
    assert page.evaluate("() => document.documentElement.scrollWidth <= document.documentElement.clientWidth")


def test_the_keys_read_out_values_and_marks_with_their_words(page: Page, console: Console) -> None:
    page.goto(f"{console.url}/trends?tanks=fennock&span=28800")
    marks = page.locator("#marks li")
    expect(marks.filter(has_text="goes on").first).to_contain_text("Fennock")
    page.locator("#trends canvas").focus()
    page.keyboard.press("+")  # zooms about the middle, past the newest data's end: 06:00 to 10:00
    expect(page).to_have_url(re.compile("span=14400"))
    found = marks.filter(has_text="loop fault: Fennock")
    for _ in range(60):
        page.keyboard.press("Shift+[")
        if found.count() and "goes on" not in found.first.inner_text():
            break
    expect(found.first).to_contain_text(re.compile("no answer", re.I))
    expect(page.locator("#said")).to_have_text(re.compile(r"^25 Nov 09:\d\d:\d\d$"))
    expect(page.locator("#legend tbody tr").first).to_contain_text("25 Nov 09:")


def test_a_line_goes_over_empty_places_between_readings_and_not_over_a_hole(page: Page, console: Console) -> None:
    """Readings may come less often than the chart has places. x: a reading, .: nothing, 0: one without a value."""
    page.goto(f"{console.url}/trends")
    clock_moves(page)
    found = page.evaluate(
        """async (url) => {
          const { runs } = await import(url);
          const points = (row) => [...row].map((sign, k) =>
            ({ t: 1000 * k, min: sign === "x" ? 7 : null, good: { x: 1, ".": null, 0: 0 }[sign] }));
          return ["x....x....x", "x.....x", "x......x", "x.0.x", "xx0x", "..x..", "", "0.0",
            "x......x......x......x...............x", "xxx......x......xxx"].map((row) =>
            runs(points(row), 5000).map((run) => run.map(({ t }) => t / 1000)));
        }""",
        module(page, "chart"),
    )
    assert found[:8] == [[[0, 5, 10]], [[0, 6]], [[0], [7]], [[0], [4]], [[0, 1], [3]], [[2]], [], []]
    seldom, twice_away = found[8:]
    assert seldom == [[0, 7, 14, 21], [37]], "what was measured less often, evenly, is no row of holes"
    assert twice_away == [[0, 1, 2], [9], [16, 17, 18]]


def test_marks_of_the_time_axis_stand_on_round_times_of_the_site_over_summer_time_and_years(
    page: Page, console: Console
) -> None:
    page.goto(f"{console.url}/trends")
    clock_moves(page)
    asked = [
        ("Europe/Oslo", "2026-03-28T22:00Z", "2026-03-29T03:00Z", 8),  # 02:00 is skipped
        ("Europe/Oslo", "2026-10-24T22:00Z", "2026-10-25T02:00Z", 5),  # 02:00 comes twice: the first has its mark
        ("America/Santiago", "2026-09-05T12:00Z", "2026-09-07T12:00Z", 8),  # midnight of 6 September is skipped
        ("Europe/Oslo", "2024-02-27T00:00Z", "2024-03-02T00:00Z", 4),
        ("Europe/Oslo", "2021-11-27T00:00Z", "2026-11-27T00:00Z", 11),
        ("Europe/Oslo", "2025-11-27T00:00Z", "2026-11-27T00:00Z", 7),
    ]
    found = page.evaluate(
        """async ([url, asked]) => {
          const { SiteTime } = await import(url);
          return asked.map(([zone, start, end, most]) => new SiteTime(zone, Date.parse("2026-11-27T12:00Z"))
            .ticks(Date.parse(start), Date.parse(end), most)
            .map(({ at, text }) => `${new Date(at).toISOString().slice(2, 16)} ${text}`));
        }""",
        [module(page, "scale"), asked],
    )
    assert [len({mark[:14] for mark in marks}) == len(marks) for marks in found] == [True] * len(asked)
    assert [mark[15:] for mark in found[0]] == ["23:00", "29 Mar", "01:00", "03:00", "04:00", "05:00"]
    assert [mark[9:] for mark in found[1]] == ["22:00 25 Oct", "23:00 01:00", "00:00 02:00", "02:00 03:00"]
    assert "26-09-06T04:00 6 Sept" in found[2]
    assert [mark[15:] for mark in found[3]] == ["28 Feb 2024", "29 Feb 2024", "1 Mar 2024", "2 Mar 2024"]
    assert [mark[15:] for mark in found[4]][:3] == ["1 Jan 2022", "1 Jul 2022", "1 Jan 2023"]
    assert [mark[15:] for mark in found[4]][-1] == "1 Jul"
    assert [mark[15:] for mark in found[5]] == ["1 Jan", "1 Mar", "1 May", "1 Jul", "1 Sept", "1 Nov"]


def test_the_address_keeps_what_is_in_view(page: Page, console: Console) -> None:
    page.goto(console.url + TWO)
    expect(page).to_have_url(re.compile("tanks=ostler-n%2Cpipit"))
    assert "start" not in asked_of(page), "a view that follows the newest data has none"
    page.get_by_label("Quillmoor").check()
    page.get_by_label("Left axis").select_option("volume_percent")
    page.locator("#trends canvas").focus()
    page.keyboard.press("ArrowLeft")
    page.keyboard.press("+")
    expect(page).to_have_url(re.compile("start=.*span=43200|span=43200.*start="))
    asked = asked_of(page)
    assert asked["tanks"] == "ostler-n,quillmoor,pipit"
    assert asked["quantities"] == "volume_percent"
    again = page.context.new_page()
    again.goto(page.url)
    expect(again.locator("#legend tbody tr")).to_have_count(3)
    expect(again.get_by_label("Quillmoor")).to_be_checked()
    expect(again).to_have_url(re.compile("span=43200"))
    assert asked_of(again)["start"] == asked["start"]


def test_seven_tanks_are_refused_and_none_is_said(page: Page, console: Console) -> None:
    page.goto(f"{console.url}/trends")
    boxes = page.get_by_role("checkbox")
    expect(boxes.nth(0)).to_be_checked()
    boxes.nth(0).uncheck()
    expect(page.locator("#said")).to_have_text("choose at least one tank")
    expect(page.locator("#legend tbody tr")).to_have_count(0)
    for k in range(boxes.count()):
        boxes.nth(k).check()
    expect(page.locator("#legend tbody tr")).to_have_count(6)


def test_what_is_in_view_is_exported_as_csv_and_as_a_picture(page: Page, console: Console, tmp_path: Path) -> None:
    page.goto(console.url + TWO)
    expect(page.locator("#legend tbody tr")).to_have_count(2)
    with page.expect_download() as table:
        page.get_by_role("link", name="Export CSV").click()
    table.value.save_as(tmp_path / "trend.csv")
    with (tmp_path / "trend.csv").open() as file:
        assert {row["tank"] for row in csv.DictReader(file)} == {"ostler-n", "pipit"}
    with page.expect_download() as drawn:
        page.get_by_role("button", name="Save picture").click()
    expect(page.locator("#said")).to_have_text("picture saved")
    assert re.fullmatch(r"trend-2026-11-\d\dT\d{4}\.png", drawn.value.suggested_filename)
    drawn.value.save_as(tmp_path / "trend.png")
    width, height, dark, light = page.evaluate(
        LOOKED_AT, base64.b64encode((tmp_path / "trend.png").read_bytes()).decode()
    )
    assert (width > 1000, height > 500) == (True, True)
    assert dark > 5000, "lines, words and title are drawn in dark ink"
    assert light > 200_000, "on the page's own light face"


@pytest.mark.parametrize("light", ["night", "sun"])
def test_it_fits_a_phone_in_every_light(page: Page, console: Console, light: str) -> None:
    page.set_viewport_size({"width": 390, "height": 844})
    page.context.add_cookies([{"name": "light", "value": light, "url": console.url}])
    page.goto(console.url + TWO)
    expect(page.locator("html")).to_have_attribute("data-light", light)
    expect(page.locator("#legend tbody tr")).to_have_count(2)
    assert page.evaluate("() => document.documentElement.scrollWidth <= document.documentElement.clientWidth")
