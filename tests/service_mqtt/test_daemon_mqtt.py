"""The whole daemon and a real broker: the simulated farm's figures, and what the broker says when the daemon dies."""

import asyncio
import os
import signal
import sys
from dataclasses import replace
from pathlib import Path

import pytest

from collector.mqtt_link import MqttLink
from gaugehouse.records import alarm_rows
from gaugehouse.rows import ALARM_COLUMNS
from gaugehouse.site import MqttSpec, Site, load_site
from gaugehouse.stores import look_into_book
from models.reading import READING_COLUMNS
from tests.gaugehouse import farms
from tests.gaugehouse.sites import LOOP_SITE
from tests.ports import free_port
from tests.service_mqtt.brokers import Listener, listening, mosquitto, stopped

pytestmark = pytest.mark.service

ROOT = Path(__file__).resolve().parents[2]
RUN = "import sys; from gaugehouse.cli import main; sys.exit(main(['run', sys.argv[1]]))"


def through(monkeypatch: pytest.MonkeyPatch, port: int) -> None:
    """The farm's site file with this broker in it."""

    def load(path: Path) -> Site:
        return replace(load_site(path), mqtt=MqttSpec("127.0.0.1", port, interval_ms=1_000))

    monkeypatch.setattr(farms, "load_site", load)


@pytest.mark.timeout(150)
async def test_the_daemon_tells_readings_and_every_alarm_and_takes_leave(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    left: list[MqttLink] = []
    close = MqttLink.close

    async def noted(link: MqttLink) -> None:
        left.append(link)
        await close(link)

    monkeypatch.setattr(MqttLink, "close", noted)
    async with mosquitto(tmp_path) as broker, listening(broker.port) as listener:
        through(monkeypatch, broker.port)
        async with farms.running(tmp_path / "farm", speed=120.0) as run:
            tanks = {tank.id for tank in run.site.tanks}
            await run.until(lambda live: len(live["alarms"]) >= 2)
            await listener.until(lambda _: {m.topic.split("/")[-1] for m in listener.of("tank")} == tanks)
            publishing = run.daemon.publishing
            assert publishing is not None
            with stopped(broker):
                facts = run.daemon.facts
                assert facts is not None
                before = facts.live()
                alarm = next(a for a in before["alarms"] if a["state"] == "unacknowledged")
                await facts.acknowledge(alarm["id"], alarm["occurrence"], "Ana", "seen")
                assert publishing.counters().waiting_alarms >= 1
                await run.until(lambda live: live["seq"] >= before["seq"] + 3 and live["time"] > before["time"], 8)
            async with asyncio.timeout(40):
                while publishing.counters().waiting_alarms:  # what waited does not depend on the bound of the leave
                    await asyncio.sleep(0.01)
            site = run.site
        await listener.until(lambda _: listener.of("status")[-1].payload == "offline")
        with look_into_book(site) as book:
            written = [(row["time"], row["id"], row["event"], row["state"]) for row in alarm_rows(book)]
        counters = publishing.counters()
        assert len(left) == 1, "the daemon took leave"
        assert (counters.waiting_alarms, counters.refused, counters.connections) == (0, 0, 1)
        # By number: what stands when the connection comes about is told once more, a moment after the outbox told it.
        heard = list({m.json["n"]: m.json for m in listener.of("alarm")}.values())
        assert [(a["time"], a["id"], a["event"], a["state"]) for a in heard] == written
        assert len(written) >= 2
        assert [(a["id"], a["by"], a["comment"]) for a in heard if a["event"] == "acknowledged"] == [
            (alarm["id"], "Ana", "seen")
        ]
        assert all(a["simulated"] is True and set(ALARM_COLUMNS) <= set(a) for a in heard)
        readings = [m.json for m in listener.of("tank")]
        assert all(list(r) == [*READING_COLUMNS, "simulated"] and r["time"] and r["quality"] for r in readings)
        async with listening(broker.port) as late:
            latest = {a["id"]: a["state"] for a in heard}
            whole = len(tanks), 1, len(latest)
            await late.until(lambda _: tuple(len(late.of(part)) for part in ("tank", "status", "alarm")) == whole)
            assert all(m.retained for m in late.heard)
            assert {m.json["id"]: m.json["state"] for m in late.of("alarm")} == latest


@pytest.mark.timeout(120)
async def test_a_daemon_killed_at_once_is_offline_and_tells_at_its_next_start_what_it_could_not(tmp_path: Path) -> None:
    """kill -9: the broker publishes the last will. An alarm written while the broker hung is not lost."""
    async with mosquitto(tmp_path) as broker, listening(broker.port) as listener:
        site = silent_site(tmp_path, broker.port)
        first = await started(site)
        try:
            await listener.until(lambda _: listener.of("status"))
            assert listener.of("status")[-1].payload == "online"
            await listener.until(lambda _: listener.of("tank"))
            assert listener.last("tank/palm").json["quality"] == "Bad"
            with stopped(broker):
                await alarm_written(site)
                first.send_signal(signal.SIGKILL)
                await first.wait()
            await listener.until(lambda _: listener.of("status")[-1].payload == "offline")
            async with listening(broker.port) as late:
                await late.until(lambda _: late.of("status"))
                assert (late.last("status").payload, late.last("status").retained) == ("offline", True)
            second = await started(site)
            try:
                await listener.until(lambda _: alarms_since_birth(listener))
                assert alarms_since_birth(listener)[0] == ("palm-top.no_answer", "raised")
            finally:
                second.send_signal(signal.SIGTERM)
                assert await asyncio.wait_for(second.wait(), 30) == 0
            await listener.until(lambda _: listener.of("status")[-1].payload == "offline")
        finally:
            if first.returncode is None:
                first.kill()
                await first.wait()


def alarms_since_birth(listener: Listener) -> list[tuple[str, str]]:
    """What was told of alarms after the second daemon came up."""
    births = [k for k, message in enumerate(listener.heard) if message.payload == "online"]
    since = listener.heard[births[1] :] if len(births) > 1 else []
    return [(m.json["id"], m.json["event"]) for m in since if "/alarm/" in m.topic]


def silent_site(folder: Path, port: int) -> Path:
    """One tank whose instrument never answers, so that one alarm is sure to come."""
    text = LOOP_SITE.format(port=free_port(), period="700 ms").replace(
        "[[bus]]", f'[console]\nport = 0\n\n[mqtt]\nhost = "127.0.0.1"\nport = {port}\n\n[[bus]]', 1
    )
    path = folder / "site.toml"
    path.write_text(text, encoding="utf-8")
    return path


async def started(site: Path) -> asyncio.subprocess.Process:
    return await asyncio.create_subprocess_exec(
        sys.executable, "-c", RUN, str(site), cwd=ROOT, env={**os.environ, "PYTHONPATH": str(ROOT)},
        stdout=asyncio.subprocess.DEVNULL, stderr=asyncio.subprocess.DEVNULL,
    )  # fmt: skip


async def alarm_written(site: Path) -> None:
    """Until an alarm stands in the record book."""
    loaded = load_site(site)
    async with asyncio.timeout(30):
        while True:
            with look_into_book(loaded) as book:
                if alarm_rows(book):
                    return
            await asyncio.sleep(0.05)
