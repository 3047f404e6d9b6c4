"""What a person chose for the figures of their pages: units and number format, from a cookie, or in an address.

Set around each request for a page, so that whatever writes a figure below it writes it so. The JSON stays as it is,
whoever asks: programs read it.
"""

from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from typing import Any, Final, NamedTuple
from urllib.parse import urlencode

from starlette.requests import Request
from starlette.types import ASGIApp, Receive, Scope, Send
from starlette.websockets import WebSocket

from console.facts import Facts, Json
from console.live import Feed
from console.numbers import STYLES, USUAL, in_style, style_now
from console.units import UNITS, in_units, units_now


class Choice(NamedTuple):
    """units: of `console.units.UNITS`; numbers: of `console.numbers.STYLES`."""

    units: str = UNITS[0]
    numbers: str = USUAL

    @property
    def query(self) -> str:
        """The same for an address; empty for the usual."""
        return "" if self == AS_USUAL else urlencode(self._asdict())


AS_USUAL: Final = Choice()


def choice_of(told: Mapping[str, str]) -> Choice:
    """From cookies or an address; what is not known is as usual."""
    units, numbers = told.get("units", ""), told.get("numbers", "")
    return Choice(units if units in UNITS else UNITS[0], numbers if numbers in STYLES else USUAL)


def choice_now() -> Choice:
    return Choice(units_now(), style_now())


@contextmanager
def chosen(choice: Choice) -> Iterator[None]:
    """Figures are written by this choice meanwhile, by this task only."""
    with in_units(choice.units), in_style(choice.numbers):
        yield


class Chosen:
    """Puts each page's request under the choice of who asks."""

    def __init__(self, app: ASGIApp) -> None:
        self._app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http" or scope["path"].startswith("/api/"):
            await self._app(scope, receive, send)
            return
        with chosen(choice_of(Request(scope).cookies)):
            await self._app(scope, receive, send)


View = Callable[[Json, Choice], Json | Iterator[tuple[str, Any]]]
"""A message of a state by a choice, or its names and values one after the other."""


class Feeds:
    """A feed for each choice, made when somebody first listens by it: six at most."""

    def __init__(self, facts: Facts, build: str, view: View) -> None:
        self._facts, self._build, self._view = facts, build, view
        self._made: dict[Choice, Feed] = {}

    def of(self, choice: Choice) -> Feed:
        if choice not in self._made:
            self._made[choice] = Feed(self._facts, self._build, lambda live: self._view(live, choice))
        return self._made[choice]

    async def serve(self, socket: WebSocket) -> None:
        """Serve one page, by the choice in its address."""
        await self.of(choice_of(socket.query_params)).serve(socket)
