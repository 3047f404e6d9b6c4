"""The page of reports and its twins by HTTP: the same figures in every form, and the change of shift."""

import csv
import html
import io

import httpx
import openpyxl
import pytest

from tests.console.fake import FakeFacts

JANUARY = {"month": "2024-01", "by": "Ada"}


async def test_every_report_is_listed_and_each_can_be_looked_at(looker: httpx.AsyncClient) -> None:
    kinds = (await looker.get("/api/reports")).json()
    page = html.unescape((await looker.get("/reports")).text)
    assert [one["kind"] for one in kinds] == ["stock", "movements", "account", "dips", "handover", "due"]
    for one in kinds:
        assert f'href="/reports/{one["kind"]}"' in page
        assert one["what"] in page
        answer = await looker.get(f"/reports/{one['kind']}")
        assert answer.status_code == 200
        assert "SIMULATED FARM" in answer.text
        assert "by not named" in answer.text


async def test_the_page_and_every_form_tell_the_same(looker: httpx.AsyncClient) -> None:
    told = (await looker.get("/api/reports/account", params=JANUARY)).json()
    page = html.unescape((await looker.get("/reports/account", params=JANUARY)).text)
    for piece in (told["head"], told["edition"], "by Ada", "Not done", "2024-01 is not closed and signed", "= Book"):
        assert piece in page
    month = next(one for one in told["tables"] if one["name"] == "month")
    figure = month["rows"][0]["issues_standard_m3"]
    assert figure == -161.3705
    assert "−161.371" in page or "−161.370" in page
    text = (await looker.get("/api/reports/account.csv", params=JANUARY | {"table": "month"})).text
    assert float(next(csv.DictReader(io.StringIO(text)))["issues_standard_m3"]) == figure
    answer = await looker.get("/api/reports/account", params=JANUARY | {"format": "xlsx"})
    book = openpyxl.load_workbook(io.BytesIO(answer.content), data_only=True)
    heads = [column["name"] for column in month["columns"]]
    assert book["month"].cell(4, heads.index("issues_standard_m3") + 1).value == figure
    pdf = await looker.get("/api/reports/account.pdf", params=JANUARY | {"size": "Letter"})
    assert pdf.content.startswith(b"%PDF")
    assert pdf.headers["content-type"] == "application/pdf"
    assert pdf.headers["content-disposition"] == 'attachment; filename="marrowfield-account-2024-01.pdf"'


async def test_a_file_is_named_by_what_was_asked_and_never_by_free_words(looker: httpx.AsyncClient) -> None:
    asked = {"from": "2024-01-30T06:00", "to": "2024-01-30T18:00", "by": 'A"; x'}
    answer = await looker.get("/api/reports/movements.csv", params=asked)
    name = answer.headers["content-disposition"]
    assert name == 'attachment; filename="marrowfield-movements-2024-01-30T06-00-2024-01-30T18-00.csv"'


@pytest.mark.parametrize(
    ("path", "query", "status", "said"),
    [
        ("/api/reports/stocks", {"by": "Ada"}, 404, "there are stock, movements, account"),
        ("/api/reports/stock.doc", {"by": "Ada"}, 422, ""),
        ("/api/reports/stock", {}, 422, "by is missing"),
        ("/api/reports/stock.pdf", {"by": "Ada", "format": "csv"}, 422, "two forms"),
        ("/api/reports/stock.pdf", {"by": "Ada", "table": "tanks"}, 422, "table goes with CSV"),
        ("/api/reports/stock.csv", {"by": "Ada", "table": "x", "day": "2024-01-31"}, 422, "has no table"),
        ("/api/reports/stock", {"by": "Ada", "month": "2024-01"}, 422, "is of a day"),
        ("/api/reports/account", {"by": "Ada", "month": "2024-1"}, 422, "write it as 2026-01"),
        ("/api/reports/movements", {"by": "Ada", "from": "soon"}, 422, "is not understood"),
        ("/api/reports/stock", {"by": "Ada\x00"}, 422, ""),
        ("/reports/stocks", {}, 404, ""),
    ],
)
async def test_what_there_is_not_is_refused_by_name(
    looker: httpx.AsyncClient, path: str, query: dict[str, str], status: int, said: str
) -> None:
    answer = await looker.get(path, params=query)
    assert answer.status_code == status
    if said:
        assert said in answer.json()["detail"]


async def test_a_wrong_question_on_the_page_says_so_and_keeps_the_fields(looker: httpx.AsyncClient) -> None:
    answer = await looker.get("/reports/stock", params={"day": "2030-01-01", "by": "Ada"})
    assert answer.status_code == 422
    assert "2030-01-01 is still to come" in answer.text
    assert 'value="2030-01-01"' in answer.text


async def test_what_people_write_is_text_on_the_page(client: httpx.AsyncClient) -> None:
    notes = "<script>alert(1)</script>"
    assert (await client.post("/api/handovers", json={"by": "Cy", "notes": notes})).status_code == 200
    page = (await client.get("/reports/handover", params={"by": "<b>Ada"})).text
    assert notes not in page
    assert "&lt;script&gt;" in page
    assert "<b>Ada" not in page


async def test_a_shift_is_handed_over_and_taken_over_once(client: httpx.AsyncClient) -> None:
    given = await client.post("/api/handovers", json={"by": "Cy", "notes": "valve 3"})
    assert (given.status_code, given.json()["number"]) == (200, 2)
    again = await client.post("/api/handovers", json={"by": "Cy", "notes": "valve 3"})
    assert again.json()["status"] == "already"
    assert (await client.post("/api/handovers/2/take", json={"by": "Cy"})).status_code == 409
    assert (await client.post("/api/handovers/1/take", json={"by": "Dee"})).status_code == 409
    assert (await client.post("/api/handovers/7/take", json={"by": "Dee"})).status_code == 404
    assert (await client.post("/api/handovers/2/take", json={"by": ""})).status_code == 422
    wrong = {"by": "Cy", "notes": "x", "from": "2024-01-02T00:00:00Z", "to": "2024-01-01T00:00:00Z"}
    assert "not before" in (await client.post("/api/handovers", json=wrong)).json()["detail"]
    taken = await client.post("/api/handovers/2/take", json={"by": "Dee", "notes": "seen"})
    assert (taken.status_code, taken.json()["given_by"]) == (200, "Cy")
    rows = (await client.get("/api/handovers")).json()
    assert [(row["number"], row["taken_by"]) for row in rows] == [(2, "Dee"), (1, "Bo")]


async def test_an_unread_store_is_told_on_the_page_too(client: httpx.AsyncClient, facts: FakeFacts) -> None:
    facts.store_out = True
    assert (await client.get("/api/reports/stock", params={"by": "Ada"})).status_code == 503
    page = await client.get("/reports/stock")
    assert page.status_code == 503
    assert "cannot be read now" in page.text
