"""Names that nobody resolves any more, of gauges, broker, hook and server: said, nothing lost, and it mends itself."""

import asyncio
import logging
import socket
from collections.abc import Callable
from pathlib import Path
from typing import Any

import httpx
import pytest

from gaugehouse.stores import look_into_book
from tests.gaugehouse.farms import Running, running
from tests.gaugehouse.test_servers import stored, taken
from tests.history.scripted import scripted
from tests.ports import free_port
from tests.service_mqtt.brokers import mosquitto
from tests.service_notify.outside import hook

PLAIN = socket.getaddrinfo


class Names:
    """The resolver of this process: it knows the farm's names, or nothing."""

    def __init__(self, patch: pytest.MonkeyPatch) -> None:
        self.gone = False
        self.asked: set[str] = set()
        patch.setattr(socket, "getaddrinfo", self.resolve)

    def resolve(self, host: Any, *args: Any, **options: Any) -> Any:
        name = host.decode() if isinstance(host, bytes) else str(host)
        if not name.endswith(".farm.test"):
            return PLAIN(host, *args, **options)
        self.asked.add(name)
        if self.gone:
            raise socket.gaierror(socket.EAI_AGAIN, "Temporary failure in name resolution")
        return PLAIN("127.0.0.1", *args, **options)


def site_more(port: int, hook_port: int, server_port: int) -> str:
    return f"""
[mqtt]
host = "broker.farm.test"
port = {port}

[[notify]]
id = "hook"
kind = "webhook"
url = "http://hook.farm.test:{hook_port}/x"

[[store.server]]
id = "archive"
url = "http://archive.farm.test:{server_port}"
bucket = "tanks"
"""


def told(run: Running) -> dict[str, Any]:
    """The server as the pages show it."""
    assert run.daemon.facts is not None
    return run.daemon.facts.servers()[0]


async def until(what: Callable[[], object], seconds: float = 60) -> None:
    async with asyncio.timeout(seconds):
        while not what():
            await asyncio.sleep(0.1)


@pytest.mark.timeout(300)
async def test_what_is_reached_by_name_is_reached_again_when_the_name_is_back(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    caplog.set_level(logging.INFO)
    names = Names(monkeypatch)
    names.gone = True
    (tmp_path / "broker").mkdir()
    (tmp_path / "hook").mkdir()

    def by_name(text: str) -> str:
        return text.replace('kind = "tcp"\nhost = "127.0.0.1"', 'kind = "tcp"\nhost = "gauges.farm.test"')

    async with mosquitto(tmp_path / "broker") as broker:
        outside = hook(tmp_path / "hook")
        outside.start()
        port = free_port()
        try:
            async with (
                running(tmp_path / "farm", edit=by_name, more=site_more(broker.port, outside.port, port)) as run,
                httpx.AsyncClient(base_url=run.daemon.url, timeout=20) as client,
            ):
                facts = run.daemon.facts
                assert facts is not None
                await run.until(lambda live: any(one["id"].endswith("no_answer") for one in live["alarms"]), 60)
                assert (await client.get("healthz")).status_code == 200, "the daemon itself does its work"
                await until(lambda: len(names.asked) == 4, 30)
                assert any("gauges.farm.test" in line for line in caplog.messages), "the name is told"
                assert any("broker.farm.test" in line for line in caplog.messages)
                buses = facts.live()["buses"]
                assert all("gauges.farm.test" in str(one) for one in buses)
                await until(lambda: "archive.farm.test" in str(told(run)["failure"]))
                publishing = run.daemon.publishing
                assert publishing is not None
                with scripted(port) as archive:
                    names.gone = False
                    await run.until(
                        lambda live: live["tanks"][0]["age_s"] is not None and live["tanks"][0]["quality"] != "Bad", 60
                    )
                    await until(lambda: publishing.counters().connected)
                    await until(lambda: not publishing.counters().waiting_alarms)
                    await until(lambda: outside.taken)
                    await until(lambda: len(taken(archive)) > 20 and not told(run)["failure"])
                names.gone = True  # and once more, while all of it is in use
                broker.kill()
                await until(lambda: not publishing.counters().connected)
                await until(lambda: "archive.farm.test" in str(told(run)["failure"]))
                await broker.start()
                with scripted(port) as again:
                    names.gone = False
                    await until(lambda: publishing.counters().connected)
                    await until(lambda: len(taken(again)) > 20 and not told(run)["failure"])
                site = run.site
        finally:
            outside.kill()
    there = taken(archive) | taken(again)
    newest = max(seq for _, seq in taken(again))
    assert {one for one in stored(site) if one[1] <= newest} == there, "what was missed meanwhile has followed"
    with look_into_book(site) as book:
        assert book.verify().unbroken
