"""Who is answered, and what a browser may do with the answer."""

import httpx
import pytest

from tests.console.conftest import make_client
from tests.console.fake import FakeFacts

ACT = "/api/alarms/ostler-n.high/acknowledge"
BODY = {"occurrence": 1, "by": "Ada"}


@pytest.mark.parametrize("path", ["/", "/api/tanks", "/nothing", "/tank/ostler-n"])
async def test_every_answer_bears_the_strict_policy(looker: httpx.AsyncClient, path: str) -> None:
    headers = (await looker.get(path)).headers
    policy = headers["content-security-policy"]
    assert "default-src 'none'" in policy
    assert "script-src 'self';" in policy
    assert "unsafe" not in policy
    assert "frame-ancestors 'none'" in policy
    assert headers["x-content-type-options"] == "nosniff"
    assert headers["referrer-policy"] == "same-origin"  # with no-referrer a form of ours has the Origin "null"
    assert headers["cache-control"] == "no-store"


async def test_a_refusal_bears_it_too(facts: FakeFacts) -> None:
    async with make_client(facts, address="192.0.2.7") as away:
        answer = await away.get("/api/tanks")
    assert "default-src 'none'" in answer.headers["content-security-policy"]


@pytest.mark.parametrize(
    "host",
    ["127.0.0.1:8600", "localhost:8600", "LocalHost:8600", "[::1]:8600", "fuel.example:8600"],
)
async def test_our_own_names_are_answered(looker: httpx.AsyncClient, host: str) -> None:
    assert (await looker.get("/api/site", headers={"host": host})).status_code == 200


@pytest.mark.parametrize(
    "host",
    [
        "evil.example:8600", "127.0.0.1", "127.0.0.1:80", "localhost.evil.example:8600", "x@localhost:8600",
        "localhost:8600@evil.example", "[::1", "localhost:86000000", "", "127.0.0.1:8600/x",
    ],
)  # fmt: skip
async def test_foreign_names_get_nothing(looker: httpx.AsyncClient, host: str) -> None:
    answer = await looker.get("/api/tanks", headers={"host": host})
    assert answer.status_code == 400
    assert "ostler" not in answer.text


async def test_without_a_port_of_ours_any_port_will_do(facts: FakeFacts) -> None:
    async with make_client(facts, port=80) as plain:
        assert (await plain.get("/api/site", headers={"host": "localhost"})).status_code == 200


@pytest.mark.parametrize("address", ["192.0.2.7", "10.0.0.3", "::ffff:192.0.2.7", "2001:db8::1", "nonsense"])
@pytest.mark.parametrize("path", ["/", "/api/tanks", "/static/x/console.css"])
async def test_other_machines_are_told_why_not(facts: FakeFacts, address: str, path: str) -> None:
    async with make_client(facts, address=address) as away:
        answer = await away.get(path)
    assert answer.status_code == 403
    assert "loopback" in answer.json()["detail"]


@pytest.mark.parametrize("address", ["127.0.0.1", "127.8.9.1", "::1", "::ffff:127.0.0.1"])
async def test_this_machine_is_answered_by_any_of_its_loopback_addresses(facts: FakeFacts, address: str) -> None:
    async with make_client(facts, address=address) as here:
        assert (await here.get("/api/site")).status_code == 200


@pytest.mark.parametrize("header", ["X-Forwarded-For", "Forwarded", "X-Real-IP", "X-Forwarded-Host"])
async def test_what_a_proxy_passed_on_counts_as_from_elsewhere(looker: httpx.AsyncClient, header: str) -> None:
    assert (await looker.get("/api/tanks", headers={header: "127.0.0.1"})).status_code == 403


@pytest.mark.parametrize(
    "headers",
    [
        {"sec-fetch-site": "cross-site"},
        {"sec-fetch-site": "same-site"},
        {"origin": "http://evil.example"},
        {"origin": "null"},
        {"origin": "http://127.0.0.1:9999"},
        {"sec-fetch-site": "same-origin", "origin": "http://evil.example"},
    ],
)
async def test_a_page_of_another_site_changes_nothing(
    looker: httpx.AsyncClient, facts: FakeFacts, headers: dict[str, str]
) -> None:
    answer = await looker.post(ACT, json=BODY, headers=headers)
    assert answer.status_code == 403
    assert facts.standing["ostler-n.high"]["state"] == "unacknowledged"


@pytest.mark.parametrize(
    "headers",
    [
        {},
        {"sec-fetch-site": "same-origin", "origin": "http://127.0.0.1:8600"},
        {"sec-fetch-site": "none"},
        {"origin": "http://127.0.0.1:8600"},
    ],
)
async def test_our_own_pages_and_programs_may(looker: httpx.AsyncClient, headers: dict[str, str]) -> None:
    assert (await looker.post(ACT, json=BODY, headers=headers)).status_code == 200


async def test_reading_from_another_page_is_the_browsers_business(looker: httpx.AsyncClient) -> None:
    answer = await looker.get("/api/tanks", headers={"origin": "http://evil.example"})
    assert answer.status_code == 200
    assert "access-control-allow-origin" not in answer.headers


async def test_a_body_that_is_too_long_is_refused_at_its_length(looker: httpx.AsyncClient) -> None:
    body = {**BODY, "comment": "x" * 70_000}
    assert (await looker.post(ACT, json=body)).status_code == 413


async def test_a_long_body_without_a_length_is_cut_off(looker: httpx.AsyncClient, facts: FakeFacts) -> None:
    async def drip():
        for _ in range(200):
            yield b" " * 1024

    answer = await looker.post(ACT, content=drip(), headers={"content-type": "application/json"})
    assert answer.status_code >= 400
    assert facts.standing["ostler-n.high"]["state"] == "unacknowledged"
