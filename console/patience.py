"""How long the console waits for a client that does not finish what it began to say.

uvicorn waits for ever for the rest of a request; two hundred clients that each send a byte now and then would take all
places. Here a connection that brings no whole request in time is closed, and so is one whose body stands still.
"""

import asyncio
import logging
from typing import Any, Final

from uvicorn.protocols.http.h11_impl import H11Protocol

from console.limits import BODY_S, HEADERS_S

log = logging.getLogger(__name__)

LOOK_S: Final = 1.0


class PatientProtocol(H11Protocol):
    """One connection with a bound on the time that its client takes to ask."""

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        super().connection_made(transport)
        self._since_s: float | None = self.loop.time()
        self._counted: object = None
        self._looking = self.loop.call_later(LOOK_S, self._look)

    def connection_lost(self, exc: Exception | None) -> None:
        self._looking.cancel()
        super().connection_lost(exc)

    def data_received(self, data: bytes) -> None:
        if self._since_s is None:
            self._since_s = self.loop.time()
        super().data_received(data)

    def on_response_complete(self) -> None:
        self._since_s = None
        super().on_response_complete()

    def handle_websocket_upgrade(self, event: Any) -> None:
        self._looking.cancel()
        super().handle_websocket_upgrade(event)

    def _look(self) -> None:
        """Now and then: whom do we wait for, and for how long?"""
        if self.transport.is_closing():
            return
        self._looking = self.loop.call_later(LOOK_S, self._look)
        now_s, cycle = self.loop.time(), self.cycle
        if cycle is not None and cycle is not self._counted:  # another request: its headers are whole
            self._counted, self._since_s = cycle, now_s
        asked = cycle is not None and not cycle.response_complete
        if asked and not cycle.more_body:
            self._since_s = None  # the answer is our affair
            return
        if not asked and cycle is not None and self.timeout_keep_alive_task is not None:
            self._since_s = None  # between two requests: uvicorn's own patience
            return
        if self._since_s is None:
            self._since_s = now_s
        if now_s - self._since_s > (BODY_S if asked else HEADERS_S):
            log.info("console: %s did not finish its request in time and is hung up on", (self.client or ("?",))[0])
            self.transport.abort()
