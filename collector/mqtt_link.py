"""One connection to an MQTT broker: opened, used, and closed or dropped. A connection is never used twice.

aiomqtt connects and reads and writes the socket for us. What it leaves open is closed here: a refused message is told
as refused (its own `publish` takes any acknowledgement for a yes), a loss of the connection ends all waiting at once,
a connection that came about too late is thrown away, and no callback is set on a socket that is closed already.
"""

import asyncio
import contextlib
import logging
import socket
from collections.abc import Callable
from typing import Any, Final, Self

import aiomqtt
from paho.mqtt.client import MQTT_ERR_SUCCESS, error_string
from paho.mqtt.reasoncodes import ReasonCode

from collector.mqtt_broker import MQTT_311, Broker, BrokerRefuses, BrokerTrouble, connect_words, reason_words
from collector.mqtt_messages import Message
from models.errors import GaugehouseError

log = logging.getLogger(__name__)

CONNECT_S: Final = 5.0
"""For the TCP connection, and once more for TLS. It runs in a thread that nothing can end sooner."""

CLOSE_S: Final = 1.0

CUT_OFF: Final = (
    "the connection was ended before it was answered; does the broker ask for TLS here, or for a certificate of ours?"
)

_NOISE: Final = ("failed to receive on socket", "Could not gracefully disconnect")


def _is_no_noise(record: logging.LogRecord) -> bool:
    """A broken connection is told by the publisher, once; what else the library has to say passes."""
    return not record.getMessage().startswith(_NOISE)


_library_log = log.getChild("library")
_library_log.setLevel(logging.WARNING)
_library_log.addFilter(_is_no_noise)


class MqttLink:
    """See `collector.mqtt_messages.Link`."""

    def __init__(self, broker: Broker, client: "_Client") -> None:
        self._broker, self._client = broker, client

    @classmethod
    async def open(cls, broker: Broker, will: Message | None) -> Self:
        """Connect; will: what the broker tells when we are gone, if anything. Raises `BrokerTrouble` in words."""
        client = await _client_of(broker, will)
        try:
            await client.__aenter__()
        except (aiomqtt.MqttError, OSError, UnicodeError) as error:
            await client.drop()
            raise BrokerTrouble(connect_words(broker, error)) from None
        except BaseException:
            client.give_up()
            raise
        return cls(broker, client)

    async def publish(self, message: Message) -> None:
        """Return once the broker has taken it (QoS 1). Raises `BrokerRefuses`, `BrokerTrouble`."""
        reason = await self._client.tell(message, self._broker)
        if reason.is_failure:
            user = "anyone" if self._broker.username is None else f"the user {self._broker.username!r}"
            raise BrokerRefuses(
                f"{self._broker} does not take {message.topic}: {reason}; allow {user} to write to gaugehouse/#"
            )

    async def lost(self) -> None:
        """Wait until the connection is gone; then raise `BrokerTrouble`."""
        reason = await asyncio.shield(self._client.gone)
        if reason is None:
            raise BrokerTrouble(f"{self._broker}: the connection is lost")
        raise BrokerTrouble(reason_words(self._broker, reason))

    async def close(self) -> None:
        """Take leave of the broker, which then does not publish the will; within a bound."""
        await self._client.leave()

    async def drop(self) -> None:
        """End without taking leave: the broker publishes the will."""
        await self._client.drop()


async def _client_of(broker: Broker, will: Message | None) -> "_Client":
    def prepare() -> dict[str, Any]:
        return {
            "password": broker.password(),
            "tls_context": None if broker.tls is None else broker.tls.context(),
        }

    try:
        secrets = await asyncio.to_thread(prepare)
    except BrokerTrouble:
        raise
    except GaugehouseError as error:
        raise BrokerTrouble(str(error)) from error
    old = broker.protocol == MQTT_311
    return _Client(
        broker.host,
        broker.port,
        username=broker.username,
        identifier=broker.client_id,
        protocol=aiomqtt.ProtocolVersion.V311 if old else aiomqtt.ProtocolVersion.V5,
        clean_session=True if old else None,
        will=None if will is None else aiomqtt.Will(will.topic, will.payload, qos=1, retain=True),
        keepalive=broker.keepalive_s,
        timeout=broker.timeout_s,
        logger=_library_log,
        socket_options=[(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)],
        **secrets,
    )


class _Client(aiomqtt.Client):
    """aiomqtt's client with its gaps closed. `gone` is done once the connection has ended: with the reason that the
    broker gave, None where it gave none."""

    def __init__(self, *args: Any, **options: Any) -> None:
        super().__init__(*args, **options)
        self._client.connect_timeout = CONNECT_S
        self._given_up = False
        self._answers: dict[int, asyncio.Future[ReasonCode]] = {}
        self._shut = asyncio.Event()
        self.gone: asyncio.Future[ReasonCode | None] = self._loop.create_future()

    async def tell(self, message: Message, broker: Broker) -> ReasonCode:
        """Publish with QoS 1 and give the broker's answer. Raises `BrokerTrouble`."""
        info = self._client.publish(message.topic, message.payload, qos=1, retain=message.retain)
        if info.rc != MQTT_ERR_SUCCESS:
            raise BrokerTrouble(f"{broker}: nothing can be sent: {error_string(info.rc)}")
        answer: asyncio.Future[ReasonCode] = self._loop.create_future()
        self._answers[info.mid] = answer
        try:
            async with asyncio.timeout(float(self.timeout)):
                return await answer
        except TimeoutError:
            raise BrokerTrouble(f"{broker} has not acknowledged a message within {self.timeout:g} s") from None
        finally:
            del self._answers[info.mid]

    def give_up(self) -> None:
        """End the connection, also one that a thread is only about to open."""
        self._given_up = True
        opened: Any = self._client.socket()  # a socket, or one with TLS around it
        if opened is not None:
            with contextlib.suppress(OSError):
                opened.shutdown(socket.SHUT_RDWR)

    async def drop(self) -> None:
        self.give_up()
        await self._closed()

    async def leave(self) -> None:
        if self._client.disconnect() == MQTT_ERR_SUCCESS:
            await self._closed()
        await self.drop()

    async def _closed(self) -> None:
        """Until the socket is closed and the library's own task ended."""
        if self._client.socket() is not None:
            with contextlib.suppress(TimeoutError):
                async with asyncio.timeout(CLOSE_S):
                    await self._shut.wait()
        if self._misc_task is not None:
            await asyncio.wait({self._misc_task}, timeout=CLOSE_S)

    def _on_publish(self, client: Any, userdata: Any, mid: int, reason_code: Any, properties: Any) -> None:
        answer = self._answers.get(mid)
        if answer is not None and not answer.done():
            answer.set_result(reason_code)

    def _on_disconnect(self, client: Any, userdata: Any, flags: Any, reason_code: Any, properties: Any = None) -> None:
        # aiomqtt's own futures are not touched: it asks a cancelled one for its exception, and leaves one behind that
        # nobody asks for. Only a wait for the answer to our connecting has to end: it would be to no purpose.
        if not self._connected.done() and not self._given_up:
            self._connected.set_exception(aiomqtt.MqttError(CUT_OFF))
        if not self.gone.done():
            self.gone.set_result(reason_code if flags.is_disconnect_packet_from_server else None)

    # Between the library's call and the loop's turn the socket may have been closed, its number even been given to
    # another connection of this process: the callback must find the very socket still open.

    def _on_socket_open(self, client: Any, userdata: Any, sock: Any) -> None:
        def begin() -> None:
            if self._given_up and sock.fileno() >= 0:
                with contextlib.suppress(OSError):
                    sock.shutdown(socket.SHUT_RDWR)
            if sock.fileno() >= 0:
                self._loop.add_reader(sock.fileno(), self._act, self._read)
                self._misc_task = self._loop.create_task(self._misc_loop())

        self._loop.call_soon_threadsafe(begin)

    def _on_socket_close(self, client: Any, userdata: Any, sock: Any) -> None:
        super()._on_socket_close(client, userdata, sock)
        self._loop.call_soon_threadsafe(self._shut.set)

    def _on_socket_register_write(self, client: Any, userdata: Any, sock: Any) -> None:
        def begin() -> None:
            if sock.fileno() >= 0:
                self._loop.add_writer(sock.fileno(), self._act, self._client.loop_write)

        self._loop.call_soon_threadsafe(begin)

    def _read(self) -> None:
        while True:
            self._client.loop_read()
            sock = self._client.socket()
            if sock is None or not hasattr(sock, "pending") or sock.pending() <= 0:
                return

    def _act(self, work: Callable[[], object]) -> None:
        try:
            work()
        except Exception:  # what the network does comes as a return code: this is a bug, and this connection's end
            log.exception("the MQTT library fails")
            self.give_up()
            if not self.gone.done():
                self.gone.set_result(None)
