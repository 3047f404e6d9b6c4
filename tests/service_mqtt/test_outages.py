"""A real broker that is killed, hangs or was never there: no alarm message is lost, and they come in order."""

import asyncio
import contextlib
import logging
from collections.abc import AsyncIterator, Callable
from dataclasses import replace
from functools import partial
from pathlib import Path

import pytest

from collector.mqtt_broker import Broker
from collector.mqtt_link import MqttLink
from collector.mqtt_messages import Connect, Message, PublishCounters
from gaugehouse.publishing import CURSOR, Publishing, broker_of
from models.reading import Quality, Reading, Reason
from tests.ports import free_port
from tests.service_mqtt.books import T0_MS, Farm, farm
from tests.service_mqtt.brokers import Listener, listening, mosquitto, stopped

pytestmark = pytest.mark.service


@contextlib.asynccontextmanager
async def going(publishing: Publishing) -> AsyncIterator[None]:
    """The publisher runs for the block and is stopped as the daemon stops it."""
    async with asyncio.TaskGroup() as group:
        task = group.create_task(publishing.run())
        try:
            yield
        finally:
            publishing.stop()
            await asyncio.wait({task}, timeout=30)
            task.cancel()


async def until_counted(publishing: Publishing, done: Callable[[PublishCounters], bool], seconds: float = 40.0) -> None:
    async with asyncio.timeout(seconds):
        while not done(publishing.counters()):
            await asyncio.sleep(0.01)


def numbers(listener: Listener) -> list[int]:
    return [message.json["n"] for message in listener.of("alarm")]


def first_times(ns: list[int]) -> list[int]:
    """The numbers in the order in which they came first."""
    return list(dict.fromkeys(ns))


def reading(level_m: float, k: int = 0) -> Reading:
    return Reading(k + 1, T0_MS + 1_000 * k, "palm", Quality.GOOD, Reason.NONE, level_m=level_m)


async def test_each_transition_is_told_once_in_order_and_the_last_state_is_retained(tmp_path: Path) -> None:
    async with mosquitto(tmp_path) as broker, farm(tmp_path / "site", broker.port) as site:
        async with site.published() as publishing, going(publishing), listening(broker.port) as listener:
            await listener.until(lambda heard: any(m.payload == "online" for m in heard))
            for _ in range(7):
                await site.write()
            await listener.until(lambda _: len(listener.of("alarm")) == 7)
            assert numbers(listener) == [1, 2, 3, 4, 5, 6, 7]
            assert {m.qos for m in listener.of("alarm")} == {1}
            async with listening(broker.port) as late:
                await late.until(lambda _: late.of("alarm") and late.of("status"))
                assert numbers(late) == [7]
                assert late.last("status").payload == "online"
                assert all(m.retained for m in late.heard)
        async with listening(broker.port) as after:
            await after.until(lambda _: after.of("status"))
            assert after.last("status").payload == "offline"
            assert site.book.state()[CURSOR] == "7"


async def test_a_broker_killed_and_back_gets_every_alarm_in_order(
    tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    caplog.set_level(logging.INFO)
    gate = asyncio.Event()
    gate.set()
    async with mosquitto(tmp_path) as broker, farm(tmp_path / "site", broker.port) as site:
        async with site.published(gated(site, gate)) as publishing, going(publishing):
            async with listening(broker.port) as before:
                await site.write(30)
                await before.until(lambda _: len(before.of("alarm")) >= 30)
                await until_counted(publishing, lambda c: c.waiting_alarms == 0)
            broker.kill()
            gate.clear()
            await site.write(30)
            await until_counted(publishing, lambda c: not c.connected)
            await site.write(30)
            gate.set()
            await until_counted(publishing, lambda c: c.failures >= 3)
            assert publishing.counters().waiting_alarms == 60
            gate.clear()
            await broker.start()
            async with listening(broker.port) as after:
                gate.set()
                await after.until(lambda _: 90 in numbers(after))
            assert first_times(numbers(before) + numbers(after)) == list(range(1, 91))
            await until_counted(publishing, lambda c: c.waiting_alarms == 0)
    lost = [r.getMessage() for r in caplog.records if r.levelno >= logging.WARNING]
    assert len(lost) <= 3, lost  # the loss, then the refusal: not one for each try
    assert not [r for r in caplog.records if r.name == "asyncio" and r.levelno >= logging.ERROR]
    assert any("connected after" in r.getMessage() for r in caplog.records)


def gated(site: Farm, gate: asyncio.Event) -> Connect:
    """Connects only while the gate is open, so that a listener can be there first."""
    assert site.site.mqtt is not None
    broker: Broker = broker_of(site.site, site.site.mqtt)

    async def connect(will: Message) -> MqttLink:
        await gate.wait()
        return await MqttLink.open(broker, will)

    return connect


@pytest.mark.usefixtures("steady")
async def test_a_hung_broker_holds_nobody_and_gets_everything_when_it_goes_on(tmp_path: Path) -> None:
    async with mosquitto(tmp_path) as broker, farm(tmp_path / "site", broker.port) as site:
        async with site.published(impatient(site)) as publishing, going(publishing), listening(broker.port) as listener:
            await site.write(3)
            await listener.until(lambda _: len(listener.of("alarm")) >= 3)
            await until_counted(publishing, lambda c: c.waiting_alarms == 0)
            with stopped(broker):
                begun = asyncio.get_running_loop().time()
                for k in range(500):
                    publishing.tell([reading(5.0 + k / 1000, k)], 0)
                await site.write(5)
                assert asyncio.get_running_loop().time() - begun < 0.5
                await until_counted(publishing, lambda c: c.failures >= 2)
                assert publishing.counters().waiting_alarms == 5
                assert publishing.counters().waiting_readings == 1
                assert "does not answer" in publishing.counters().last_error
            await listener.until(lambda _: 8 in numbers(listener) and listener.of("tank"))
            await listener.until(lambda _: listener.last("tank/palm").json["level_m"] == 5.499)
            assert first_times(numbers(listener)) == list(range(1, 9))
            await until_counted(publishing, lambda c: c.connected and c.waiting_alarms == 0)


def impatient(site: Farm) -> Connect:
    assert site.site.mqtt is not None
    return partial(MqttLink.open, replace(broker_of(site.site, site.site.mqtt), timeout_s=0.5))


async def test_an_hour_without_a_broker_and_a_restart_in_the_middle_lose_nothing(tmp_path: Path) -> None:
    """3600 transitions, one a second, told to nobody; the daemon is started anew after half of them."""
    port = free_port()
    async with farm(tmp_path / "site", port) as site:
        for _ in range(2):
            async with site.published() as publishing, going(publishing):
                for _ in range(9):
                    await site.write(200)
                await until_counted(publishing, lambda c: c.failures >= 2)
                assert publishing.counters().acknowledged == 0
        async with mosquitto(tmp_path) as broker, listening(broker.port) as listener:
            site.move_broker(broker.port)
            async with site.published() as publishing, going(publishing):
                assert publishing.counters().waiting_alarms == 3600
                await listener.until(lambda heard: len(heard) >= 3601, 60)
                assert first_times(numbers(listener)) == list(range(1, 3601))
            assert site.book.state()[CURSOR] == "3600"
            assert len(numbers(listener)) == 3600, "a broker that stays is told each once"
