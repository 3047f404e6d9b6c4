"""Marked secrets in every place that takes one, and then a look at all that the house says: none of them is there."""

import asyncio
import io
import json
import logging
import tarfile
import traceback
from contextlib import redirect_stderr, redirect_stdout
from pathlib import Path

import httpx
import pytest

from gaugehouse.backup import take
from gaugehouse.cli import main
from tests.gaugehouse.farms import running
from tests.ports import free_port

MQTT = "mqtt-s3cret-8101"
HOOK = "hook-s3cret-8102"
BEARER = "bearer-s3cret-8103"
SERIES = "series-s3cret-8104"
PASSWORD = "person-s3cret-8105"
SECRETS = (MQTT, HOOK, BEARER, SERIES, PASSWORD)


def more(folder: Path) -> str:
    """Everything that takes a secret; nobody listens at any of these ports, so each of them fails."""
    folder.mkdir(exist_ok=True)
    (folder / "hook-address").write_text(f"http://127.0.0.1:{free_port()}/{HOOK}\n", encoding="utf-8")
    return f"""
[mqtt]
host = "127.0.0.1"
port = {free_port()}
username = "farm"
password_env = "TEST_MQTT_PASSWORD"

[[notify]]
id = "hook"
kind = "webhook"
url_file = "hook-address"
token_env = "TEST_HOOK_TOKEN"

[[store.server]]
id = "series"
url = "http://127.0.0.1:{free_port()}"
bucket = "fuel"
token_env = "TEST_SERIES_TOKEN"
"""


def pages_of(openapi: dict[str, object]) -> list[str]:
    """Every address without a part that varies; of those that have one, the tank north and its loop."""
    paths = openapi["paths"]
    assert isinstance(paths, dict)
    out = []
    for path, methods in paths.items():
        if "get" in methods:
            filled = (
                path.replace("{tank}", "north").replace("{instrument}", "north_gauge").replace("{alarm}", "north.high")
            )
            if "{" not in filled:
                out.append(filled)
    return [*out, "/", "/alarms", "/loops", "/stock", "/tank/north", "/sign-in", "/metrics"]


@pytest.mark.timeout(120)
async def test_no_secret_is_in_a_log_a_page_an_error_the_record_book_or_a_backup(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    monkeypatch.setenv("TEST_MQTT_PASSWORD", MQTT)
    monkeypatch.setenv("TEST_HOOK_TOKEN", BEARER)
    monkeypatch.setenv("TEST_SERIES_TOKEN", SERIES)
    caplog.set_level(logging.DEBUG)
    farm, said = tmp_path / "farm", io.StringIO()
    (tmp_path / "password").write_text(PASSWORD + "\n", encoding="utf-8")
    shown: dict[str, str] = {}
    async with running(farm, more=more(farm)) as run:
        site = run.site
        facts = run.daemon.facts
        assert facts is not None
        await run.until(lambda live: live["seq"] > 6 and bool(live["alarms"]), 60)
        await run.until(lambda live: bool(facts.channels()) and bool(facts.servers()))
        async with httpx.AsyncClient(base_url=run.daemon.url, timeout=30) as client:
            description = (await client.get("/api/openapi.json")).json()
            shown["openapi"] = json.dumps(description)
            for path in pages_of(description):
                answer = await client.get(path)
                assert answer.status_code < 500, (path, answer.text[:300])
                shown[path] = answer.text + str(answer.headers)
            with redirect_stdout(said), redirect_stderr(said):
                words = ["user", str(site.path), "add", "Ana", "--by", "Ben", "--role", "administrator"]
                status = await asyncio.to_thread(main, [*words, "--password-file", str(tmp_path / "password")])
            assert status == 0, said.getvalue()
            wrong = await client.post("/sign-in", data={"name": "Ana", "password": PASSWORD + "x", "then": "/"})
            right = await client.post("/sign-in", data={"name": "Ana", "password": PASSWORD, "then": "/"})
            shown["wrong password"], shown["right password"] = wrong.text, right.text + str(right.headers)
            assert (wrong.status_code, right.status_code) == (401, 303)
            session = right.headers["set-cookie"].split(";")[0].partition("=")[2]
            shown["records"] = (await client.get("/api/records")).text
        asyncio.get_running_loop()
        await asyncio.to_thread(take, site, tmp_path / "backup.tar.gz", run.clock.now_ms())
    with redirect_stdout(said), redirect_stderr(said):
        for words in (
            ["check", str(site.path)],
            ["notify", str(site.path), "--test", "hook"],
            ["records", str(site.path)],
        ):
            main(words)
    shown["commands"] = said.getvalue()
    shown["log"] = caplog.text + "".join(
        "".join(traceback.format_exception(*record.exc_info)) for record in caplog.records if record.exc_info
    )
    assert "hook" in shown["/api/notify"], "the channel is shown, and that it fails"
    assert "series" in shown["/api/servers"]
    for secret in SECRETS:
        found = [where for where, text in shown.items() if secret in text]
        assert not found, (secret, found)
    kept = [path for path in site.store_path.rglob("*") if path.is_file()]
    assert any(path.name == "records.sqlite" for path in kept)
    for path in kept:
        data = path.read_bytes()
        assert not [secret for secret in (*SECRETS, session) if secret.encode() in data], path
    with tarfile.open(tmp_path / "backup.tar.gz") as archive:
        for member in archive.getmembers():
            file = archive.extractfile(member)
            data = b"" if file is None else file.read()
            assert not [secret for secret in (*SECRETS, session) if secret.encode() in data], member.name


@pytest.mark.timeout(90)
async def test_the_search_would_find_one(tmp_path: Path, caplog: pytest.LogCaptureFixture) -> None:
    """A secret that is planted where it does no harm, an operator's name, is found in page and file."""
    async with running(tmp_path) as run, httpx.AsyncClient(base_url=run.daemon.url, timeout=30) as client:
        await run.until(lambda live: live["seq"] > 2)
        acted = await client.post("/api/tanks/north/extremes/reset", json={"by": PASSWORD})
        assert acted.status_code == 200
        assert PASSWORD in (await client.get("/api/records")).text
        site = run.site
    assert any(PASSWORD.encode() in path.read_bytes() for path in site.store_path.rglob("*") if path.is_file())
