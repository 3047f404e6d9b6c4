"""Made-up requests to a running daemon on the simulated farm: before it has users, and with a token of a viewer."""

import asyncio
from collections import Counter
from pathlib import Path
from typing import Any

import httpx
import pytest
import schemathesis
from schemathesis import Case

from console.facts import Facts
from gaugehouse.cli import main
from tests.console.examples import ASKED, ask
from tests.console.fuzzing import BOTH, CHECKS, operations, pelt
from tests.gaugehouse.farms import running

PASSWORD = "a long enough password"
HERE = {"ostler-n": "north", "ostler-s": "north", "harrowmead": "north"}
"""A tank of this farm for those that the examples speak of."""
READS_BY_POST = ("/api/dips/verdict",)
"""A question with a body: it writes nothing down, and whoever may look may ask it."""


def fuzz(document: dict[str, Any], url: str, examples: int, headers: dict[str, str]) -> Counter[int]:
    """In a thread of its own: the daemon answers in the loop meanwhile."""
    statuses: Counter[int] = Counter()

    def send(case: Case) -> None:
        answer = case.call(base_url=url, headers=headers)
        statuses[answer.status_code] += 1
        case.validate_response(answer, checks=CHECKS)

    for operation in operations(schemathesis.openapi.from_dict(document)):
        pelt(operation, send, examples=examples, modes=BOTH)
    return statuses


async def book_of(facts: Facts) -> list[str]:
    """What people did, by the record book; who came in and who was made is not told."""
    rows = await facts.record_rows(None, 0, 10**14, 5000)
    acts = [row for row in rows if row["body"].get("by") not in (None, "", "root") and row["kind"] != "sign_in"]
    return [f"{row['n']} {row['kind']}" for row in acts]


def asked_here(one: dict[str, Any], instrument: str) -> dict[str, Any]:
    """An example's request, of this farm's tank and loop, under the name of whoever is signed in."""
    path = {name: HERE.get(value, value) for name, value in one["path"].items()}
    path |= {name: value for name, value in (("instrument", instrument), ("alarm", "north.high")) if name in path}
    body = {name: HERE.get(value, value) if name == "tank" else value for name, value in one["body"].items()}
    body.pop("by", None)
    return {**one, "path": path, "body": body}


async def campaign(tmp_path: Path, examples: int) -> None:
    password = tmp_path / "password"
    password.write_text(PASSWORD + "\n")
    folder = tmp_path / "farm"
    folder.mkdir()
    async with running(folder) as farm:
        await farm.until(lambda live: all(tank["age_s"] is not None for tank in live["tanks"]))
        url = farm.daemon.url.rstrip("/")
        facts = farm.daemon.facts
        assert facts is not None
        async with httpx.AsyncClient(base_url=url, timeout=60) as client:
            document = (await client.get("/api/openapi.json")).json()
            instrument = facts.tank_facts("north")["instrument"]
            before = await asyncio.to_thread(fuzz, document, url, examples, {})
            assert {200, 404, 422} <= set(before)
            more = ["--password-file", str(password), "--by", "root"]
            reset = await client.post("/api/tanks/north/extremes/reset", json={"by": "Ada"})
            assert reset.status_code == 200
            for name, role in (("Ana", "administrator"), ("Ben", "viewer")):
                assert (
                    await asyncio.to_thread(main, ["user", str(farm.site.path), "add", name, "--role", role, *more])
                    == 0
                )
            done = await book_of(facts)
            assert done, "before there are users, whoever stands at the machine acts"
            assert (await client.post("/sign-in", data={"name": "Ben", "password": PASSWORD})).status_code == 303
            cookie = {"Cookie": f"gaugehouse={client.cookies['gaugehouse']}"}
            after = await asyncio.to_thread(fuzz, document, url, examples, cookie)
            assert {200, 403, 422} <= set(after)
            told = Counter[int]()
            for one in ASKED:
                if one.get("body"):
                    answer = await ask(client, asked_here(one, instrument))
                    told[answer.status_code] += 1
                    assert answer.status_code != 200 or one["name"].endswith(READS_BY_POST), one["name"]
                    assert answer.status_code < 500, (one["name"], answer.text)
            assert told[403] > 40, told
            assert await book_of(facts) == done, "a viewer changes nothing"


@pytest.mark.timeout(480)
async def test_a_running_daemon_answers_as_described_and_a_viewer_changes_nothing(tmp_path: Path) -> None:
    await campaign(tmp_path, 1)


@pytest.mark.soak
async def test_a_running_daemon_answers_many_as_described(tmp_path: Path) -> None:
    await campaign(tmp_path, 40)
