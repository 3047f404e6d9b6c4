"""The API's own description: whole, with examples that the API itself took and gave."""

import re
from typing import Any

import httpx
import pytest
import schemathesis

from console.app import create_app
from console.described import ABOUT, UNITS, examples, unit_of
from console.problems import MEDIA_TYPE
from console.security import Guard
from console.shares import COSTS
from console.steady import STEADY
from tests.console.examples import ASKED, made
from tests.console.fake import FakeFacts

Json = dict[str, Any]
MEND = "add a row for it to tests/console/examples.py and run python -m tests.console.examples"


@pytest.fixture(scope="module")
def document() -> Json:
    return dict(create_app(FakeFacts()).openapi())


def operations(document: Json) -> list[tuple[str, Json]]:
    return [(f"{method.upper()} {path}", one) for path, row in document["paths"].items() for method, one in row.items()]


def test_the_description_holds_by_the_openapi_schema(document: Json) -> None:
    assert document["openapi"].startswith("3.1")
    schemathesis.openapi.from_dict(document).validate()  # against the OpenAPI Initiative's own JSON Schema


def test_every_route_says_what_it_is_and_has_an_example(document: Json) -> None:
    for name, operation in operations(document):
        assert operation["tags"] != ["more"], f"{name}: give its group a row in console/described.py"
        assert operation["tags"][0] in ABOUT
        assert len(operation["summary"]) > 8, name
        assert name in examples(), f"{name}: {MEND}"
        if "requestBody" in operation:
            assert "example" in operation["requestBody"]["content"]["application/json"], f"{name}: {MEND}"
        for media, content in operation["responses"]["200"]["content"].items():
            assert "example" in content or media == "application/pdf", f"{name}: {MEND}"
    assert set(examples()) <= {name for name, _ in operations(document)}


def test_no_json_answer_is_described_as_text(document: Json) -> None:
    for name, operation in operations(document):
        told = operation["responses"]["200"].get("content", {}).get("application/json", {"schema": {}})
        assert told["schema"].get("type") != "string", name


def test_every_problem_is_described_as_one(document: Json) -> None:
    for name, operation in operations(document):
        answers = operation["responses"]
        assert {"200", "400", "403", "500"} <= set(answers), name
        for status, answer in answers.items():
            if int(status) >= 400:
                content = answer["content"][MEDIA_TYPE]
                assert content["schema"] == {"$ref": "#/components/schemas/Problem"}, (name, status)
                assert content["example"]["status"] == int(status)
        path = name.partition(" ")[2]
        reads = name.startswith("GET ")
        assert ("429" in answers) == (reads and COSTS.get(path) is not None), name
        assert ("304" in answers) == (reads and STEADY.get(path) is not None), name
        assert ("413" in answers) == ("requestBody" in operation), name
        parameters = {one["name"] for one in operation.get("parameters", [])}
        assert ("Link" in answers["200"].get("headers", {})) == ("cursor" in parameters), name


def test_limits_and_tags_name_routes_that_there_are(document: Json) -> None:
    paths = {*document["paths"], "/api/openapi.json"}
    assert set(COSTS.rows) <= paths
    assert set(STEADY.rows) <= paths


def test_every_field_with_a_unit_tells_it(document: Json) -> None:
    schema = document["paths"]["/api/tanks/{tank}"]["get"]["responses"]["200"]["content"]["application/json"]["schema"]
    assert schema["properties"]["gsv_m3"]["description"] == "in m3"
    assert schema["properties"]["rate_m3_per_h"]["description"] == "in m3/h"
    assert unit_of("current_mA") == "in mA"
    assert unit_of("name") is None
    ends = [end for end, _ in UNITS]
    for place, end in enumerate(ends):  # a longer end stands before the shorter one that it ends in
        assert not any(end.endswith(other) for other in ends[:place])


async def test_the_examples_are_what_the_api_takes_and_gives() -> None:
    """Each is asked anew; its fields are those that stand in the file."""
    told = await made()
    assert set(told) == {one["name"] for one in ASKED if one["name"]}
    assert set(told) == set(examples()), MEND
    for name, example in told.items():
        kept = examples()[name]
        assert example.get("body") == kept.get("body"), f"{name}: {MEND}"
        assert _shape(example.get("answer")) == _shape(kept.get("answer")), f"{name}: {MEND}"


def _shape(value: object) -> object:
    if isinstance(value, dict):
        return set(value)
    return [_shape(one) for one in value[:1]] if isinstance(value, list) else None


def test_no_example_tells_a_time_of_this_machine() -> None:
    """They are of the fake farms' own clocks, or of an accounting day that a test fixed."""
    years = set(re.findall(r'"(20\d\d)-\d\d-\d\dT', str(examples()).replace("'", '"')))
    assert years <= {"2023", "2024", "2025", "2026", "2027"}


async def test_a_401_names_its_scheme() -> None:
    """RFC 9110, 15.5.2."""

    async def bare(scope: Any, receive: Any, send: Any) -> None:
        await send({"type": "http.response.start", "status": 401, "headers": []})
        await send({"type": "http.response.body", "body": b""})

    transport = httpx.ASGITransport(Guard(bare), client=("127.0.0.1", 1))
    async with httpx.AsyncClient(transport=transport, base_url="http://127.0.0.1") as client:
        assert (await client.get("/api/tanks")).headers["www-authenticate"] == "Bearer"
