"""The API's own description (OpenAPI 3.1), completed: groups, units, examples, and every answer that a layer can give.

The routes say what they are themselves; what holds for all of them, or stands in a table of another file (limits, tags
of answers, examples), is put in here, so that the description cannot forget it. Problem details: RFC 9457.
"""

import json
import re
from functools import cache
from pathlib import Path
from typing import Any, Final

from fastapi import FastAPI
from fastapi.openapi.utils import get_openapi

from console.limits import BODY_LIMIT, LARGER_BODIES
from console.problems import MEDIA_TYPE, SCHEMA, said
from console.shares import COSTS, LOOPBACK, OTHERS
from console.steady import STEADY, WHEN_OVER

Json = dict[str, Any]

EXAMPLES: Final = Path(__file__).parent / "openapi_examples.json"
"""Written by `python -m tests.console.examples`, from the fake farm of the tests: invented data."""

GROUPS: Final = (
    ("/api/me", "site"), ("/api/site", "site"), ("/api/live", "site"), ("/api/points", "site"),
    ("/api/settings", "site"), ("/api/trends", "tanks"), ("/api/history", "site"), ("/api/servers", "site"),
    ("/api/tanks/{tank}/release", "status"), ("/api/tanks/{tank}/quarantine", "status"),
    ("/api/tanks/{tank}/service", "status"), ("/api/status", "status"), ("/api/batches", "status"),
    ("/api/tanks/{tank}/plan", "movements"), ("/api/movements", "movements"), ("/api/receipts", "receipts"),
    ("/api/tanks/{tank}/drain-check", "water"), ("/api/water", "water"), ("/api/drain-checks", "water"),
    ("/api/tanks", "tanks"), ("/api/loops", "loops"), ("/api/buses", "loops"), ("/api/faults", "loops"),
    ("/api/alarms", "alarms"), ("/api/notify", "alarms"), ("/api/stock", "stock"), ("/api/forecast", "stock"),
    ("/api/documents", "documents"), ("/api/dips", "dips"), ("/api/samples", "dips"), ("/api/leak", "leak"),
    ("/api/reports", "reports"), ("/api/handovers", "reports"),
    ("/api/due", "due"), ("/api/records", "records"), ("/api", "more"),
    ("/metrics", "daemon"), ("/healthz", "daemon"), ("/readyz", "daemon"),
)  # fmt: skip
"""The group of an address: the first row that it begins with."""

ABOUT: Final = {
    "site": "The site, its newest state as a whole, who asks, and the files and servers that keep its history.",
    "tanks": "What is in each tank now and was before. Volumes: `tov` total observed, `gov` without water, "
    "`gsv` at the reference temperature.",
    "status": "What a tank is ready for, releases by name, and the batches in it.",
    "movements": "Movements found from the readings, and those that were ordered.",
    "receipts": "Deliveries, from the check before one to the signed record.",
    "water": "Water found, expected and drained.",
    "loops": "Instruments with their current loops, their faults, checks and buses.",
    "alarms": "Standing alarms, what was done about them, and how they perform. Not for interlocks or trips.",
    "stock": "Stock now, the stock book, its close, and how long the stock will do.",
    "documents": "Papers of the stock book.",
    "dips": "Dips and density samples, and what they say of the gauges.",
    "leak": "Tests for a slow loss of a quiet tank.",
    "reports": "Papers of stock and shift, and the change of shift by name.",
    "due": "What somebody has to do by a time.",
    "records": "The record book: every decision, chained by hashes.",
    "more": "What belongs to no group.",
    "daemon": "For machines that look after the daemon.",
}

UNITS: Final = (
    ("_m3_per_h", "m3/h"), ("_m3_per_s", "m3/s"), ("_m3_per_day", "m3 a day"), ("_kg_m3", "kg/m3"),
    ("_kgpm3", "kg/m3"), ("_litres_per_mm", "L/mm"), ("_pS_m", "pS/m"), ("_degC", "degC"), ("_percent", "percent"),
    ("_days", "days"), ("_hours", "hours"), ("_ohm", "ohm"), ("_m3", "m3"), ("_kg", "kg"), ("_mA", "mA"), ("_mm", "mm"),
    ("_ms", "ms"), ("_m", "m"), ("_s", "s"), ("_V", "V"),
)  # fmt: skip

TEXT: Final = f"""Everything that the pages show can be asked for here, and everything that a person does can be said.

**Units** are SI and stand in the names: {", ".join(f"`{end}` {unit}" for end, unit in UNITS)}. `u95` in a name is the
expanded uncertainty at 95 %. Times are UTC as `2026-01-31T08:00:00.000Z`. A figure that is not known is `null`, beside
a `quality`; it is never 0 or left out.

**Who asks.** Before the site has users, only the machine itself is answered and `by` in a body says who acts. After
that a session or a bearer token (RFC 6750) tells; `by` may be left out. Looking around on the machine itself needs
none.

**Problems** are `{MEDIA_TYPE}` (RFC 9457); `detail` says what to do. Past the server's bound of open connections it
answers 503 in plain text.

**Long lists** come in pages: `limit` rows, and where there are more, a header `Link: <...>; rel="next"` (RFC 8288).

**Answers that stay** bear an `ETag`; send it back in `If-None-Match` and get 304 while it holds (RFC 9110).

**Limits.** Costly reads take tokens: an address has {OTHERS.burst:g}, filling up by {OTHERS.per_s:g} a second, and may
have {OTHERS.at_once} under way; the machine itself {LOOPBACK.burst:g}, {LOOPBACK.per_s:g} and {LOOPBACK.at_once}. Past
it: 429 and `Retry-After`. A body may have {BODY_LIMIT} bytes.

Values are for people and for planning: not for interlocks, trips or custody transfer. Local codes and licensed practice
go before anything said here. All examples are invented.
"""

PROBLEM: Final[Json] = SCHEMA | {
    "title": "Problem",
    "description": "Problem details, RFC 9457",
    "additionalProperties": True,
    "properties": {
        "type": {"type": "string", "description": "always about:blank: the status says what kind it is"},
        "title": {"type": "string", "description": "the kind in a few words"},
        "status": {"type": "integer", "description": "the status of the answer"},
        "detail": {"type": "string", "description": "what is wrong here, and what would mend it"},
        "errors": {
            "type": "array",
            "description": "at 422: what does not hold together",
            "items": {
                "type": "object",
                "required": ["where", "what"],
                "properties": {"where": {"type": "string"}, "what": {"type": "string"}},
            },
        },
    },
}
_REF: Final = {"$ref": "#/components/schemas/Problem"}


def describe(app: FastAPI) -> None:
    """From here on the application describes itself so."""

    def openapi() -> Json:
        if app.openapi_schema is None:
            app.openapi_schema = completed(get_openapi(title=app.title, version=app.version, routes=app.routes))
        return app.openapi_schema

    app.openapi = openapi  # type: ignore[method-assign]


def completed(document: Json) -> Json:
    """The description that the routes gave, with everything that they cannot know."""
    document["info"] |= {"description": TEXT, "summary": "tank gauging: levels, stock, alarms, records"}
    used = set()
    for path, methods in document["paths"].items():
        for method, operation in methods.items():
            group = group_of(path)
            used.add(group)
            operation["tags"] = [group]
            _worded(operation)
            _answers(path, method, operation)
            _exemplified(f"{method.upper()} {path}", operation)
    document["tags"] = [{"name": name, "description": words} for name, words in ABOUT.items() if name in used]
    components = document.setdefault("components", {})
    components.setdefault("schemas", {})["Problem"] = PROBLEM
    components["securitySchemes"] = {
        "session": {"type": "apiKey", "in": "cookie", "name": "gaugehouse", "description": "set by /sign-in"},
        "token": {"type": "http", "scheme": "bearer", "description": "made by `gaugehouse user`"},
    }
    document["security"] = [{}, {"session": []}, {"token": []}]
    return document


def group_of(path: str) -> str:
    """The group of an address."""
    return next(group for start, group in GROUPS if path == start or path.startswith((f"{start}/", f"{start}.")))


def _worded(operation: Json) -> None:
    """The first sentence of what a route says of itself is its summary."""
    words = " ".join(str(operation.get("description", "")).split())
    operation["summary"] = re.split(r"(?<=[a-z)])[.;:] ", words, maxsplit=1)[0].rstrip(".")
    operation["description"] = words
    for parameter in operation.get("parameters", []):
        if parameter["name"] in ("from", "to", "start", "end") and "description" not in parameter:
            parameter["description"] = "ISO 8601 with an offset or Z; from on, before to"


def _answers(path: str, method: str, operation: Json) -> None:
    """What the layers around a route, and its framework, may answer in its place."""
    answers: Json = operation["responses"]
    kept = {parameter["name"] for parameter in operation.get("parameters", [])}
    answers["200"].setdefault("content", {_media(path): {"schema": {"type": "string"}}})
    for content in answers["200"]["content"].values():
        content.setdefault("schema", {"type": "string"})
    added = [said(400, "not a host name of this console, or a body that is not JSON"), said(500, "a bug; see the log")]
    if path.startswith("/api/"):
        added.append(said(503, "the store does not answer now"))
        added.append(said(401, "sign in first, or send a bearer token"))
    added.append(said(403, "not for this machine, this role, or from a page of another site"))
    if "requestBody" in operation:
        added.append(said(413, f"a body may have {LARGER_BODIES.get(path, BODY_LIMIT)} bytes at most"))
    if "cursor" in kept:
        added.append(said(409, "the row that the cursor follows is no longer in the list"))
        answers["200"].setdefault("headers", {})["Link"] = _header(
            "the next page, rel=next (RFC 8288); none on the last"
        )
    if COSTS.get(path) is not None and method == "get":
        added.append(said(429, "this address asks for more than its share; ask again after Retry-After"))
    for one in added:
        for status, answer in one.items():
            answers.setdefault(str(status), answer)
    for status, answer in answers.items():
        problem = answer.get("content", {}).get(MEDIA_TYPE)
        if problem is not None:
            problem["schema"] = _REF
        if status in ("429", "503") and problem is not None:
            answer.setdefault("headers", {})["Retry-After"] = _header("seconds", "integer")
        if status == "401":
            answer.setdefault("headers", {})["WWW-Authenticate"] = _header("Bearer")
    rule = STEADY.get(path)
    if rule is not None and method == "get":
        where = f" ({rule[1]})" if rule is WHEN_OVER else ""
        answers["304"] = {"description": f"what If-None-Match names still holds{where}"}
        for status in ("200", "304"):
            answers[status].setdefault("headers", {})["ETag"] = _header(f"weak, of the answer itself{where}")
        operation.setdefault("parameters", []).append(
            {"name": "If-None-Match", "in": "header", "required": False, "description": "an ETag that was given before",
             "schema": {"type": "string", "maxLength": 200}}
        )  # fmt: skip
    operation["responses"] = dict(sorted(answers.items()))


def _media(path: str) -> str:
    """Of an answer that is no JSON."""
    return "text/csv" if path.endswith(".csv") else "text/plain"


def _header(words: str, kind: str = "string") -> Json:
    return {"description": words, "schema": {"type": kind}}


@cache
def examples() -> Json:
    """Examples by method and address: ``{"GET /api/site": {path, query, body, answer}}``, parts where there are any."""
    told: Json = json.loads(EXAMPLES.read_text(encoding="utf-8"))
    return told


def _exemplified(name: str, operation: Json) -> None:
    example = examples().get(name)
    if example is None:
        return
    given = {**example.get("path", {}), **example.get("query", {})}
    for parameter in operation.get("parameters", []):
        if parameter["name"] in given:
            parameter["example"] = given[parameter["name"]]
    if "body" in example:
        operation["requestBody"]["content"]["application/json"]["example"] = example["body"]
    for media, content in operation["responses"]["200"].get("content", {}).items():
        if "answer" in example:
            content["example"] = example["answer"]
            if media == "application/json":
                content["schema"] = _named(content.get("schema", {}), example["answer"])


def _named(schema: Json, answer: object) -> Json:
    """The schema with the fields that the example has, each with its unit; none is required and others may come."""
    if schema.get("type") == "array" and isinstance(answer, list) and answer and isinstance(answer[0], dict):
        return schema | {"items": _named(schema.get("items", {}), answer[0])}
    if schema.get("type") != "object" or not isinstance(answer, dict) or "properties" in schema:
        return schema
    return schema | {"properties": {name: _field(name, value) for name, value in answer.items()}}


def _field(name: str, value: object) -> Json:
    unit = unit_of(name)
    told: Json = {} if unit is None else {"description": unit}
    row = value[0] if isinstance(value, list) and value else None
    if isinstance(value, dict):
        told["properties"] = {inner: _field(inner, one) for inner, one in value.items()}
    elif isinstance(row, dict):
        told["items"] = {"properties": {inner: _field(inner, one) for inner, one in row.items()}}
    return told


def unit_of(name: str) -> str | None:
    """The unit that a name ends in, None for none."""
    if name in ("time", "since", "until", "start", "end", "from", "to"):
        return "UTC, ISO 8601; null for none"
    return next((f"in {unit}" for end, unit in UNITS if name.endswith(end)), None)
