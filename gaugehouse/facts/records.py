"""The record book."""

from console.facts import Json
from gaugehouse.corrections import pointing_at, record_rows
from gaugehouse.errors import CallError
from gaugehouse.facts.asking import Asking


class DaemonRecords(Asking):
    """See `console.facts.records`."""

    async def record_head(self) -> str:
        return str(await self._ask(self._book.head))

    async def record_rows(
        self, kind: str | None, from_ms: int, to_ms: int, limit: int, before: int | None = None
    ) -> list[Json]:
        kinds = None if kind is None else [kind]
        rows: list[Json] = await self._ask(record_rows, self._book, kinds, from_ms, to_ms, limit, before)
        return rows

    async def pointing_at(self, n: int) -> Json | str:
        try:
            found: Json = await self._ask(pointing_at, self._book, n)
        except CallError as error:
            return str(error)
        return found
