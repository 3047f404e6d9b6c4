"""Every "no" is an RFC 9457 problem for programs and a page for people, and tells nothing of the inside."""

from collections.abc import Callable

import httpx
import pytest

from tests.console.fake import FakeFacts

MEMBERS = {"type", "title", "status", "detail"}  # RFC 9457, 3.1 (`instance` is optional and left out)


def is_problem(answer: httpx.Response, status: int) -> str:
    assert answer.status_code == status
    assert answer.headers["content-type"] == "application/problem+json"
    body = answer.json()
    assert set(body) >= MEMBERS
    assert body["status"] == status
    return str(body["detail"])


async def test_an_unknown_tank_is_answered_with_the_known_ones(looker: httpx.AsyncClient) -> None:
    detail = is_problem(await looker.get("/api/tanks/nowhere"), 404)
    assert "nowhere" in detail
    assert "quillmoor" in detail


async def test_an_unknown_loop_and_address_are_not_found(looker: httpx.AsyncClient) -> None:
    is_problem(await looker.get("/api/loops/nowhere"), 404)
    is_problem(await looker.get("/api/nothing"), 404)


async def test_an_id_that_no_site_file_can_have_is_refused(looker: httpx.AsyncClient) -> None:
    assert is_problem(await looker.get("/api/tanks/a b"), 422).startswith("path.tank")


async def test_a_wrong_method_names_the_right_one(client: httpx.AsyncClient) -> None:
    answer = await client.delete("/api/tanks")
    is_problem(answer, 405)
    assert answer.headers["allow"] == "GET"


async def test_a_body_that_is_not_json_cannot_be_read(client: httpx.AsyncClient) -> None:
    answer = await client.post(
        "/api/alarms/ostler-n.high/acknowledge", content=b'{"by": ', headers={"content-type": "application/json"}
    )
    is_problem(answer, 400)


async def test_a_form_of_another_kind_is_not_taken_for_json(client: httpx.AsyncClient, facts: FakeFacts) -> None:
    answer = await client.post("/api/alarms/ostler-n.high/acknowledge", data={"occurrence": 1, "by": "Ada"})
    is_problem(answer, 422)
    assert facts.standing["ostler-n.high"]["state"] == "unacknowledged"


async def test_what_was_sent_is_not_echoed(client: httpx.AsyncClient) -> None:
    answer = await client.post("/api/alarms/ostler-n.high/acknowledge", json={"password": "hunter2"})
    is_problem(answer, 422)
    assert "hunter2" not in answer.text


async def test_a_store_that_is_out_is_told_without_its_secrets(client: httpx.AsyncClient, facts: FakeFacts) -> None:
    facts.store_out = True
    answer = await client.get("/api/faults")
    is_problem(answer, 503)
    assert answer.headers["retry-after"] == "5"
    assert "secret" not in answer.text


def _broken() -> None:
    raise RuntimeError("the key is 12345")


async def test_a_bug_is_a_500_that_tells_nothing(client: httpx.AsyncClient, facts: FakeFacts) -> None:
    breaking: Callable[[], None] = _broken
    facts.live = breaking  # type: ignore[method-assign,assignment]
    answer = await client.get("/api/tanks")
    is_problem(answer, 500)
    assert "12345" not in answer.text
    assert "Traceback" not in answer.text


@pytest.mark.parametrize(("path", "status"), [("/tank/nowhere", 404), ("/nothing", 404), ("/loops/a b", 422)])
async def test_a_person_gets_a_page(looker: httpx.AsyncClient, path: str, status: int) -> None:
    answer = await looker.get(path, headers={"accept": "text/html,application/xhtml+xml"})
    assert answer.status_code == status
    assert answer.headers["content-type"].startswith("text/html")
    assert 'href="/alarms"' in answer.text


async def test_a_person_gets_a_page_even_where_the_state_itself_is_broken(
    client: httpx.AsyncClient, facts: FakeFacts
) -> None:
    facts.live = _broken  # type: ignore[method-assign,assignment]
    answer = await client.get("/", headers={"accept": "text/html"})
    assert answer.status_code == 500
    assert "12345" not in answer.text
    assert "The console failed" in answer.text


FILES = (
    "application/pdf",
    "text/csv",
    "text/plain",
    "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
)
"""What a route may answer beside JSON when all is well."""


async def test_the_apis_own_description_knows_only_problems(looker: httpx.AsyncClient) -> None:
    paths = (await looker.get("/api/openapi.json")).json()["paths"]
    assert len(paths) > 10
    for path, methods in paths.items():
        for method, operation in methods.items():
            for status, response in operation["responses"].items():
                kinds = set(response.get("content", {}))
                fine = {"application/json", *FILES}
                assert kinds <= (fine if status == "200" else {"application/problem+json"}), (path, method)
