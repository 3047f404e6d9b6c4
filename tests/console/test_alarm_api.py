"""What people do to alarms over HTTP: bodies are checked, the answer says what happened or why not."""

from typing import Any

import httpx
import pytest

from tests.console.fake import FakeFacts

ALARM = "/api/alarms/ostler-n.high"
SHELF = {"by": "Ada", "reason": "float being cleaned", "span_s": 3600}


async def test_an_alarm_is_shelved_for_a_while_and_let_speak_again(client: httpx.AsyncClient, facts: FakeFacts) -> None:
    answer = await client.post(f"{ALARM}/shelve", json=SHELF)
    assert (answer.status_code, answer.json()["status"]) == (200, "done")
    assert answer.json()["until"] == "2026-11-25T13:00:00.000Z"
    shelved = next(a for a in (await client.get("/api/alarms")).json() if a["id"] == "ostler-n.high")
    assert (shelved["state"], shelved["hides"][0]["reason"]) == ("shelved", "float being cleaned")
    assert (await client.post(f"{ALARM}/shelve", json=SHELF)).json()["status"] == "already"
    assert (await client.post(f"{ALARM}/unshelve", json={"by": "Bo"})).json()["status"] == "done"
    assert facts.standing["ostler-n.high"]["state"] == "unacknowledged"


async def test_out_of_service_and_back(client: httpx.AsyncClient, facts: FakeFacts) -> None:
    answer = await client.post(f"{ALARM}/remove-from-service", json={"by": "Ada", "reason": "transmitter is out"})
    assert answer.status_code == 200
    assert facts.standing["ostler-n.high"]["state"] == "out_of_service"
    assert (await client.post(f"{ALARM}/return-to-service", json={"by": "Ada"})).status_code == 200


@pytest.mark.parametrize(
    ("path", "body", "status", "words"),
    [
        ("shelve", SHELF | {"span_s": 100_000}, 409, "8 h at most"),
        ("shelve", SHELF | {"span_s": 0}, 422, "span_s"),
        ("shelve", SHELF | {"span_s": "1 h"}, 422, "span_s"),
        ("shelve", SHELF | {"reason": " "}, 422, "reason"),
        ("shelve", SHELF | {"by": ""}, 422, "by"),
        ("shelve", SHELF | {"forever": True}, 422, "forever"),
        ("remove-from-service", {"by": "Ada"}, 422, "reason"),
        ("return-to-service", {"comment": "done"}, 422, "by"),
        ("reset", {"by": "Ada", "occurrence": -1}, 422, "occurrence"),
    ],
)
async def test_what_may_not_be_is_refused_with_the_reason(
    client: httpx.AsyncClient, facts: FakeFacts, path: str, body: dict[str, Any], status: int, words: str
) -> None:
    answer = await client.post(f"{ALARM}/{path}", json=body)
    assert answer.status_code == status
    assert words in answer.text
    assert answer.headers["content-type"] == "application/problem+json"
    assert facts.standing["ostler-n.high"]["state"] == "unacknowledged"


async def test_an_alarm_that_the_site_does_not_have_is_not_found(client: httpx.AsyncClient) -> None:
    assert (await client.post("/api/alarms/nowhere.high/shelve", json=SHELF)).status_code == 404
