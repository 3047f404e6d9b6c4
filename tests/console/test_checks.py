"""Loop checks over HTTP and on their page: bodies are checked, the strip stands on every page, the words are there."""

from typing import Any

import httpx
import pytest

from tests.console.fake import FakeFacts

LOOP = "/api/loops/LI-ostler-s"


async def test_a_check_goes_from_its_start_to_its_record(client: httpx.AsyncClient, facts: FakeFacts) -> None:
    answer = await client.post(f"{LOOP}/check/start", json={"by": "Ada", "minutes": 30, "permit": "PTW-7"})
    assert (answer.status_code, answer.json()["status"], answer.json()["by"]) == (200, "done", "Ada")
    again = await client.post(f"{LOOP}/check/start", json={"by": "Bo"})
    assert (again.status_code, again.json()["status"], again.json()["by"]) == (200, "already", "Ada")
    loop = (await client.get(LOOP)).json()
    assert loop["check"]["next"] == {"run": "as_found", "point_mA": 4.0, "direction": "up"}
    for _ in range(10):
        assert (await client.post(f"{LOOP}/check/step", json={"by": "Ada"})).status_code == 200
    done = await client.post(f"{LOOP}/check/finish", json={"by": "Ada", "reference_due": "2031-01-31"})
    assert done.json()["record"]["number"] == 1
    assert facts.checks.asked[-1]["reference_due"] == "2031-01-31"
    assert [row["number"] for row in (await client.get(f"{LOOP}/checks")).json()] == [1]
    assert (await client.get(f"{LOOP}/checks/1")).json()["how"] == "finished"


async def test_the_record_comes_on_paper_of_either_size(client: httpx.AsyncClient, facts: FakeFacts) -> None:
    await client.post(f"{LOOP}/check/start", json={"by": "Ada"})
    await client.post(f"{LOOP}/check/abort", json={"by": "Ada", "why": "storm"})
    for query, size in (("", "A4"), ("?size=Letter", "Letter")):
        paper = await client.get(f"{LOOP}/checks/1/paper{query}")
        assert paper.headers["content-type"] == "application/pdf"
        assert paper.headers["content-disposition"] == 'attachment; filename="loop-check-1.pdf"'
        assert paper.content == f"%PDF of 1 on {size}".encode()
    assert (await client.get(f"{LOOP}/checks/1/paper?size=A3")).status_code == 422
    assert (await client.get(f"{LOOP}/checks/2/paper")).status_code == 404
    assert (await client.get("/api/loops/LI-pipit/checks/1")).status_code == 404


@pytest.mark.parametrize(
    ("path", "body", "status", "words"),
    [
        ("LI-ostler-s/check/start", {}, 422, "by"),
        ("LI-ostler-s/check/start", {"by": " "}, 422, "by"),
        ("LI-ostler-s/check/start", {"by": "Ada", "minutes": "30"}, 422, "minutes"),
        ("LI-ostler-s/check/start", {"by": "Ada", "minutes": 0}, 422, "minutes"),
        ("LI-ostler-s/check/start", {"by": "Ada", "force": True}, 422, "force"),
        ("LI-ostler-n/check/start", {"by": "Ada"}, 409, "receives"),
        ("LI-nobody/check/step", {"by": "Ada"}, 404, "no loop check"),
        ("LI-ostler-s/check/step", {"by": "Ada", "direction": "sideways"}, 422, "direction"),
        ("LI-ostler-s/check/step", {"by": "Ada", "shown_mA": 26}, 422, "shown_mA"),
        ("LI-ostler-s/check/step", {"by": "Ada", "point_mA": "8"}, 422, "point_mA"),
        ("LI-ostler-s/check/finish", {"by": "Ada"}, 404, "no loop check"),
        ("LI-ostler-s/check/finish", {"by": "Ada", "reference_due": "soon"}, 422, "reference_due"),
        ("LI-ostler-s/check/abort", {"by": "Ada", "why": "x" * 501}, 422, "why"),
    ],
)
async def test_what_may_not_be_is_refused_with_the_reason(
    client: httpx.AsyncClient, path: str, body: dict[str, Any], status: int, words: str
) -> None:
    answer = await client.post(f"/api/loops/{path}", json=body)
    assert answer.status_code == status
    assert words in answer.text
    assert answer.headers["content-type"] == "application/problem+json"


async def test_a_check_that_is_not_whole_cannot_be_finished(client: httpx.AsyncClient) -> None:
    await client.post(f"{LOOP}/check/start", json={"by": "Ada"})
    answer = await client.post(f"{LOOP}/check/finish", json={"by": "Ada"})
    assert answer.status_code == 409
    assert "take them, or abort" in answer.json()["detail"]


PAGES = ["/", "/alarms", "/alarms/every", "/loops", "/loops/LI-pipit", "/loops/LI-ostler-s/check", "/buses"]


@pytest.mark.parametrize("path", PAGES)
async def test_every_page_says_that_a_check_is_under_way(client: httpx.AsyncClient, path: str) -> None:
    quiet = (await client.get(path)).text
    assert '<p class="checks" data-on="checks/any" data-off>' in quiet
    await client.post(f"{LOOP}/check/start", json={"by": "Ada"})
    page = (await client.get(path)).text
    assert '<p class="checks" data-on="checks/any">' in page
    assert "Loop check under way: Level indicator Ostler south, by Ada, until 13:00:00" in page
    assert "Blind meanwhile: High-high level, High level, Level signal failed low" in page


async def test_the_page_of_a_check_leads_from_step_to_step(client: httpx.AsyncClient) -> None:
    page = (await client.get("/loops/LI-ostler-s/check")).text
    assert "Begin the check" in page
    assert "Top switch" in page
    assert "isolate trips and interlocks" in page
    assert "Top switch" not in (await client.get("/loops/LI-pipit/check")).text
    await client.post(f"{LOOP}/check/start", json={"by": "<Ada>", "covered_by": "top-switch"})
    page = (await client.get("/loops/LI-ostler-s/check")).text
    assert "as found, 4 mA, upward" in page
    assert "&lt;Ada&gt;" in page
    assert "<Ada>" not in page
    assert "Covered meanwhile by top-switch." in page
    assert "<b>6\u202f402\u00a0mm</b>" in page
    await client.post(f"{LOOP}/check/step", json={"by": "Bo", "applied_mA": 4.0, "shown_mA": 4.1})
    part = (await client.get("/loops/LI-ostler-s/check/now")).text
    assert "<strong>outside the limit</strong>" in part
    assert "<strong>+0.625 outside</strong>" in part
    assert "<html" not in part


async def test_the_loop_page_links_the_check_and_shows_the_function_check(client: httpx.AsyncClient) -> None:
    assert 'href="/loops/LI-ostler-s/check"' in (await client.get("/loops/LI-ostler-s")).text
    await client.post(f"{LOOP}/check/start", json={"by": "Ada"})
    assert ">function check</span>" in (await client.get("/loops/LI-ostler-s")).text


async def test_the_store_being_out_is_said(client: httpx.AsyncClient, facts: FakeFacts) -> None:
    facts.store_out = True
    assert (await client.get(f"{LOOP}/checks")).status_code == 503
