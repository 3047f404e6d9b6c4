"""The leak test's page and its JSON twin: never a word that a tank is tight, and a refusal that says what it needs."""

import itertools
import re

import httpx

from console import leak_words


async def test_the_page_says_what_loss_would_have_been_seen(looker: httpx.AsyncClient) -> None:
    page = (await looker.get("/leak")).text
    result = (await looker.get("/api/leak")).json()
    assert [one["tank"] for one in result] == ["ostler-n"]
    assert "No loss larger than 3.40 L/h seen over 24 h." in page
    assert 'href="/leak" aria-current="page"' in page
    assert "The smallest rate that a test of this tank could ever claim: <b>1.40 L/h</b>" in page
    assert page.count("<circle") == 24
    assert ">Ostler north <small>" in page
    marks = [float(text.replace("\N{MINUS SIGN}", "-")) for text in re.findall(r'text-anchor="end">([^<]+)<', page)]
    steps = {round(b - a, 6) for a, b in itertools.pairwise(marks)}
    assert len(marks) >= 3
    assert len(steps) == 1
    assert f"{steps.pop():.0e}"[0] in "125"  # round figures
    assert 0 in marks


async def test_a_loss_says_what_to_do_first_and_a_refusal_what_it_would_need(looker: httpx.AsyncClient) -> None:
    lost = (await looker.get("/leak", params={"tank": "ostler-s"})).text
    assert "Loss of 6.10 L/h" in lost
    assert all(text.split(":")[0] in lost for text in leak_words.FIRST)
    refused = (await looker.get("/leak", params={"tank": "quillmoor"})).text
    assert "Its level comes in steps of 1.0 mm; a test needs 0.1 mm or finer." in refused
    assert "could ever claim: <b>none</b>" in refused
    assert 'id="sign"' not in refused


async def test_nothing_says_that_a_tank_is_tight(looker: httpx.AsyncClient) -> None:
    for tank in ("ostler-n", "ostler-s", "quillmoor"):
        page = (await looker.get("/leak", params={"tank": tank})).text
        assert not re.search(r"\btight\b", re.sub(r"<script.*?</script>", "", page, flags=re.S))


async def test_a_test_is_signed_by_name_kept_and_printed(client: httpx.AsyncClient) -> None:
    body = {"by": "Ada", "start": "2026-11-24T00:00:00Z", "end": "2026-11-25T00:00:00Z", "comment": "after the storm"}
    signed = await client.post("/api/leak/ostler-n/sign", json=body)
    assert signed.status_code == 200, signed.text
    assert signed.json()["by"] == "Ada"
    (record,) = (await client.get("/api/leak/tests")).json()
    assert record["comment"] == "after the storm"
    page = (await client.get("/leak")).text
    assert "after the storm" in page
    paper = await client.get(f"/api/leak/tests/{record['number']}/paper")
    assert paper.headers["content-type"] == "application/pdf"
    assert (await client.get("/api/leak/tests/999/paper")).status_code == 404


async def test_what_was_refused_cannot_be_signed(client: httpx.AsyncClient) -> None:
    body = {"by": "Ada", "start": "2026-11-24T00:00:00Z", "end": "2026-11-25T00:00:00Z"}
    assert (await client.post("/api/leak/quillmoor/sign", json=body)).status_code == 409
    assert (await client.post("/api/leak/nowhere/sign", json=body)).status_code == 404
    assert (await client.post("/api/leak/ostler-n/sign", json=body | {"by": " "})).status_code == 422
    assert (await client.post("/api/leak/ostler-n/sign", json=body | {"end": body["start"]})).status_code == 422


async def test_a_loss_that_was_signed_stands_on_its_page_until_a_person_decides(client: httpx.AsyncClient) -> None:
    body = {"by": "Ada", "start": "2026-11-24T00:00:00Z", "end": "2026-11-25T00:00:00Z"}
    assert (await client.get("/api/leak/ostler-s")).json()["suspected"] is None
    assert (await client.post("/api/leak/ostler-s/sign", json=body)).status_code == 200
    stands = (await client.get("/api/leak/ostler-s")).json()["suspected"]
    assert (stands["by"], stands["loss_m3_per_h"]) == ("Ada", 0.0061)
    page = (await client.get("/leak", params={"tank": "ostler-s"})).text
    assert "A loss of 6.10 L/h is suspected" in page
    assert 'id="decide"' in page
    assert 'id="decide"' not in (await client.get("/leak", params={"tank": "ostler-n"})).text
    decide = "/api/leak/ostler-s/decide"
    assert (await client.post(decide, json={"by": "Bo", "reason": " "})).status_code == 422
    assert (await client.post("/api/leak/nowhere/decide", json={"by": "Bo", "reason": "x"})).status_code == 404
    said = await client.post(decide, json={"by": "Bo", "reason": "a ticket was missing"})
    assert (said.status_code, said.json()["status"]) == (200, "done")
    assert 'id="decide"' not in (await client.get("/leak", params={"tank": "ostler-s"})).text
    assert (await client.post(decide, json={"by": "Bo", "reason": "again"})).json()["status"] == "already"


async def test_start_and_end_go_together(looker: httpx.AsyncClient) -> None:
    answer = await looker.get("/api/leak/ostler-n", params={"start": "2026-11-24T00:00:00Z"})
    assert answer.status_code == 422
    assert "go together" in answer.text
    assert (await looker.get("/api/leak/nowhere")).status_code == 404


def test_every_verdict_refusal_and_term_has_its_words() -> None:
    from inventory.leak import Refusal, Verdict

    assert set(leak_words.VERDICTS) == set(leak_words.VERDICT_NAMES) == {one.value for one in Verdict}
    assert set(leak_words.REFUSALS) == {one.value for one in Refusal}
