"""The live feed: the whole state once a second to every page that listens.

Knows sockets' manners; refuses to know what is in a state. Rules: one serialisation per state, shared by all, and made
in pieces with turns of the event loop between them; the full state each time, no deltas; a slow client skips states and
never queues; a client that takes over 10 s for one is dropped. No task of its own runs here: every connection waits for
"newer than what I sent".
"""

import asyncio
import json
import logging
from collections.abc import Callable, Iterable, Iterator
from typing import Any, Final

from starlette.websockets import WebSocket, WebSocketDisconnect

from console.facts import Facts, Json

log = logging.getLogger(__name__)

SEND_LIMIT_S: Final = 10.0


PIECE: Final = 16_000
"""Characters of a state after which others have a turn: about a millisecond's work."""

_encoder: Final = json.JSONEncoder(ensure_ascii=False, allow_nan=False, separators=(",", ":"))


def dumps(value: object) -> str:
    """Compact JSON; a NaN is a bug of ours and is refused, as browsers refuse it."""
    return _encoder.encode(value)


def dumped(parts: Iterable[tuple[str, Any]]) -> Iterator[str]:
    """What `dumps` makes of an object, in pieces: names and values come one after the other; a value may be such pairs
    itself."""
    before = "{"
    for name, value in parts:
        if isinstance(value, Iterator):
            yield f"{before}{dumps(name)}:"
            yield from dumped(value)
        else:
            yield f"{before}{dumps(name)}:{dumps(value)}"
        before = ","
    yield "}" if before == "," else "{}"


class Message(str):
    """A text whose bytes are made once: the server encodes what it sends anew for every page, which cost more than all
    the rest of sending it."""

    _bytes: bytes

    def __new__(cls, text: str) -> "Message":
        message = super().__new__(cls, text)
        message._bytes = text.encode()
        return message

    def encode(self, encoding: str = "utf-8", errors: str = "strict") -> bytes:
        return self._bytes if encoding == "utf-8" else super().encode(encoding, errors)


class _TooSlow(Exception):
    """The client took too long for one state. Caught where the connection ends; it reconnects by itself."""


class Feed:
    """One kind of message (`view` of a state), sent to any number of clients.

    view: the message, or its names and values one after the other. build: sent first on each connection; a page of
    another build loads itself anew.
    """

    def __init__(
        self,
        facts: Facts,
        build: str,
        view: Callable[[Json], Json | Iterator[tuple[str, Any]]],
        *,
        send_limit_s: float = SEND_LIMIT_S,
    ) -> None:
        self._facts = facts
        self._first = dumps({"build": build})
        self._view = view
        self._send_limit_s = send_limit_s
        self._cached_seq = -1
        self._cached = Message("")
        self._making = asyncio.Lock()
        self.serialised = 0
        self.clients = 0

    async def text(self, state: Json) -> Message:
        """The state as it goes out, or a newer one; made once however many ask."""
        if self._cached_seq < state["seq"]:
            async with self._making:
                if self._cached_seq < state["seq"]:
                    self._cached = await self._made(state)
                    self._cached_seq = state["seq"]
                    self.serialised += 1
        return self._cached

    async def _made(self, state: Json) -> Message:
        view = self._view(state)
        pieces: list[str] = []
        size = 0
        for piece in dumped(view if isinstance(view, Iterator) else view.items()):
            pieces.append(piece)
            size += len(piece)
            if size > PIECE:
                size = 0
                await asyncio.sleep(0)
        return Message("".join(pieces))

    async def serve(self, socket: WebSocket) -> None:
        """Serve one client to its end."""
        await socket.accept()
        self.clients += 1
        try:
            async with asyncio.TaskGroup() as group:
                sender = group.create_task(self._send_states(socket), name="feed sender")
                await _until_gone(socket)
                sender.cancel()
        except* WebSocketDisconnect:
            pass
        except* _TooSlow:
            log.warning("a page took over %g s for one state and was dropped", self._send_limit_s)
        finally:
            self.clients -= 1

    async def _send_states(self, socket: WebSocket) -> None:
        await self._send(socket, self._first)
        state = self._facts.live()
        while True:
            await self._send(socket, await self.text(state))
            state = await self._facts.newer_live(state["seq"])

    async def _send(self, socket: WebSocket, text: str) -> None:
        try:
            async with asyncio.timeout(self._send_limit_s):
                await socket.send_text(text)
        except TimeoutError:
            raise _TooSlow from None


async def _until_gone(socket: WebSocket) -> None:
    """Return when the client has gone. What it says is not listened to."""
    while (await socket.receive())["type"] != "websocket.disconnect":
        pass
