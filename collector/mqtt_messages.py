"""What goes to the broker, where it comes from, what carries it and how it is counted: names and two Protocols.

Knows names and order; refuses to know files and sockets. The outbox is the record book, put in by the wiring.
"""

from collections.abc import Awaitable, Callable, Sequence
from typing import Final, NamedTuple, Protocol

from collector.errors import CollectorError
from collector.mqtt_broker import BrokerRefuses

ROOT: Final = "gaugehouse"
ONLINE: Final = b"online"
OFFLINE: Final = b"offline"


class Message(NamedTuple):
    """One message. `n`: its number in the outbox, 0 for what is not of it. `retain`: the broker keeps it."""

    topic: str
    payload: bytes
    n: int = 0
    retain: bool = True


class Stretch(NamedTuple):
    """A piece of the outbox: what of it is to be told, and up to which number it has been looked through."""

    messages: Sequence[Message]
    upto: int


Answer = bool | BrokerRefuses | None
"""What the broker said to a message: True for yes, None for nothing yet."""


class OutboxUnavailable(CollectorError):
    """The outbox cannot be read or its cursor not be kept now. Nothing is lost; the publisher tries again."""


class Outbox(Protocol):
    """Alarm messages, numbered, on disk. Every call may raise `OutboxUnavailable`."""

    async def after(self, n: int, most: int) -> Stretch:
        """The messages among the `most` numbers above n; `upto` is n where there is nothing yet."""
        ...

    async def keep(self, n: int) -> None:
        """The broker has all up to n; return when that is on the disk."""
        ...

    async def standing(self, upto: int) -> Sequence[Message]:
        """The newest message of each alarm that is not normal. Those above `upto` are left out: they are to come."""
        ...


class Link(Protocol):
    """An open connection to a broker."""

    async def publish(self, message: Message) -> None:
        """Return once the broker has taken it. Raises `BrokerRefuses`, `BrokerTrouble`."""

    async def lost(self) -> None:
        """Wait until the connection is gone, then raise `BrokerTrouble`."""

    async def close(self) -> None:
        """Take leave of the broker. Bounded in time."""

    async def drop(self) -> None:
        """End it without taking leave, so that the broker publishes the will. Bounded in time."""


Connect = Callable[[Message], Awaitable[Link]]
"""Opens a link; the message is the last will. Raises `BrokerTrouble`."""


class Topics:
    """The topics of one site."""

    def __init__(self, site: str) -> None:
        self._root = f"{ROOT}/{site}"
        self.status = f"{self._root}/status"

    def tank(self, tank: str) -> str:
        return f"{self._root}/tank/{tank}"

    def alarm(self, alarm_id: str) -> str:
        return f"{self._root}/alarm/{alarm_id}"


class Pace(NamedTuple):
    """Seconds: the first and the longest wait before connecting anew, how long a connection must have lasted for the
    waits to start short again, the wait after a refused alarm message, and how long `stop` may take."""

    first_wait_s: float = 0.5
    longest_wait_s: float = 30.0
    steady_s: float = 10.0
    refused_wait_s: float = 30.0
    stop_s: float = 3.0


class PublishCounters(NamedTuple):
    """What the publisher did since the start.

    published: handed to the broker; acknowledged: taken by it. dropped: readings that gave way to a newer one while the
    broker was away; thinned: the same while connected, to keep to the interval. refused: messages that the broker did
    not take. waiting_alarms, waiting_readings: not yet acknowledged. cursor: the last entry of the record book that the
    broker has. last_error stays until the next one, in words.
    """

    connected: bool
    connections: int
    failures: int
    published: int
    acknowledged: int
    refused: int
    dropped: int
    thinned: int
    waiting_alarms: int
    waiting_readings: int
    cursor: int
    last_error: str
