"""What every part of the facts stands on."""

from collections.abc import Awaitable, Callable
from dataclasses import dataclass
from typing import Any, Protocol

from collector.health import BusHealth
from console.facts import FactsUnavailable, Json, SiteFacts
from gaugehouse.acts import Act, Answer
from gaugehouse.core import Core
from gaugehouse.liveview import LiveView
from history.aggregating import Columnar
from history.book import BookReader
from history.errors import StoreDamaged, StoreUnavailable
from history.readers import ReaderPool
from history.store import Store
from history.traces import TraceReader


class SiteClock(Protocol):
    """The site's clock, and how many times faster than real time it runs."""

    @property
    def speed(self) -> float: ...

    def now_ms(self) -> int: ...


@dataclass(frozen=True, slots=True, kw_only=True)
class House:
    """What the facts are told from.

    submit: has an act decided and written; waits: why decisions cannot be written now, "" when they can; files,
    channels, servers: as `console.facts.house` tells them.
    """

    core: Core
    clock: SiteClock
    store: Store
    columns: Columnar
    book: BookReader
    traces: TraceReader
    readers: ReaderPool
    submit: Callable[[Act], Awaitable[Answer]]
    health: Callable[[str], BusHealth]
    build: str
    simulated: bool
    waits: Callable[[], str] = str
    files: Callable[[], Json] = dict
    channels: Callable[[], list[Json]] = list
    servers: Callable[[], list[Json]] = list


class Asking:
    """Core, stores and record book of a house, and the way to ask them without holding up the loop."""

    def __init__(self, house: House) -> None:
        core, site = house.core, house.core.site
        self._core, self._clock, self._store, self._book = core, house.clock, house.store, house.book
        self._readers = house.readers
        longest_s = site.alarm_rules.longest_shelf_ms / 1000
        self._site = SiteFacts(site.id, site.name, site.zone, house.simulated, house.build, longest_s)
        self._view = LiveView(core, house.build, house.health, house.waits)

    def _now_ms(self) -> int:
        """The data's own clock."""
        return self._core.at.time_ms or self._clock.now_ms()

    async def _ask(self, question: Callable[..., Any], *args: object, **options: object) -> Any:
        try:
            return await self._readers.call(question, *args, **options)
        except (StoreUnavailable, StoreDamaged) as error:
            raise FactsUnavailable(str(error)) from error
