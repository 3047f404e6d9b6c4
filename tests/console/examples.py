"""Examples for the API's description, made on the fake farm: `python -m tests.console.examples` writes them anew.

A new route needs a row in `ASKED`; a test says so. Invented data throughout.
"""

import asyncio
import json
from typing import Any

import httpx

from console.app import create_app
from console.described import EXAMPLES
from tests.console.fake import FakeFacts
from tests.gaugehouse.documentsites import TODAY

Json = dict[str, Any]
TANK, LOOP, ALARM = {"tank": "ostler-n"}, {"instrument": "LI-fennock"}, {"alarm": "ostler-n.high"}
BY = {"by": "Ada"}
DAY = "2026-11-24T12:00:00Z"
MOST_ROWS = {"alarms": 1}
LONGEST_LIST = 3
PAPERS = "application/pdf"


def asked(name: str, path: Json | None = None, query: Json | None = None, body: Json | None = None) -> Json:
    return {"name": name, "path": path or {}, "query": query or {}, "body": body}


def first(one: Json) -> Json:
    """Asked, but no example: it makes way for one."""
    return one | {"quiet": True}


def get(where: str, path: Json | None = None, **query: Any) -> Json:
    return asked(f"GET {where}", path, query)


def post(where: str, path: Json | None = None, **body: Any) -> Json:
    return asked(f"POST {where}", path, None, {**body, **BY})


RECEIPT = {"tank": "ostler-s", "observed_m3": 20.0, "temperature_degC": 14.0, "density_15_kgpm3": 801.2}
PAPER = {"kind": "delivery note", "day": TODAY, "tank": "palm", "paper": "DN-1", "observed": "36000 L"}
CSV = f"kind,day,tank,paper,observed [L]\nfuelling ticket,{TODAY},palm,T-1,5200\n"
CHECKED = {"instrument": "LI-ostler-s"}

WAIT: Json = {"name": ""}
"""Let the receipt run and the surface get calm."""

ASKED = [
    get("/api/trends", tanks="pipit,ostler-n", quantities="level_m,tov_m3", start=DAY, span=3600, points=10),
    get("/api/trends.csv", tanks="ostler-n", quantities="level_m", start=DAY, span=3600, points=10),
    get("/api/trends/marks", tanks="ostler-n", start=DAY, span=3600), get("/api/settings"),
    get("/api/me"), get("/api/site"), get("/api/live"), get("/api/tanks"), get("/api/tanks/{tank}", TANK),
    get("/api/tanks/{tank}/facts", TANK), get("/api/tanks/{tank}/chain", TANK),
    get("/api/tanks/{tank}/trend", TANK, quantity="level_m", start=DAY, span=3600, points=10),
    get("/api/tanks/{tank}/aggregate", TANK, quantity="level_m", aggregate="TimeAverage", start=DAY, span=3600,
        interval=1800),
    post("/api/tanks/{tank}/requalify", TANK, **{"from": DAY, "to": "2026-11-24T12:10:00Z"}, quality="bad",
         comment="the cover was open"),
    post("/api/tanks/{tank}/extremes/reset", TANK),
    post("/api/tanks/{tank}/plan", {"tank": "ostler-s"}, kind="receipt", quantity_m3=20.0, rate_m3_per_h=60.0),
    post("/api/tanks/{tank}/plan/end", {"tank": "ostler-s"}),
    get("/api/buses"), get("/api/points"), get("/api/loops"), get("/api/loops/{instrument}", LOOP),
    get("/api/loops/{instrument}/budget", {"instrument": "LI-pipit"}),
    get("/api/loops/{instrument}/figures", LOOP),
    get("/api/loops/{instrument}/faults.csv", LOOP),
    get("/api/loops/{instrument}/faults/{number}", {**LOOP, "number": 1}),
    get("/api/loops/{instrument}/faults/{number}/causes", {**LOOP, "number": 1}),
    get("/api/loops/{instrument}/faults/{number}/trace", {**LOOP, "number": 2}),
    get("/api/loops/{instrument}/faults/{number}/trace.csv", {**LOOP, "number": 2}),
    post("/api/loops/{instrument}/faults/{number}/entries", {**LOOP, "number": 1}, cause="water in the gland",
         action="gland renewed", close=True),
    get("/api/faults"), get("/api/movements"), get("/api/history/files"), get("/api/servers"), get("/api/notify"),
    get("/api/alarms"), get("/api/alarms/every"), get("/api/alarms/history", limit=2), get("/api/alarms/performance"),
    post("/api/alarms/{alarm}/acknowledge", ALARM, occurrence=1, comment="receipt is being stopped"),
    post("/api/alarms/{alarm}/shelve", ALARM, reason="float is being renewed", span_s=3600.0, one_shot=True),
    post("/api/alarms/{alarm}/unshelve", ALARM, comment="renewed"),
    post("/api/alarms/{alarm}/remove-from-service", ALARM, reason="tank is being cleaned"),
    post("/api/alarms/{alarm}/return-to-service", ALARM, comment="tank is in use again"),
    post("/api/alarms/{alarm}/reset", {"alarm": "harrowmead.high"}, comment="looked at"),
    post("/api/alarms/{alarm}/test", ALARM, means="wet", limit_s=600.0),
    post("/api/alarms/{alarm}/test/end", ALARM, comment="no liquid at hand"),
    post("/api/alarms/{alarm}/test/told", ALARM, means="wet", passed=True, seconds=4.5),
    get("/api/alarms/tests"),
    post("/api/loops/{instrument}/check/start", CHECKED, minutes=30.0, at_rest="valves shut",
         permit="P-17"),
    post("/api/loops/{instrument}/check/step", CHECKED, applied_mA=4.0),
    *(first(post("/api/loops/{instrument}/check/step", CHECKED)) for _ in range(12)),
    post("/api/loops/{instrument}/check/finish", CHECKED, remarks="no adjustment"),
    first(post("/api/loops/{instrument}/check/start", CHECKED)),
    post("/api/loops/{instrument}/check/abort", CHECKED, why="thunderstorm"),
    get("/api/loops/{instrument}/checks", CHECKED),
    get("/api/loops/{instrument}/checks/{number}", {**CHECKED, "number": 1}),
    get("/api/loops/{instrument}/checks/{number}/paper", {**CHECKED, "number": 1}, size="A4"),
    get("/api/records", limit=2), get("/api/records/head"),
    post("/api/records/{n}/correct", {"n": 2}, text="it was Bo who was there"),
    get("/api/leak"), get("/api/leak/{tank}", TANK),
    post("/api/leak/{tank}/sign", TANK, start="2026-11-24T12:00:00.000Z", end="2026-11-25T12:00:00.000Z"),
    post("/api/leak/{tank}/decide", TANK, reason="a drain valve let by; it was renewed and sealed"),
    get("/api/leak/tests"), get("/api/leak/tests/{number}/paper", {"number": 1}, size="A4"),
    asked("POST /api/receipts/check", body=RECEIPT), post("/api/receipts", **RECEIPT, note="DN-3", batch="B-1"),
    get("/api/receipts"), get("/api/receipts/{number}", {"number": 1}),
    post("/api/receipts/{number}/done", {"number": 1}, what="earth", found="bonded"),
    post("/api/receipts/{number}/sample", {"number": 1}, density_kgpm3=801.5, density_degC=14.0),
    post("/api/receipts/{number}/start", {"number": 1}),
    post("/api/receipts/{number}/line", {"number": 1}, figure_m3=5.0),
    WAIT, post("/api/receipts/{number}/decide", {"number": 1}, decision="accepted with protest", comment="late by 4 h"),
    get("/api/receipts/{number}/paper", {"number": 1}, size="A4"),
    post("/api/receipts/{number}/document", {"number": 1}),
    first(post("/api/receipts", **RECEIPT, note="DN-4")),
    post("/api/receipts/{number}/off", {"number": 2}, reason="the vehicle broke down"),
    post("/api/dips", tank="ostler-s", readings_m=[6.391, 6.391], water_m=0.004),
    post("/api/dips/verdict", tank="ostler-s", readings_m=[6.391, 6.391]), get("/api/dips", tank="ostler-s"),
    get("/api/dips/trend", tank="ostler-s"), post("/api/dips/{number}/withdraw", {"number": 6}, why="of another tank"),
    post("/api/samples", tank="ostler-s", observed_kgpm3=801.5, observed_degC=14.0, certificate_kgpm3=801.0),
    get("/api/samples"), post("/api/samples/{number}/withdraw", {"number": 1}, why="of another tank"),
    get("/api/documents/facts"), post("/api/documents", **PAPER), post("/api/documents/import", csv=CSV),
    get("/api/documents"), get("/api/documents.csv"),
    get("/api/documents/movements", **{"from": "2026-09-01", "to": "2026-10-01"}),
    post("/api/documents/{number}/correct", {"number": 1}, observed="35900 L"),
    post("/api/documents/{number}/undo", {"number": 3}, comment="written down twice"),
    get("/api/stock"), get("/api/stock/book"), get("/api/stock/book.csv"),
    post("/api/stock/close", period="day", name="2026-11-24", product="jet"),
    get("/api/status"), get("/api/status/history"), get("/api/batches"),
    post("/api/tanks/{tank}/release", {"tank": "harrowmead"}, appearance="clear and bright", water_test="passed",
         density_kg_m3=801.2),
    post("/api/tanks/{tank}/quarantine", TANK, reason="sample to be looked at again"),
    post("/api/tanks/{tank}/quarantine/lift", TANK, reason="sample is sound"),
    post("/api/tanks/{tank}/service/remove", TANK, reason="cleaning"),
    post("/api/tanks/{tank}/service/return", TANK, reason="cleaned and inspected"),
    get("/api/water"), get("/api/water/{tank}", TANK), get("/api/drain-checks"), get("/api/drain-checks.csv"),
    post("/api/tanks/{tank}/drain-check", TANK, result="water", water_m3=0.00025, appearance="cloudy"),
    post("/api/drain-checks/{number}/withdraw", {"number": 1}, comment="of another tank"),
    get("/api/forecast"), get("/api/forecast.csv"), get("/api/due"), get("/api/due.csv"),
    get("/api/reports"),
    get("/api/reports/{name}", {"name": "account"}, month="2024-01", by="Ada"),
    post("/api/handovers", notes="valve 3 is shut"),
    asked("POST /api/handovers/{number}/take", {"number": 2}, None, {"by": "Bo", "notes": "seen"}),
    get("/api/handovers"), get("/metrics"), get("/healthz"), get("/readyz"),
]  # fmt: skip


def short(value: Any) -> Any:
    """The same with lists cut to what an example needs, and figures to what a person reads."""
    if isinstance(value, dict):
        return {name: short(one) for name, one in value.items()}
    if isinstance(value, list):
        longest = 1 if value and isinstance(value[0], dict) else LONGEST_LIST
        return [short(one) for one in value[:longest]]
    return round(value, 6) if isinstance(value, float) else value


async def ask(client: httpx.AsyncClient, one: Json) -> httpx.Response:
    method, path = one["name"].split(" ")
    return await client.request(method, path.format(**one["path"]), params=one["query"], json=one["body"])


async def made() -> Json:
    """Every example, asked one after the other. Raises `AssertionError` with what was refused."""
    told: Json = {}
    facts = FakeFacts()
    transport = httpx.ASGITransport(create_app(facts), client=("127.0.0.1", 50000), raise_app_exceptions=False)
    async with httpx.AsyncClient(transport=transport, base_url="http://127.0.0.1") as client:
        for one in ASKED:
            if one is WAIT:
                for _ in range(30):
                    facts.receiving.advance()
                continue
            answer = await ask(client, one)
            if one.get("quiet"):
                continue
            assert answer.status_code == 200, (one["name"], answer.status_code, answer.text)
            kind = answer.headers["content-type"].partition(";")[0]
            example = {name: one[name] for name in ("path", "query", "body") if one[name]}
            if kind == "application/json":
                example["answer"] = short(answer.json())
            elif kind != PAPERS:
                example["answer"] = "\n".join(answer.text.splitlines()[:2]) + "\n"
            told[one["name"]] = example
    return told


if __name__ == "__main__":
    EXAMPLES.write_text(json.dumps(asyncio.run(made()), indent=1, ensure_ascii=False) + "\n", encoding="utf-8")
