"""What the tanks are ready for, and what is in them."""

from console.facts import Json
from gaugehouse.facts.asking import Asking
from gaugehouse.statusrecords import batches_json, contents_of, status_rows
from gaugehouse.statusroom import status_json
from history.book import BookReader
from inventory.batches import Content


class DaemonStatus(Asking):
    """See `console.facts.status`."""

    def tank_status(self) -> list[Json]:
        room, now_ms = self._core.status, self._now_ms()
        return [status_json(tank.id, room.state(tank.id), now_ms) for tank in self._core.site.tanks if room]

    async def status_rows(self, tank: str | None, from_ms: int, to_ms: int) -> list[Json]:
        wanted = None if tank is None else {tank}
        rows: list[Json] = await self._ask(status_rows, self._book, wanted, from_ms, to_ms)
        return rows[::-1]

    async def batches(self, tank: str | None) -> list[Json]:
        site, room, now_ms = self._core.site, self._core.status, self._clock.now_ms()
        tanks = [one.id for one in site.tanks if room and tank in (None, one.id)]

        def work(book: BookReader) -> dict[str, Content]:
            return contents_of(site, book, tanks)

        contents: dict[str, Content] = await self._ask(work, self._book)
        return [batches_json(site, one, contents[one], room.state(one).release, now_ms) for one in tanks]
