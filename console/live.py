"""The live feed: the whole state once a second to every page that listens.

Knows sockets' manners; refuses to know what is in a state. Rules: one serialisation per state, shared by all; the full
state each time, no deltas; a slow client skips states and never queues; a client that takes over 10 s for one is
dropped. No task of its own runs here: every connection waits for "newer than what I sent".
"""

import asyncio
import json
import logging
from collections.abc import Callable
from typing import Final

from starlette.websockets import WebSocket, WebSocketDisconnect

from console.facts import Facts, Json

log = logging.getLogger(__name__)

SEND_LIMIT_S: Final = 10.0


def dumps(value: object) -> str:
    """Compact JSON; a NaN is a bug of ours and is refused, as browsers refuse it."""
    return json.dumps(value, ensure_ascii=False, allow_nan=False, separators=(",", ":"))


class _TooSlow(Exception):
    """The client took too long for one state. Caught where the connection ends; it reconnects by itself."""


class Feed:
    """One kind of message (`view` of a state), sent to any number of clients.

    build: sent first on each connection; a page of another build loads itself anew.
    """

    def __init__(
        self, facts: Facts, build: str, view: Callable[[Json], Json], *, send_limit_s: float = SEND_LIMIT_S
    ) -> None:
        self._facts = facts
        self._first = dumps({"build": build})
        self._view = view
        self._send_limit_s = send_limit_s
        self._cached_seq: int | None = None
        self._cached = ""
        self.serialised = 0
        self.clients = 0

    def text(self, state: Json) -> str:
        """The state as it goes out; made once however many ask."""
        if state["seq"] != self._cached_seq:
            self._cached = dumps(self._view(state))
            self._cached_seq = state["seq"]
            self.serialised += 1
        return self._cached

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
            await self._send(socket, self.text(state))
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
