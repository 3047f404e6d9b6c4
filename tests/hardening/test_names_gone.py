"""Names that nobody resolves any more, of gauges, broker and hook: it is said, nothing is lost, and it mends itself."""

import asyncio
import logging
import socket
from pathlib import Path
from typing import Any

import httpx
import pytest

from gaugehouse.stores import look_into_book
from tests.gaugehouse.farms import running
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


def site_more(port: int, hook_port: int) -> str:
    return f"""
[mqtt]
host = "broker.farm.test"
port = {port}

[[notify]]
id = "hook"
kind = "webhook"
url = "http://hook.farm.test:{hook_port}/x"
"""


@pytest.mark.timeout(150)
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
        try:
            async with (
                running(tmp_path / "farm", edit=by_name, more=site_more(broker.port, outside.port)) as run,
                httpx.AsyncClient(base_url=run.daemon.url, timeout=20) as client,
            ):
                facts = run.daemon.facts
                assert facts is not None
                await run.until(lambda live: any(one["id"].endswith("no_answer") for one in live["alarms"]), 60)
                assert (await client.get("healthz")).status_code == 200, "the daemon itself does its work"
                async with asyncio.timeout(30):
                    while len(names.asked) < 3:
                        await asyncio.sleep(0.1)
                assert any("gauges.farm.test" in line for line in caplog.messages), "the name is told"
                assert any("broker.farm.test" in line for line in caplog.messages)
                buses = facts.live()["buses"]
                assert all("gauges.farm.test" in str(one) for one in buses)
                names.gone = False
                await run.until(
                    lambda live: all(one["age_s"] is not None and one["quality"] != "Bad" for one in live["tanks"][:1]),
                    60,
                )
                async with asyncio.timeout(60):
                    while run.daemon.publishing is None or not run.daemon.publishing.counters().connected:
                        await asyncio.sleep(0.1)
                    while run.daemon.publishing.counters().waiting_alarms:
                        await asyncio.sleep(0.1)
                    while not outside.taken:
                        await asyncio.sleep(0.1)
                site = run.site
        finally:
            outside.kill()
    with look_into_book(site) as book:
        assert book.verify().unbroken
