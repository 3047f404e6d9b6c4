"""Made-up requests: no 5xx, no answer that is not described, nothing changed without a role. By schemathesis."""

from collections import Counter
from typing import Any

import httpx
import pytest
import schemathesis
from schemathesis import Case

from console.app import create_app
from console.people import Person
from console.roles import OPERATOR, VIEWER
from console.sign_in import hashed_of
from tests.console.conftest import make_client
from tests.console.examples import ASKED, ask
from tests.console.fake import FakeFacts
from tests.console.fuzzing import BOTH, CHECKS, Schema, local, operations, pelt

ASKS = [one for one in ASKED if one["name"]]


def schema_of(facts: FakeFacts) -> Schema:
    app = create_app(facts)
    schema = schemathesis.openapi.from_dict(app.openapi())
    schema.app = local(app)
    return schema


def fuzz(facts: FakeFacts, examples: int, headers: dict[str, str] | None = None) -> Counter[int]:
    """How often each status came. Raises with everything that was not as described."""
    statuses: Counter[int] = Counter()

    def send(case: Case) -> None:
        answer = case.call(base_url="http://127.0.0.1", headers=headers)
        statuses[answer.status_code] += 1
        case.validate_response(answer, checks=CHECKS)

    for operation in operations(schema_of(facts)):
        pelt(operation, send, examples=examples, modes=BOTH)
    return statuses


def test_no_request_is_answered_otherwise_than_described(facts: FakeFacts) -> None:
    statuses = fuzz(facts, 1)
    assert {200, 404, 422} <= set(statuses), "the requests reach the handlers"


@pytest.mark.soak
@pytest.mark.parametrize("signed_in", [False, True])
def test_no_request_of_many_is_answered_otherwise_than_described(facts: FakeFacts, signed_in: bool) -> None:
    statuses = fuzz(facts, 60, token(facts, OPERATOR) if signed_in else None)
    print(dict(statuses))
    assert {200, 404, 422} <= set(statuses)


def token(facts: FakeFacts, *roles: str) -> dict[str, str]:
    facts.people.users = {"Ana": ("", (OPERATOR,)), "Ben": ("", (VIEWER,))}
    facts.people.keys[hashed_of("secret")] = Person("Ben", roles)
    return {"Authorization": "Bearer secret"}


class Watched(FakeFacts):
    """The farm with a list of what changed it."""

    def __init__(self) -> None:
        super().__init__()
        self.done: list[str] = []

    async def act(self, name: str, fields: Any) -> Any:
        self.done.append(name)
        return await super().act(name, fields)

    async def acknowledge(self, alarm: str, occurrence: int, by: str, comment: str) -> Any:
        self.done.append("acknowledge")
        return await super().acknowledge(alarm, occurrence, by, comment)

    async def close_stock(self, kind: str, name: str, product: str, by: str, comment: str, seal: str | None) -> Any:
        self.done.append("close_stock")
        return await super().close_stock(kind, name, product, by, comment, seal)


@pytest.mark.parametrize("address", ["127.0.0.1", "192.0.2.7"])
async def test_who_is_not_signed_in_changes_nothing_and_looks_from_this_machine_only(address: str) -> None:
    facts = Watched()
    token(facts, VIEWER)
    here = address == "127.0.0.1"
    async with make_client(facts, address=address) as client:
        for one in ASKS:
            answer = await ask(client, one)
            vital = one["name"] in ("GET /healthz", "GET /readyz")
            looks = one["name"].startswith("GET ") and (here or vital)
            assert (answer.status_code != 401) == looks, (one["name"], answer.status_code)
            assert answer.status_code < 500
            assert looks or answer.headers["www-authenticate"] == "Bearer"
    assert facts.done == []


def test_made_up_requests_without_a_session_change_nothing() -> None:
    facts = Watched()
    token(facts, VIEWER)
    statuses: Counter[int] = Counter()

    def send(case: Case) -> None:
        answer = case.call(base_url="http://127.0.0.1")
        statuses[answer.status_code] += 1
        case.validate_response(answer, checks=CHECKS)

    for operation in operations(schema_of(facts)):
        if operation.method.upper() != "GET":
            pelt(operation, send, examples=1, modes=BOTH[:1])
    assert set(statuses) == {401}
    assert facts.done == []


async def test_a_store_that_is_out_is_told_as_described(facts: FakeFacts) -> None:
    facts.store_out = True
    described = create_app(facts).openapi()["paths"]
    async with make_client(facts) as client:
        told = Counter[int]()
        for one in ASKS:
            answer = await ask(client, one)
            method, path = one["name"].split(" ")
            assert str(answer.status_code) in described[path][method.lower()]["responses"], one["name"]
            assert answer.status_code != 500, one["name"]
            told[answer.status_code] += 1
        assert told[503] > 60


async def test_a_body_without_end_is_refused_as_described(client: httpx.AsyncClient) -> None:
    for one in ASKED:
        if one.get("body") is None or one["name"] == "POST /api/documents/import":
            continue
        method, path = one["name"].split(" ")
        large = {"by": "Ada", "comment": "x" * 70_000}
        answer = await client.request(method, path.format(**one["path"]), json=large)
        assert (answer.status_code, answer.json()["title"]) == (413, "Too long"), one["name"]
