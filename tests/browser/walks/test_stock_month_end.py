"""A stock keeper at the end of a month, from the papers to the correction: docs/guides/stock-month-end.md."""

import io
import re
from pathlib import Path
from typing import Final

import openpyxl
import pypdf
import pytest
from playwright.sync_api import Page, expect

from tests.browser.walks.conftest import Camera, Farm, signed_in

pytestmark = [pytest.mark.browser, pytest.mark.timeout(300)]

BEGINS: Final = "2026-12-01T09:00+00:00"
DAYS: Final = 3
"""Of past: the ticket that nobody wrote is of the first of them."""

HEAD: Final = "kind,day,tank,paper,observed [L],temperature [degC],density [kg/m3],water [L],fuel [L],went_to,comment"
BROUGHT: Final = f"""{HEAD}
fuelling ticket,2026-11-28,palm,FT-90001,12800,28.0,800,,,,found in the refueller
water draw,2026-11-31,nroth,,40,,,35,5,waste drum,
fuelling ticket,2026-11-30,ridge,FT-90002,"1 200",28.0,800,,,,
"""
MENDED: Final = f"""{HEAD}
fuelling ticket,2026-11-30,palm,FT-90001,12800,28.0,800,,,,"of 28 Nov, found in the refueller"
water draw,2026-11-30,north,,40,,,35,5,waste drum,
"""
NOVEMBER: Final = "/stock?month=2026-11"

camera = Camera("stock")


def base(page: Page) -> str:
    """The console's address, wherever the page is."""
    return page.url.split("/", 3)[0] + "//" + page.url.split("/", 3)[2]


def account(page: Page) -> None:
    """What is due leads to the month; the month says where it does not come out, and on which day."""
    page.goto(f"{base(page)}/due")
    page.get_by_role("row", name=re.compile("stock account of Nov 2026.*Jet A-1")).get_by_role("link").click()
    expect(page.get_by_role("heading", name="Stock book of Nov 2026")).to_be_visible()
    jet = page.get_by_role("region", name="Jet A-1")
    expect(jet).to_contain_text("The book begins on Sat 28 Nov 2026")
    palm = jet.locator(".said li", has_text="Palm Jet:")
    expect(palm).to_contain_text("BEYOND what the rule allows")
    expect(palm).to_contain_text("the tank can tell")
    expect(palm).to_contain_text("the day that tells most: 28 Nov")
    expect(jet.locator(".said li", has_text="North Jet:")).to_contain_text("within what the rule allows")
    camera.take(page, "1-account", 1230)
    palm.get_by_role("link", name="its papers").click()
    group = page.locator("tr.group", has_text="Out of Palm Jet")
    expect(group).to_contain_text("more than the papers, beyond its own ±")
    expect(group).to_contain_text("its paper may be missing")
    page.locator("#written").scroll_into_view_if_needed()
    camera.take(page, "2-papers-of-the-day", 1340)


def papers(page: Page, folder: Path) -> None:
    """The ticket was found. A file of papers has mistakes: each is told with its row, nothing is taken until all are
    mended. One more is typed."""
    page.goto(f"{base(page)}/documents")
    path, file = folder / "found.csv", page.locator("#file")
    path.write_text(BROUGHT, encoding="utf-8")
    file.locator("[name=file]").set_input_files(path)
    file.get_by_role("button", name="Take it in").click()
    wrong = file.locator(".wrong")
    for told in ("2026-11-28 is closed", "nroth", "2026-11-31", "without a space between its digits"):
        expect(wrong).to_contain_text(told)
    expect(file.locator("output")).to_contain_text("Nothing was written down")
    camera.take(page, "3-mistakes-of-a-file", 880)
    path.write_text(MENDED, encoding="utf-8")
    file.locator("[name=file]").set_input_files(path)
    file.get_by_role("button", name="Take it in").click()
    expect(file.locator("output")).to_contain_text("2 documents taken")
    expect(page.locator("#list tr", has_text="FT-90001")).to_contain_text("found in the refueller")
    expect(page.locator("#list tr", has_text="water draw")).to_contain_text("35 L water, 5 L fuel")


def typed(page: Page, farm: Farm, issued_m3: float) -> None:
    """A ticket of this morning is typed, and the movement that it answers to stands beside it."""
    form = page.locator("#paper")
    form.locator("[name=kind]").select_option("fuelling ticket")
    form.locator("[name=tank]").select_option("ridge")
    fields = {"paper": "FT-90003", "observed": "12,000x", "temperature": "28.2", "density": "800"}
    for name, text in fields.items():
        form.locator(f"[name={name}]").fill(text)
    form.get_by_role("button", name="Write it down").click()
    expect(form.locator(".wrong")).to_contain_text("Observed")
    form.locator("[name=observed]").fill(f"{1000 * issued_m3:.0f}")
    form.get_by_role("button", name="Write it down").click()
    expect(form.locator("output")).to_contain_text("Written down: document")
    group = page.locator("tbody", has=page.locator("tr.group", has_text="Out of Ridge Jet")).first
    expect(group).to_contain_text("agrees")
    expect(group.locator("tr", has_text="FT-90003").locator(".seen")).to_contain_text("±")


def dipped(page: Page, farm: Farm) -> None:
    """No tape goes in where fuel has just flowed; where it rests, two readings alike stand beside the gauge."""
    for tank, said in (("palm", "more before a tape or a sampler goes in"), ("slop", "written")):
        level_mm = round(1000 * farm.truth(tank)["level_m"])
        page.goto(f"{base(page)}/dips/{tank}")
        form = page.locator("#dip")
        for reading in (1, 2):
            form.get_by_label(f"Reading {reading}").fill(str(level_mm))
        form.locator("[name=water]").fill("0")
        form.locator("[name=temperature]").fill("28.0")
        form.locator("[name=kind]").select_option("average")
        form.get_by_role("button", name="Write it down").click()
        expect(form.locator(".send output")).to_contain_text(said)
    row = page.get_by_role("region", name="Dips", exact=True).locator("tbody tr").first
    expect(row).to_contain_text("Dan")
    camera.take(page, "4-dip", 1500)


def disputed(page: Page) -> None:
    """Was the load as large as its paper said? The record says how small a difference this tank can tell at all."""
    page.goto(f"{base(page)}/receipts")
    row = page.locator("#list tr", has_text="accepted").first
    row.get_by_role("link").first.click()
    expect(page.locator("#now")).to_contain_text("no difference that the tank can tell")


def signed(page: Page) -> str:
    """The month comes out now; it is signed as it was seen. Gives the variance as it is shown."""
    page.goto(f"{base(page)}{NOVEMBER}")
    jet = page.get_by_role("region", name="Jet A-1")
    palm = jet.locator(".said li", has_text="Palm Jet:")
    expect(palm).to_contain_text("within what the rule allows")
    jet.locator("form.close [name=comment]").fill("FT-90001 of 28 Nov was found and is in the book of 30 Nov")
    jet.get_by_role("button", name="Sign and close Nov 2026 of Jet A-1").click()
    expect(jet.locator(".closed")).to_contain_text("Closed by Dan")
    camera.take(page, "5-signed", 1300)
    return jet.locator("tfoot td.bar").nth(1).locator("span").inner_text()


def put_right(page: Page) -> None:
    """After the close: the old paper stays, its volumes are taken out on an open day, the right ones stand beside."""
    page.goto(f"{base(page)}/documents?first=2026-11-30&before=2026-12-01&tank=palm")
    row = page.locator("#list tr[data-number]", has_text="FT-90001")
    expect(row.get_by_role("button", name="Undo")).to_have_count(0)
    row.get_by_role("button", name="Put right").click()
    form = page.locator("#paper")
    expect(form.locator("h2")).to_contain_text("which is closed")
    expect(form.locator("[name=day]")).to_have_value("2026-12-01")
    expect(form.locator("[name=observed]")).to_have_value("12800")
    form.locator("[name=observed]").fill("12 700")
    form.locator("[name=comment]").fill("misread: 12 700 on the ticket")
    form.get_by_role("button", name="Write it down").click()
    expect(form.locator("output")).to_contain_text("Written down: document")
    page.goto(f"{base(page)}/documents")
    expect(page.locator("#list tr", has_text="takes out document")).to_have_count(1)
    expect(page.locator("#list tr", has_text="misread: 12 700")).to_have_count(2)
    camera.take(page, "6-correction", 1180)
    page.goto(f"{base(page)}{NOVEMBER}")
    expect(page.get_by_role("region", name="Jet A-1").locator(".closed")).to_contain_text("Closed by Dan")


def printed(page: Page, variance: str) -> None:
    """The account as a page, a PDF, a CSV and a spreadsheet: one and the same figure."""
    page.get_by_role("link", name="Account on paper").click()
    report = page.get_by_role("article", name="Stock account of a month")
    expect(report).to_contain_text("by Dan")
    camera.take(page, "7-account-on-paper", 1150)
    files: dict[str, bytes] = {}
    for name in ("PDF", "CSV", "XLSX"):
        with page.expect_download() as download:
            page.get_by_role("button", name=name, exact=True).click()
        files[name] = Path(download.value.path()).read_bytes()
    litres = float(re.sub(r"[^0-9−]", "", variance).replace("−", "-"))
    sheet = openpyxl.load_workbook(io.BytesIO(files["XLSX"]), data_only=True)["month"]
    heads = next(row for row in sheet.iter_rows(values_only=True) if row[0] == "Account")
    place = next(place for place, head in enumerate(heads) if str(head).startswith("Variance ["))
    (whole,) = (row for row in sheet.iter_rows(values_only=True) if row[0] == "all Jet A-1")
    assert round(1000 * float(str(whole[place]))) == litres
    text = " ".join(one.extract_text() for one in pypdf.PdfReader(io.BytesIO(files["PDF"])).pages)
    assert "SIMULATED" in text
    figure = f"{litres / 1000:+.3f}".replace("-", "−")
    assert figure in text.replace("\N{NO-BREAK SPACE}", " ")
    assert f"{litres / 1000:.3f}"[:-1] in files["CSV"].decode()


def test_a_month_is_brought_to_its_close_and_a_mistake_is_put_right_afterwards(
    page: Page, farm: Farm, tmp_path: Path
) -> None:
    signed_in(page, farm, "Dan")
    before_m3 = farm.truth("ridge")["issued_m3"]
    farm.issue("ridge", 12.0, 90.0)
    farm.passes(16)
    issued_m3 = farm.truth("ridge")["issued_m3"] - before_m3
    account(page)
    papers(page, tmp_path)
    typed(page, farm, issued_m3)
    dipped(page, farm)
    disputed(page)
    variance = signed(page)
    put_right(page)
    printed(page, variance)
