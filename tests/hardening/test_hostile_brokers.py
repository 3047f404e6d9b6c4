"""Brokers that send garbage, refuse us for ever or promise endless packets: tried again, told in words, no secret."""

import asyncio
import contextlib
import logging
from collections.abc import AsyncIterator, Awaitable, Callable
from functools import partial

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from collector.mqtt_broker import Broker, BrokerTrouble
from collector.mqtt_link import MqttLink
from collector.mqtt_messages import Message, Topics
from collector.publish import Publisher
from tests.service_mqtt.imagined import PACE, Memory, reading

pytestmark = pytest.mark.timeout(90)

SECRET = "broker-s3cret-8201"
ACCEPTED = bytes((0x20, 3, 0, 0, 0))
"""CONNACK, success, no properties. Source: MQTT 5.0, 3.2."""
REFUSED = bytes((0x20, 3, 0, 0x87, 0))
"""CONNACK, 0x87 not authorized. Source: MQTT 5.0, 3.2.2.2."""

Answering = Callable[[asyncio.StreamReader, asyncio.StreamWriter], Awaitable[None]]


@contextlib.asynccontextmanager
async def hostile(answering: Answering) -> AsyncIterator[int]:
    talking: set[asyncio.Task[None]] = set()

    async def called(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        talking.add(asyncio.current_task())  # type: ignore[arg-type]
        with contextlib.suppress(ConnectionError, asyncio.CancelledError):
            await answering(reader, writer)
        writer.close()

    server = await asyncio.start_server(called, "127.0.0.1", 0)
    try:
        yield server.sockets[0].getsockname()[1]
    finally:
        server.close()
        if talking:
            await asyncio.wait(talking, timeout=10)


@contextlib.asynccontextmanager
async def publishing(port: int, outbox: Memory) -> AsyncIterator[Publisher]:
    broker = Broker("127.0.0.1", port, "gaugehouse-test", None, "farm", lambda: SECRET)
    publisher = Publisher(
        Topics("test"), partial(MqttLink.open, broker), outbox, lambda one: b"x", cursor=0, waiting=3, pace=PACE
    )
    task = asyncio.create_task(publisher.run())
    try:
        yield publisher
    finally:
        publisher.stop()
        async with asyncio.timeout(20):
            await task


async def until(done: Callable[[], object]) -> None:
    async with asyncio.timeout(40):
        while not done():
            await asyncio.sleep(0.01)


def saying(*pieces: bytes) -> Answering:
    async def answer(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        await reader.read(1000)
        for piece in pieces:
            writer.write(piece)
            await writer.drain()
        await asyncio.sleep(0.2)

    return answer


@pytest.mark.parametrize(
    "pieces",
    [
        (b"HTTP/1.1 400 Bad Request\r\n\r\n",),
        (bytes(range(256)),),
        (REFUSED,),
        (ACCEPTED, b"\xf0\xff\xff\xff\xff\xff"),
        (ACCEPTED, bytes((0x40, 2, 0, 99))),  # an acknowledgement of what was never sent
        (ACCEPTED, bytes((0x30, 0xFF, 0xFF, 0xFF, 0x7F)), b"\x00\x05abcde"),  # a message of 256 MB begins
        (ACCEPTED, bytes((0xE0, 2, 0x8E, 0))),  # DISCONNECT, session taken over
        (),
    ],
    ids=[
        "http",
        "any byte",
        "refused",
        "a length of no end",
        "a strange acknowledgement",
        "huge",
        "thrown out",
        "mute",
    ],
)
async def test_a_hostile_broker_costs_nothing_but_what_it_was_to_be_told(
    pieces: tuple[bytes, ...], caplog: pytest.LogCaptureFixture
) -> None:
    caplog.set_level(logging.DEBUG)
    outbox = Memory(3)
    async with hostile(saying(*pieces)) as port, publishing(port, outbox) as publisher:
        await until(lambda: publisher.counters().failures >= 3)
        for k in range(1000):
            publisher.offer([reading(k / 1000)])
        counted = publisher.counters()
        assert counted.waiting_alarms == 3, "none counts as told"
        assert counted.waiting_readings <= 1
        assert counted.last_error
        assert SECRET not in counted.last_error
    assert SECRET not in caplog.text
    assert publisher.cursor == 0


async def _campaign(examples: int) -> None:
    said: list[bytes] = [b""]

    async def answer(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        await reader.read(1000)
        writer.write(said[0])
        await writer.drain()

    async with hostile(answer) as port:
        loop = asyncio.get_running_loop()
        broker = Broker("127.0.0.1", port, "gaugehouse-test", None, "farm", lambda: SECRET)

        async def one() -> None:
            try:
                link = await MqttLink.open(broker, Message("gaugehouse/test/status", b"offline"))
            except BrokerTrouble as error:
                assert SECRET not in str(error)  # noqa: PT017
                return
            with contextlib.suppress(BrokerTrouble):
                async with asyncio.timeout(5):
                    await link.lost()
            await link.drop()

        @given(st.binary(max_size=60), st.booleans())
        @settings(max_examples=examples, suppress_health_check=list(HealthCheck), derandomize=True)
        def fed(garbage: bytes, welcome: bool) -> None:
            said[0] = (ACCEPTED if welcome else b"") + garbage
            asyncio.run_coroutine_threadsafe(one(), loop).result(30)

        await asyncio.to_thread(fed)


async def test_any_bytes_of_a_broker_are_trouble_in_words() -> None:
    await _campaign(40)


@pytest.mark.soak
@pytest.mark.timeout(0)
async def test_many_bytes_of_a_broker_are_trouble_in_words() -> None:
    await _campaign(10_000)
