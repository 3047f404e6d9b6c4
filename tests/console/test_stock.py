"""The stock page and its JSON twin: the same figures, each with its uncertainty or with why there is none."""

import csv
import io
import itertools

import httpx
import pytest

from console.figures import written
from console.stock_words import TELLING
from tests.console.fake import FakeFacts


async def test_the_page_shows_every_tank_with_its_uncertainty_and_the_sum(looker: httpx.AsyncClient) -> None:
    stock = (await looker.get("/api/stock")).json()
    page = (await looker.get("/stock")).text
    for line in stock["tanks"]:
        assert written("gsv_m3", line["gsv_m3"]) in page
        if line["gsv_m3"] is not None:
            assert f"± {written('gsv_u95_m3', line['gsv_u95_m3'])}" in page
    assert any(line["gsv_m3"] is None and line["why"] in page for line in stock["tanks"])
    assert any(product["missing"] for product in stock["products"])
    assert "not known without" in page
    assert 'href="/stock" aria-current="page"' in page


async def test_the_book_reads_as_a_sum_with_what_the_tank_can_tell(looker: httpx.AsyncClient) -> None:
    answer = (await looker.get("/api/stock/book?month=2026-10")).json()
    page = (await looker.get("/stock?month=2026-10")).text
    product = answer["products"][0]
    whole = product["whole"]
    columns = ("opening", "receipts", "issues", "transfers", "draws", "adjustments")
    book = sum(whole[f"{name}_standard_m3"] for name in columns)
    assert book == pytest.approx(whole["book_standard_m3"], abs=1e-9)
    assert whole["variance_gross_m3"] == pytest.approx(whole["physical_gross_m3"] - whole["book_gross_m3"], abs=1e-9)
    for name in ("book", "physical", "opening"):
        assert written("gsv_m3", whole[f"{name}_standard_m3"]) in page
    for piece in ("= Book", TELLING[whole["telling"]].split("{")[0],
                  "40 CFR 280.43(a)", "Unexplained", "95 % within", "Owners", "bowser-1",
                  "Sign and close Oct 2026", answer["head"]):  # fmt: skip
        assert piece in page


async def test_missing_papers_and_what_blocks_a_close_are_on_the_page(looker: httpx.AsyncClient) -> None:
    page = (await looker.get("/stock?month=2026-11")).text
    for piece in ("book incomplete", "cannot be closed now", "not over yet", "– – –"):
        assert piece in page
    assert "Sign and close" not in page


async def test_a_month_is_closed_once_by_the_figures_that_were_seen(client: httpx.AsyncClient) -> None:
    product = (await client.get("/api/stock/book?month=2026-10")).json()["products"][0]
    body = {"period": "month", "name": "2026-10", "product": "jet", "by": "Ada", "seal": product["seal"]}
    other = await client.post("/api/stock/close", json=body | {"seal": "0" * 16})
    assert other.status_code == 409
    assert "have changed" in other.json()["detail"]
    done = await client.post("/api/stock/close", json=body)
    assert (done.status_code, done.json()["status"], done.json()["by"]) == (200, "done", "Ada")
    again = await client.post("/api/stock/close", json=body | {"by": "Bo"})
    assert (again.json()["status"], again.json()["by"]) == ("already", "Ada")
    assert "Closed by Ada" in (await client.get("/stock/book?month=2026-10")).text


@pytest.mark.parametrize(
    ("path", "words"),
    [
        ("/api/stock/book?day=2026-10-01&month=2026-10", "two questions"),
        ("/api/stock/book?day=2026-02-30", "is no day"),
        ("/api/stock/book?month=october", "month"),
    ],
)
async def test_a_question_that_is_none_is_refused_with_the_mend(
    looker: httpx.AsyncClient, path: str, words: str
) -> None:
    answer = await looker.get(path)
    assert answer.status_code == 422
    assert words in answer.json()["detail"]


async def test_a_close_that_something_stands_in_the_way_of_is_refused(client: httpx.AsyncClient) -> None:
    body = {"period": "month", "name": "2026-11", "product": "jet", "by": "Ada"}
    answer = await client.post("/api/stock/close", json=body)
    assert answer.status_code == 409
    assert "not over yet" in answer.json()["detail"]
    assert (await client.post("/api/stock/close", json=body | {"product": "mud"})).status_code == 422
    assert (await client.post("/api/stock/close", json=body | {"by": " "})).status_code == 422


async def test_the_csv_has_a_row_a_tank_and_day(looker: httpx.AsyncClient) -> None:
    answer = await looker.get("/api/stock/book.csv?month=2026-10")
    assert answer.headers["content-type"].startswith("text/csv")
    assert "marrowfield-stock-2026-10.csv" in answer.headers["content-disposition"]
    rows = list(csv.DictReader(io.StringIO(answer.text)))
    assert len(rows) == 2 * (31 + 1) + 1
    days = [row for row in rows if row["account"] == "fennock"][:-1]
    for before, after in itertools.pairwise(days):
        assert after["opening_gross_m3"] == before["physical_gross_m3"]


async def test_a_book_that_cannot_be_read_leaves_the_sheet_standing(
    client: httpx.AsyncClient, facts: FakeFacts
) -> None:
    facts.store_out = True
    page = await client.get("/stock")
    assert page.status_code == 200
    assert "cannot be read now" in page.text
    assert "What the tanks hold" in page.text
    assert (await client.get("/api/stock/book")).status_code == 503
