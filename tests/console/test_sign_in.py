"""Signing in and out, who may look and who may change, and what holds a guesser up."""

import asyncio
import time
from types import SimpleNamespace

import httpx
import pytest
from hypothesis import given
from hypothesis import strategies as st

from console.attempts import FREE, LONGEST_S, Attempts
from console.people import Person
from console.roles import ADMINISTRATOR, OPERATOR, ROLES, VIEWER, may, named, roles_for
from console.sign_in import COOKIE, hashed_of, hasher, next_of
from gaugehouse.acts import ACTS
from gaugehouse.peopleacts import PEOPLE_ACTS
from tests.console.conftest import make_client
from tests.console.fake import FakeFacts

PASSWORD = "correct horse battery"
HASH = hasher.hash(PASSWORD)


@pytest.fixture
def users(facts: FakeFacts) -> FakeFacts:
    """The farm with an operator and a viewer."""
    facts.people.users = {"Ana": (HASH, (OPERATOR,)), "Ben": (HASH, (VIEWER,))}
    return facts


def token(facts: FakeFacts, name: str, *roles: str) -> dict[str, str]:
    """The header of a token of somebody."""
    secret = f"secret-of-{name}-{'-'.join(roles)}"
    facts.people.keys[hashed_of(secret)] = Person(name, roles)
    return {"Authorization": f"Bearer {secret}"}


async def sign_in(client: httpx.AsyncClient, name: str, password: str = PASSWORD, then: str = "/") -> httpx.Response:
    return await client.post("/sign-in", data={"name": name, "password": password, "then": then})


def test_every_act_is_somebodys_and_an_unknown_one_the_administrators() -> None:
    assert set(ACTS) - named() == set(PEOPLE_ACTS)
    assert named() <= set(ACTS)
    assert roles_for("put_user") == [ADMINISTRATOR]
    assert not may([VIEWER], "acknowledge")
    assert all(may([ADMINISTRATOR], act) for act in ACTS)
    assert set(roles_for("acknowledge")) == set(ROLES) - {VIEWER}


async def test_before_the_first_user_this_machine_changes_by_name_and_others_get_nothing(facts: FakeFacts) -> None:
    async with make_client(facts) as here, make_client(facts, address="192.0.2.7") as away:
        assert (await here.post("/api/tanks/ostler-s/extremes/reset", json={"by": "Ada"})).status_code == 200
        assert (await here.post("/api/tanks/ostler-s/extremes/reset", json={})).status_code == 422
        assert (await here.get("/api/me")).json() == {"name": None, "roles": [], "users": False}
        assert "no users yet" in (await here.get("/sign-in")).text
        told = await away.get("/api/tanks")
        assert told.status_code == 403
        assert "no users yet" in told.json()["detail"]


async def test_with_users_looking_is_open_here_and_needs_a_person_from_elsewhere(users: FakeFacts) -> None:
    async with make_client(users) as here, make_client(users, address="192.0.2.7") as away:
        assert (await here.get("/api/tanks")).status_code == 200
        refused = await away.get("/api/tanks")
        assert refused.status_code == 401
        assert refused.headers["content-type"] == "application/problem+json"
        page = await away.get("/stock", headers={"accept": "text/html"})
        assert (page.status_code, page.headers["location"]) == (303, "/sign-in?next=/stock")
        assert (await away.get("/healthz")).status_code == 200
        assert (await away.get("/metrics")).status_code == 401
        assert (await away.get("/api/tanks", headers=token(users, "Ben", VIEWER))).status_code == 200
        assert (await away.get("/api/tanks", headers={"Authorization": "Bearer nonsense"})).status_code == 401
        assert (await away.get("/api/tanks", headers={"Cookie": f"{COOKIE}=nonsense"})).status_code == 401


async def test_a_change_is_by_whoever_is_signed_in_and_only_what_their_role_allows(users: FakeFacts) -> None:
    reset = "/api/tanks/ostler-s/extremes/reset"
    async with make_client(users) as client:
        nobody = await client.post(reset, json={"by": "Ada"})
        assert nobody.status_code == 401
        answer = await client.post(reset, json={}, headers=token(users, "Ana", OPERATOR))
        assert (answer.status_code, answer.json()["by"]) == (200, "Ana")
        assert (await client.post(reset, json={"by": "Ana"}, headers=token(users, "Ana", OPERATOR))).status_code == 200
        other = await client.post(reset, json={"by": "Ada"}, headers=token(users, "Ana", OPERATOR))
        assert other.status_code == 422
        assert users.resets["ostler-s"][0] == "Ana"


async def test_a_session_begins_by_password_is_a_strict_cookie_and_ends(users: FakeFacts) -> None:
    async with make_client(users, address="192.0.2.7") as client:
        answer = await sign_in(client, "Ana", then="/alarms")
        assert (answer.status_code, answer.headers["location"]) == (303, "/alarms")
        cookie = answer.headers["set-cookie"].lower()
        assert all(word in cookie for word in ("httponly", "samesite=strict", "path=/", "max-age=3600"))
        assert "secure" not in cookie
        assert (await client.get("/api/me")).json() == {"name": "Ana", "roles": [OPERATOR], "users": True}
        page = await client.get("/alarms")
        assert 'data-person="Ana"' in page.text
        assert "Sign out" in page.text
        assert (await client.post("/sign-out")).status_code == 303
        assert (await client.get("/api/tanks")).status_code == 401
    assert [event for event, _, _ in users.people.journal] == ["session", "ended"]
    assert users.people.journal[0] == ("session", "Ana", "192.0.2.7")


async def test_wrong_pairs_say_nothing_of_which_it_was_and_are_held_up(
    users: FakeFacts, monkeypatch: pytest.MonkeyPatch
) -> None:
    # The wait is two seconds: on a slow machine it could be over before the next attempt.
    monkeypatch.setattr("console.sign_in.time", SimpleNamespace(monotonic=lambda: 7.0, time_ns=time.time_ns))
    async with make_client(users) as client:
        texts = set()
        for name, password in (("Ana", "wrong"), ("Nobody", PASSWORD), ("Ana", ""), ("Ana", "also wrong")):
            answer = await sign_in(client, name, password)
            assert answer.status_code == 401
            texts.add(answer.text.partition('role="alert">')[2].partition("<")[0])
        assert len(texts) == 1
        held_up = await sign_in(client, "Ana")
        assert held_up.status_code == 429
        assert int(held_up.headers["retry-after"]) >= 1
    assert users.people.journal == [
        ("failed", "Ana", "127.0.0.1"), ("failed", "", "127.0.0.1"), ("failed", "Ana", "127.0.0.1"),
        ("failed", "Ana", "127.0.0.1"),
    ]  # fmt: skip


async def test_a_link_lets_in_once(users: FakeFacts) -> None:
    users.people.links[hashed_of("once")] = "Ben"
    async with make_client(users) as client:
        answers = await asyncio.gather(client.get("/enter/once"), client.get("/enter/once"))
        assert sorted(answer.status_code for answer in answers) == [303, 401]
        assert (await client.get("/enter/once")).status_code == 401
        assert (await client.get("/enter/" + "x" * 3000)).status_code == 401


async def test_a_page_of_another_site_signs_nobody_in_or_out(users: FakeFacts) -> None:
    async with make_client(users) as client:
        for headers in ({"Origin": "https://evil.example"}, {"Sec-Fetch-Site": "cross-site"}):
            form = {"name": "Ana", "password": PASSWORD}
            assert (await client.post("/sign-in", data=form, headers=headers)).status_code == 403
            assert (await client.post("/sign-out", headers=headers)).status_code == 403
    assert users.people.journal == []


@pytest.mark.parametrize(
    "asked",
    ["https://evil.example/", "//evil.example", "/\\evil.example", "javascript:alert(1)", "", "\x00/", "/\r\nX: y"],
)
async def test_signing_in_leads_nowhere_else(users: FakeFacts, asked: str) -> None:
    assert next_of(asked) == "/"
    async with make_client(users) as client:
        assert (await sign_in(client, "Ana", then=asked)).headers["location"] == "/"


async def test_what_is_typed_comes_back_as_text_only(users: FakeFacts) -> None:
    async with make_client(users) as client:
        answer = await sign_in(client, '"><script>alert(1)</script>', "x", then='"><b>')
    assert "<script>alert" not in answer.text
    assert '"><b>' not in answer.text


async def test_a_proxy_of_ours_is_believed_and_nobody_else(users: FakeFacts) -> None:
    forwarded = {"X-Forwarded-For": "203.0.113.9, 198.51.100.4", "X-Forwarded-Proto": "https"}
    for proxies, where, secure in (((), "127.0.0.1", False), (("127.0.0.1",), "198.51.100.4", True)):
        users.people.journal.clear()
        async with make_client(users, proxies=proxies) as client:
            form = {"name": "Ana", "password": PASSWORD}
            answer = await client.post("/sign-in", data=form, headers=forwarded)
        assert users.people.journal == [("session", "Ana", where)]
        assert ("secure" in answer.headers["set-cookie"].lower()) == secure


@given(st.lists(st.tuples(st.sampled_from(["a", "b"]), st.floats(0, 100)), max_size=40))
def test_waits_grow_end_and_are_cleared(steps: list[tuple[str, float]]) -> None:
    attempts, now_s = Attempts(), 1000.0
    failed = {"a": 0, "b": 0}
    for key, pause_s in steps:
        now_s += pause_s
        wait_s = attempts.wait_s((key,), now_s)
        assert 0 <= wait_s <= LONGEST_S
        assert (wait_s == 0) or failed[key] >= FREE
        if wait_s == 0:
            attempts.failed((key,), now_s)
            failed[key] += 1
    attempts.cleared(("a", "b"))
    assert attempts.wait_s(("a", "b"), now_s) == 0
