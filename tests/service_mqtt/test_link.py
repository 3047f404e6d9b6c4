"""One connection against a real broker: who may come in, what is refused, and in which words it is said."""

import asyncio
import contextlib
import gc
import logging
import os
import select
import subprocess
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.reasoncodes import ReasonCode

from collector.mqtt_broker import Broker, BrokerRefuses, BrokerTrouble, Tls, reason_words
from collector.mqtt_link import MqttLink
from collector.mqtt_messages import Message
from gaugehouse.errors import CallError
from tests.ports import free_port
from tests.service_mqtt.brokers import Papers, listening, mosquitto, papers, stopped
from tests.services import need

pytestmark = pytest.mark.service

WILL = Message("gaugehouse/test/status", b"offline")
HELLO = Message("gaugehouse/test/status", b"online")


@pytest.fixture(scope="module")
def certificates(tmp_path_factory: pytest.TempPathFactory) -> Papers:
    return papers(tmp_path_factory.mktemp("papers"))


@pytest.fixture(autouse=True)
def _nothing_behind_our_back(caplog: pytest.LogCaptureFixture) -> Iterator[None]:
    """Neither the loop nor the library complains: what goes wrong comes out as an exception, once."""
    caplog.set_level(logging.WARNING)
    yield
    gc.collect()  # an exception that nobody asked for is told when its future is thrown away
    records = [*caplog.get_records("call"), *caplog.get_records("teardown")]
    assert [r.getMessage() for r in records if r.name.startswith(("asyncio", "mqtt", "collector"))] == []


def to(port: int, **settings: object) -> Broker:
    broker = Broker("localhost", port, "gaugehouse-test", timeout_s=20.0)
    return replace(broker, **settings)  # type: ignore[arg-type]


async def refused(broker: Broker) -> str:
    with pytest.raises(BrokerTrouble) as caught:
        await MqttLink.open(broker, WILL)
    return str(caught.value)


@pytest.mark.parametrize("protocol", ["5", "3.1.1"])
async def test_a_link_publishes_with_the_right_certificate(tmp_path: Path, certificates: Papers, protocol: str) -> None:
    async with mosquitto(tmp_path, *certificates.lines("allow_anonymous true")) as broker:
        link = await MqttLink.open(to(broker.port, tls=Tls(certificates.ca), protocol=protocol), WILL)
        await link.publish(HELLO)
        options = ("--cafile", str(certificates.ca), "-h", "localhost")
        async with listening(broker.port, *options) as listener:
            await listener.until(lambda _: listener.of("status"))
            assert listener.heard[0].payload == "online"
            await link.close()


async def test_a_certificate_of_a_stranger_is_not_accepted(tmp_path: Path, certificates: Papers) -> None:
    async with mosquitto(tmp_path, *certificates.lines("allow_anonymous true")) as broker:
        words = await refused(to(broker.port, tls=Tls(certificates.other_ca)))
        assert "its certificate is not accepted" in words
        assert "see ca and host in [mqtt]" in words
        assert "certificate" in await refused(to(broker.port, tls=Tls()))  # the system's authorities do not sign it


async def test_a_certificate_for_another_host_is_not_accepted(tmp_path: Path, certificates: Papers) -> None:
    async with mosquitto(tmp_path, *certificates.lines("allow_anonymous true")) as broker:
        words = await refused(to(broker.port, host="127.0.0.1", tls=Tls(certificates.ca)))
        assert "127.0.0.1" in words
        assert "is not accepted" in words


async def test_a_broker_may_ask_for_our_own_certificate(tmp_path: Path, certificates: Papers) -> None:
    lines = certificates.lines("allow_anonymous true", "require_certificate true")
    async with mosquitto(tmp_path, *lines) as broker:
        without = await refused(to(broker.port, tls=Tls(certificates.ca), timeout_s=60))
        assert f"port {broker.port}" in without
        assert "certificate of ours?" in without
        ours = Tls(certificates.ca, certificates.client, certificates.client_key)
        link = await MqttLink.open(to(broker.port, tls=ours), WILL)
        await link.publish(HELLO)
        await link.close()


async def test_papers_that_do_not_fit_are_named(tmp_path: Path, certificates: Papers) -> None:
    nothing = tmp_path / "empty.pem"
    nothing.touch()
    assert "mqtt.ca" in await refused(to(1, tls=Tls(nothing)))
    assert "mqtt.certificate" in await refused(to(1, tls=Tls(certificates.ca, certificates.client, certificates.key)))
    assert "mqtt.certificate" in await refused(to(1, tls=Tls(certificates.ca, certificates.client, nothing)))


async def test_plain_words_to_a_port_with_tls_end_in_time(tmp_path: Path, certificates: Papers) -> None:
    async with mosquitto(tmp_path, *certificates.lines("allow_anonymous true")) as broker:
        assert "does the broker ask for TLS here" in await refused(to(broker.port, timeout_s=60))


async def test_a_wrong_password_is_refused_and_never_shown(tmp_path: Path) -> None:
    users = tmp_path / "users"
    command = [need("mosquitto_passwd", "mosquitto"), "-b", "-c", str(users), "farm", "right-word"]
    subprocess.run(command, check=True, timeout=10, capture_output=True)
    async with mosquitto(tmp_path, "allow_anonymous false", f"password_file {users}") as broker:
        wrong = to(broker.port, username="farm", password=lambda: "wrong-word")
        words = await refused(wrong)
        assert "refuses the user 'farm'" in words
        assert "wrong-word" not in words + repr(wrong)
        assert "refuses the user 'farm'" in await refused(replace(wrong, protocol="3.1.1"))
        assert "refuses a client without a name" in await refused(to(broker.port))
        link = await MqttLink.open(replace(wrong, password=lambda: "right-word"), WILL)
        await link.publish(HELLO)
        await link.close()


async def test_a_password_that_cannot_be_had_is_trouble_and_not_the_end() -> None:
    def none() -> str:
        raise CallError("mqtt.password_env: the variable P is not set; set it for the daemon")

    assert await refused(to(1, username="farm", password=none)) == (
        "mqtt.password_env: the variable P is not set; set it for the daemon"
    )


async def test_a_topic_that_is_not_ours_is_refused_with_the_mend_and_the_link_goes_on(tmp_path: Path) -> None:
    rules = tmp_path / "rules"
    rules.write_text("topic write gaugehouse/test/status\n", encoding="ascii")
    async with mosquitto(tmp_path, "allow_anonymous true", f"acl_file {rules}") as broker:
        link = await MqttLink.open(to(broker.port), WILL)
        with pytest.raises(BrokerRefuses, match=r"does not take gaugehouse/test/tank/palm: .*; allow anyone to write"):
            await link.publish(Message("gaugehouse/test/tank/palm", b"{}"))
        await link.publish(HELLO)
        await link.close()


@pytest.mark.parametrize(
    ("host", "words"),
    [
        ("127.0.0.1", "cannot be reached: Connection refused"),
        ("no-such-host.invalid", "no address is known for that host"),  # RFC 6761: .invalid never resolves
        ("a" * 64 + ".invalid", "no "),  # RFC 1035: a label holds at most 63 octets
    ],
)
async def test_a_broker_that_is_not_there_is_told_in_words(host: str, words: str) -> None:
    assert words in await refused(to(free_port(), host=host))


async def test_a_connection_that_the_broker_ends_is_lost_at_once(tmp_path: Path) -> None:
    """MQTT 5.0, 3.1.4: a server to which a known client id comes again ends the older connection."""
    async with mosquitto(tmp_path) as broker:
        first = await MqttLink.open(to(broker.port), WILL)
        second = await MqttLink.open(to(broker.port), WILL)
        with pytest.raises(BrokerTrouble, match=f"port {broker.port}: the connection is lost"):
            async with asyncio.timeout(20):
                await first.lost()
        await first.drop()
        await second.close()


@pytest.mark.parametrize(
    ("number", "words"),  # MQTT 5.0, 2.4, table 2-6
    [
        (0x84, "does not speak MQTT 5; set the other protocol"),
        (0x85, "does not take the client id 'gaugehouse-test'"),
        (0x86, "refuses a client without a name"),
        (0x87, "mend username and password"),
        (0x8B, "ended the connection: Server shutting down"),
        (0x8E, "another client came with our client id 'gaugehouse-test'"),
    ],
)
def test_a_reason_of_the_broker_comes_with_the_mend(number: int, words: str) -> None:
    packet = PacketTypes.CONNACK if number < 0x88 else PacketTypes.DISCONNECT
    assert words in reason_words(to(1), ReasonCode(packet, identifier=number))


async def test_a_message_in_the_very_moment_of_the_loss_makes_no_noise(tmp_path: Path) -> None:
    """The write is planned, then the same turn of the loop sees the end of the connection and closes the socket."""
    async with mosquitto(tmp_path) as broker, asyncio.TaskGroup() as group:
        link = await MqttLink.open(to(broker.port), WILL)
        broker.kill()
        select.select([link._client._client.socket()], [], [], 20)  # the end has come in, and the loop has not turned
        telling = group.create_task(told(link))
        for _ in range(5):
            await asyncio.sleep(0)
        with pytest.raises(BrokerTrouble, match="the connection is lost"):
            await link.lost()
        telling.cancel()
        await link.drop()


async def told(link: MqttLink) -> None:
    with contextlib.suppress(BrokerTrouble):
        await link.publish(HELLO)


async def test_a_dropped_link_leaves_the_will_and_a_closed_one_does_not(tmp_path: Path) -> None:
    async with mosquitto(tmp_path) as broker, listening(broker.port) as listener:
        for end, last in ((MqttLink.close, "online"), (MqttLink.drop, "offline")):
            link = await MqttLink.open(to(broker.port), WILL)
            await link.publish(HELLO)
            await end(link)
            marker = await MqttLink.open(to(broker.port, client_id="marker"), Message("gaugehouse/x/status", b""))
            await marker.publish(Message("gaugehouse/marker", last.encode()))
            await marker.close()
            await listener.until(lambda heard, end=last: ("gaugehouse/marker", end) in [m[:2] for m in heard])  # type: ignore[misc]
            if end is MqttLink.drop:  # the broker looks after each connection in its own turn
                await listener.until(lambda _: listener.last("test/status").payload == "offline")
            assert listener.last("test/status").payload == last


def opened() -> int:
    """Descriptors of this process."""
    return len(os.listdir("/proc/self/fd"))


async def all_gone(descriptors: int, tasks: int) -> None:
    """Until no more is open and at work than before: a thread that connects is ended by nobody, only waited for."""
    async with asyncio.timeout(30):
        while opened() > descriptors or len(asyncio.all_tasks()) > tasks:
            await asyncio.sleep(0.01)


async def test_no_thread_task_or_socket_is_left_by_links_that_came_to_nothing(tmp_path: Path) -> None:
    """A hung broker, tried ten times, then ten times given up while waiting: nothing stays behind."""
    async with mosquitto(tmp_path) as broker:
        hasty = to(broker.port, host="127.0.0.1", timeout_s=0.05)
        with stopped(broker):
            before, tasks = opened(), len(asyncio.all_tasks())
            for _ in range(11):
                assert "does not answer" in await refused(hasty)
            await all_gone(before, tasks)
            for _ in range(10):
                with contextlib.suppress(TimeoutError):
                    async with asyncio.timeout(0.05):
                        await MqttLink.open(to(broker.port, host="127.0.0.1"), WILL)
            await all_gone(before, tasks)
        link = await MqttLink.open(to(broker.port, timeout_s=20.0), WILL)
        await link.publish(HELLO)
        await link.close()


async def test_a_link_given_up_while_it_is_opened_comes_to_nothing(tmp_path: Path) -> None:
    async with mosquitto(tmp_path) as broker, asyncio.TaskGroup() as group:
        for turns in range(6):
            task = group.create_task(MqttLink.open(to(broker.port, host="127.0.0.1"), WILL))
            for _ in range(turns):
                await asyncio.sleep(0)
            task.cancel()
            await asyncio.wait({task})
            if not task.cancelled():
                await task.result().drop()
        async with asyncio.timeout(30):
            while len(asyncio.all_tasks()) > 1:
                await asyncio.sleep(0.01)


async def test_the_example_configuration_runs_and_its_rules_hold(tmp_path: Path, certificates: Papers) -> None:
    """deploy/mosquitto: the daemon writes to its own site only, a reader reads only, nobody else comes in."""
    example = Path(__file__).resolve().parents[2] / "deploy" / "mosquitto"
    rules, users, port = tmp_path / "rules", tmp_path / "users", free_port()
    rules.write_text((example / "rules").read_text(encoding="utf-8"), encoding="utf-8")
    for k, user in enumerate(("gaugehouse", "control-room")):
        words = [need("mosquitto_passwd", "mosquitto"), "-b", *(["-c"] if k == 0 else []), str(users), user, "word"]
        subprocess.run(words, check=True, timeout=10, capture_output=True)
    text = (example / "mosquitto.conf").read_text(encoding="utf-8")
    for old, new in (
        ("/etc/mosquitto/gaugehouse/broker.pem", str(certificates.certificate)),
        ("/etc/mosquitto/gaugehouse/broker.key", str(certificates.key)),
        ("/etc/mosquitto/gaugehouse/", f"{tmp_path}/"),
        ("/var/lib/mosquitto/", f"{tmp_path}/"),
        ("listener 8883\n", f"listener {port} 127.0.0.1\n"),
    ):
        assert old in text
        text = text.replace(old, new)
    async with mosquitto(tmp_path, port=port, text=text) as broker:
        ours = to(broker.port, tls=Tls(certificates.ca), username="gaugehouse", password=lambda: "word")
        status = Message("gaugehouse/north-farm/status", b"online")
        link = await MqttLink.open(ours, Message(status.topic, b"offline"))
        await link.publish(status)
        with pytest.raises(BrokerRefuses):
            await link.publish(Message("gaugehouse/south-farm/status", b"online"))
        reader = ("--cafile", str(certificates.ca), "-h", "localhost", "-u", "control-room", "-P", "word")
        async with listening(broker.port, *reader, announce=False) as listener:
            await listener.until(lambda heard: heard)
            assert listener.heard[0].payload == "online"
        await link.close()
        other = await MqttLink.open(replace(ours, username="control-room", client_id="other"), WILL)
        with pytest.raises(BrokerRefuses):
            await other.publish(status)
        await other.drop()
        assert "refuses a client without a name" in await refused(to(broker.port, tls=Tls(certificates.ca)))
