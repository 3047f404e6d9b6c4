"""Receipts by HTTP and as pages: a real core behind the fake farm, from the check before one to its paper."""

import io

import httpx
import pytest
from pypdf import PdfReader

from tests.console.fake import FakeFacts

DELIVERY = {
    "tank": "ostler-s", "observed_m3": 3.0, "temperature_degC": 27.0, "density_15_kgpm3": 800.0, "rate_m3_per_h": 60.0,
    "note": "DN-1", "batch": "B-7",
}  # fmt: skip


async def test_a_delivery_by_http_from_call_to_paper(client: httpx.AsyncClient, facts: FakeFacts) -> None:
    assert (await client.get("/api/receipts")).json() == []
    check = await client.post("/api/receipts/check", json=DELIVERY)
    assert (check.status_code, check.json()["forecast"]["fits"]) == (200, "fits")
    assert (await client.get("/api/receipts")).json() == []  # a question leaves nothing behind
    planned = await client.post("/api/receipts", json=DELIVERY | {"by": "Ada"})
    assert (planned.status_code, planned.json()["number"]) == (200, 1)
    again = await client.post("/api/receipts", json=DELIVERY | {"by": "Bo"})
    assert (again.json()["status"], again.json()["number"]) == ("already", 1)
    done = await client.post("/api/receipts/1/done", json={"what": "tank dipped", "found": "9404 mm", "by": "Ada"})
    assert [one["found"] for one in done.json()["checks"] if one["done"]] == ["9404 mm"]
    early = await client.post("/api/receipts/1/line", json={"figure_m3": 1.0, "by": "Ada"})
    assert (early.status_code, "start it first" in early.json()["detail"]) == (409, True)
    sample = {"density_kgpm3": 793.0, "density_degC": 25.0, "temperature_degC": 27.5, "by": "Ada"}
    assert (await client.post("/api/receipts/1/sample", json=sample)).json()["sample"]["temperature_degC"] == 27.5
    assert (await client.post("/api/receipts/1/start", json={"by": "Ada"})).json()["stage"] == "started"
    for _ in range(2):
        facts.receiving.advance()
    assert (await client.get("/api/receipts/1")).json()["phase"] in ("awaits flow", "receiving")
    refused = await client.post("/api/receipts/1/decide", json={"decision": "accepted", "by": "Ada"})
    assert refused.status_code == 409
    for _ in range(30):
        facts.receiving.advance()
        row = (await client.get("/api/receipts/1")).json()
        if row["phase"] == "calm":
            break
    assert row["phase"] == "calm"
    assert row["reconciliation"]["observed"]["resolves"] is False
    page = (await client.get("/receipts/1")).text
    assert "The tank cannot resolve a dispute" in page
    bare = await client.post("/api/receipts/1/decide", json={"decision": "accepted with protest", "by": "Ada"})
    assert (bare.status_code, "say why" in bare.json()["detail"]) == (409, True)
    decision = {"decision": "accepted with protest", "comment": "late by 4 h", "by": "Ada"}
    assert (await client.post("/api/receipts/1/decide", json=decision)).json()["decision"] == "accepted with protest"
    paper = await client.get("/api/receipts/1/paper", params={"size": "Letter"})
    assert paper.headers["content-type"] == "application/pdf"
    text = " ".join(page.extract_text() for page in PdfReader(io.BytesIO(paper.content)).pages)
    for words in (
        "Receipt record",
        "DN-1",
        "late by 4 h",
        "cannot resolve a dispute",
        "neither a certificate of quality",
    ):
        assert words in " ".join(text.split()), words
    over = (await client.get("/receipts")).text
    assert "accepted with protest" in over
    assert (await client.get("/receipts/1/now")).status_code == 200


async def test_what_is_wrong_is_answered_with_its_mend(client: httpx.AsyncClient) -> None:
    nothing = await client.post("/api/receipts/check", json={"tank": "ostler-s"})
    assert (nothing.status_code, "quantity is missing" in nothing.text) == (422, True)
    thick = await client.post("/api/receipts/check", json=DELIVERY | {"density_15_kgpm3": 1190.0})
    assert (thick.status_code, "none of jet" in thick.json()["detail"]) == (409, True)
    cold = DELIVERY | {"density_15_kgpm3": 1190.0, "temperature_degC": None}
    assert (await client.post("/api/receipts/check", json=cold)).status_code == 409
    assert (await client.post("/api/receipts/check", json=DELIVERY | {"tank": "nowhere"})).status_code == 404
    assert (await client.get("/api/receipts/9")).status_code == 404
    assert (await client.get("/api/receipts/9/paper")).status_code == 404
    assert (await client.get("/receipts/9")).status_code == 404
    assert (await client.post("/api/receipts/9/start", json={"by": "Ada"})).status_code == 404
    half = await client.post("/api/receipts/9/sample", json={"density_kgpm3": 793.0, "by": "Ada"})
    assert (half.status_code, "temperature of the sample" in half.json()["detail"]) == (422, True)


@pytest.mark.parametrize("quantity", ["3", "900"])
async def test_the_page_shows_the_check_before_a_receipt(looker: httpx.AsyncClient, quantity: str) -> None:
    asked = {"tank": "ostler-s", "observed_m3": quantity, "temperature_degC": "27", "rate_m3_per_h": "60"}
    part = (await looker.get("/receipts/check", params=asked)).text
    assert ("IT DOES NOT FIT" in part) == (quantity == "900")
    assert "not an overfill prevention system" in part
    assert "tank dipped by hand" in part
