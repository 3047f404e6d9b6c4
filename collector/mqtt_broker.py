"""An MQTT broker as the site names it, and what goes wrong on the way to it, in words with the mend.

Knows addresses, certificates and who signs in; refuses to know what is published. Secrets are asked for at each
connection and never kept, shown or logged.
"""

import socket
import ssl
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final

import aiomqtt
from paho.mqtt.reasoncodes import ReasonCode

from collector.errors import CollectorError

MQTT_5: Final = "5"
MQTT_311: Final = "3.1.1"


class BrokerTrouble(CollectorError):
    """The broker cannot be reached, went away or does not answer. Connecting anew may help; the publisher does that."""


class BrokerRefuses(CollectorError):
    """The broker is there and does not take one message. Sending it again helps only after its rules have changed."""


@dataclass(frozen=True, slots=True)
class Tls:
    """Certificates in PEM files. ca: None for those that the system trusts. private_key: of our own certificate."""

    ca: Path | None = None
    certificate: Path | None = None
    private_key: Path | None = None

    def context(self) -> ssl.SSLContext:
        """Host name and chain are always checked. Reads files: not for the event loop. Raises `BrokerTrouble`."""
        try:
            context = ssl.create_default_context(cafile=None if self.ca is None else str(self.ca))
        except (OSError, ssl.SSLError) as error:
            raise BrokerTrouble(f"mqtt.ca: {self.ca} holds no certificate that can be read: {_said(error)}") from error
        context.sslsocket_class = _TidySocket
        if self.certificate is not None:
            try:
                context.load_cert_chain(self.certificate, self.private_key, password=_no_password)
            except (OSError, ssl.SSLError, ValueError) as error:
                raise BrokerTrouble(
                    f"mqtt.certificate: {self.certificate} and the private key {self.private_key} cannot be used: "
                    f"{_said(error)}; both in PEM, the key not encrypted and of that certificate"
                ) from error
        return context


class _TidySocket(ssl.SSLSocket):
    """Closed at once when no agreement on TLS comes about; the MQTT library leaves that to the garbage collector."""

    def do_handshake(self, block: bool = False) -> None:
        try:
            super().do_handshake(block)
        except OSError:
            self.close()
            raise


def _no_password() -> str:
    """Without this an encrypted key would ask on the terminal, and the daemon would stand still."""
    raise ValueError("the private key is encrypted")


@dataclass(frozen=True, slots=True)
class Broker:
    """Where to connect and as whom.

    password: asked at each connection, in a thread; raises a `GaugehouseError` where it cannot be had. timeout_s: how
    long any one answer is waited for. keepalive_s: the broker calls us gone after one and a half of it in silence.
    """

    host: str
    port: int
    client_id: str
    tls: Tls | None = None
    username: str | None = None
    password: Callable[[], str | None] = field(default=lambda: None, repr=False, compare=False)
    protocol: str = MQTT_5
    keepalive_s: int = 30
    timeout_s: float = 10.0

    def __str__(self) -> str:
        return f"mqtt broker {self.host} port {self.port}"


# MQTT 5.0, 2.4 "Reason Code": the numbers that a person can mend. Older brokers' return codes come mapped to them.
_BAD_ID, _BAD_USER, _NOT_AUTHORISED, _BAD_VERSION, _TAKEN_OVER = 0x85, 0x86, 0x87, 0x84, 0x8E


def reason_words(broker: Broker, reason: ReasonCode) -> str:
    """Why the broker turned us away or sent us off."""
    who = "a client without a name" if broker.username is None else f"the user {broker.username!r}"
    match reason.value:
        case value if value in (_BAD_USER, _NOT_AUTHORISED):
            return f"{broker} refuses {who}: {reason}; mend username and password in [mqtt], or the broker's own list"
        case value if value == _BAD_VERSION:
            return f"{broker} does not speak MQTT {broker.protocol}; set the other protocol in [mqtt]"
        case value if value == _BAD_ID:
            return f"{broker} does not take the client id {broker.client_id!r}; set another client_id in [mqtt]"
        case value if value == _TAKEN_OVER:
            return (
                f"{broker}: another client came with our client id {broker.client_id!r}; end the second daemon, or "
                "give each a client_id of its own in [mqtt]"
            )
    return f"{broker} ended the connection: {reason}"


def connect_words(broker: Broker, error: BaseException) -> str:
    """Why no connection came about. `error` is what aiomqtt raised, the cause in its context."""
    cause = error.__context__ if isinstance(error, aiomqtt.MqttError) and error.__context__ else error
    match cause:
        case aiomqtt.MqttCodeError(rc=ReasonCode() as reason):
            return reason_words(broker, reason)
        case ssl.SSLCertVerificationError():
            why = cause.verify_message or cause.reason
            return f"{broker}: its certificate is not accepted: {why}; see ca and host in [mqtt]"
        case ssl.SSLError():
            mend = "is it a port with TLS, and does the broker ask for a certificate of ours?"
            return f"{broker}: no agreement on TLS ({cause.reason or _said(cause)}); {mend}"
        case socket.gaierror():
            return f"{broker}: no address is known for that host ({cause.strerror}); see host in [mqtt]"
        case TimeoutError():
            plain = "" if broker.tls is None else ", or not with TLS"
            return f"{broker} does not answer{plain}; see host and port in [mqtt], and whether the broker runs"
        case UnicodeError():
            return f"{broker}: that is no host name ({cause}); see host in [mqtt]"
        case OSError():
            return f"{broker} cannot be reached: {_said(cause)}; see host and port in [mqtt], and whether it runs"
    return f"{broker}: {error}"


def _said(error: BaseException) -> str:
    return (error.strerror if isinstance(error, OSError) and not isinstance(error, ssl.SSLError) else "") or str(error)
