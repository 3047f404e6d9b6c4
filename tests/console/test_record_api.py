"""The record book over HTTP: head, entries, corrections."""

import httpx

from tests.console.fake import FakeFacts


async def test_head_and_entries_are_told(looker: httpx.AsyncClient) -> None:
    assert (await looker.get("/api/records/head")).json()["head"].startswith("2:")
    (row,) = (await looker.get("/api/records?kind=alarm&from=2026-11-01T00:00:00Z")).json()
    assert (row["n"], row["corrected_by"]) == (2, [3])
    assert (await looker.get("/api/records?kind=Alarm;")).status_code == 422


async def test_an_entry_is_corrected_by_name(client: httpx.AsyncClient, facts: FakeFacts) -> None:
    answer = await client.post("/api/records/2/correct", json={"by": "Ada", "text": "it was the other tank"})
    assert (answer.status_code, answer.json()["entry"]) == (200, 2)
    assert (await client.post("/api/records/9/correct", json={"by": "Ada", "text": "x"})).status_code == 404
    assert (await client.post("/api/records/2/correct", json={"by": "Ada", "text": " "})).status_code == 422
    assert (await client.post("/api/records/2/correct", json={"text": "x"})).status_code == 422
    facts.store_out = True
    assert (await client.get("/api/records/head")).status_code == 503
