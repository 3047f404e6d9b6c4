"""Tank status by page and by HTTP: the word on the board, the release page, what is refused and why."""

import httpx
import pytest

from console.app import create_app
from console.figures import NBSP
from tests.console.fake import FakeFacts

THIN = "\u202f"
RESULT = {"by": "Ada", "appearance": "clear and bright", "water_test": "passed"}


async def test_every_tank_has_its_word_on_the_board_and_its_page(looker: httpx.AsyncClient) -> None:
    board = (await looker.get("/")).text
    for word in ("receiving", "settling until 16:34", "in use", "quarantined", "awaiting test", "released"):
        assert f'/status/word">{word}</div>' in board
    tank = (await looker.get("/tank/ostler-s")).text.replace(NBSP, " ")
    assert "left of 6 h 24 min by 1 h/m of depth (site manual 4.2)" in tank
    assert 'href="/status?tank=ostler-s"' in tank


async def test_the_release_page_tells_what_a_countdown_rests_on(looker: httpx.AsyncClient) -> None:
    page = (await looker.get("/status")).text.replace(NBSP, " ")
    for piece in (
        "begun anew once", "10 min without a trusted level, not counted", "40 min without the program, by the clock",
        "flow in told by the gauge, meter m2", "by Bo", "water in the sample", "not done: conductivity",
        "802.4 kg/m³ at 15 °C", "75.0 % B-17, certificate C-2041", "25.0 % unknown origin",
        "1 200 L more went out", "to be tested again since", "rule: 1 h/m of depth (site manual 4.2)",
    ):  # fmt: skip
        assert piece in page.replace(THIN, " "), piece
    assert 'href="/status" aria-current="page"' in page
    assert (await looker.get("/status?tank=pipit")).text.count('value="pipit" selected') == 2


async def test_the_json_twin_tells_the_same(looker: httpx.AsyncClient) -> None:
    status = {row["tank"]: row for row in (await looker.get("/api/status")).json()}
    assert status["ostler-s"]["settling"]["source"] == "site manual 4.2"
    assert [tank for tank, row in status.items() if row["may_issue"]] == ["quillmoor", "pipit"]
    (one,) = (await looker.get("/api/batches?tank=fennock")).json()
    assert sum(batch["volume_m3"] for batch in one["batches"]) == one["content_m3"]
    assert (await looker.get("/api/batches?tank=nowhere")).status_code == 404


async def test_a_release_is_written_down_with_what_was_not_done(client: httpx.AsyncClient) -> None:
    answer = await client.post("/api/tanks/harrowmead/release", json=RESULT)
    assert answer.status_code == 200
    told = answer.json()
    assert told["status"] == "done"
    assert told["now"]["status"] == "released"
    assert "certificate" in told["now"]["release"]["not_done"]
    (row,) = (await client.get("/api/status/history?tank=harrowmead")).json()
    assert (row["to"], row["by"]) == ("released", "Ada")


@pytest.mark.parametrize(
    ("tank", "body", "status", "words"),
    [
        ("ostler-s", RESULT, 409, "not settled yet"),
        ("ostler-n", RESULT, 409, "it receives"),
        ("fennock", RESULT, 409, "lift the quarantine first"),
        ("harrowmead", {"by": "Ada", "appearance": "clear and bright"}, 409, "water test"),
        ("harrowmead", RESULT | {"appearance": "not clear"}, 409, "quarantine the tank"),
        ("harrowmead", RESULT | {"appearance": "fine"}, 422, "appearance"),
        ("harrowmead", RESULT | {"density_kg_m3": 8.0}, 422, "density_kg_m3"),
        ("nowhere", RESULT, 404, "nowhere"),
    ],
)
async def test_what_must_not_be_released_is_refused_with_the_mend(
    client: httpx.AsyncClient, tank: str, body: dict[str, object], status: int, words: str
) -> None:
    answer = await client.post(f"/api/tanks/{tank}/release", json=body)
    assert answer.status_code == status
    assert words in answer.text


async def test_a_tank_is_set_aside_with_a_reason_and_taken_back(client: httpx.AsyncClient) -> None:
    assert (await client.post("/api/tanks/pipit/quarantine", json={"by": "Ada"})).status_code == 422
    said = {"by": "Ada", "reason": "odd smell"}
    steps = ("quarantine", "quarantine/lift", "service/remove", "service/return")
    answers = [(await client.post(f"/api/tanks/pipit/{step}", json=said)).json() for step in steps]
    now = [answer["now"]["status"] for answer in answers]
    assert now == ["quarantined", "awaiting test", "out of service", "awaiting test"]
    assert (await client.post("/api/tanks/fennock/quarantine", json=said)).json()["status"] == "already"


async def test_a_site_that_keeps_no_status_says_how_it_would(facts: FakeFacts) -> None:
    facts.tank_status = lambda: []  # type: ignore[method-assign]
    transport = httpx.ASGITransport(create_app(facts))
    async with httpx.AsyncClient(transport=transport, base_url="http://127.0.0.1:8600") as client:
        page = (await client.get("/status")).text
    assert "[stock.settling]" in page
    assert 'id="release"' not in page
    assert "/status.js" not in page  # it would not find its forms
