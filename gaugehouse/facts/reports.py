"""Reports, and shifts handed over."""

import asyncio
from collections.abc import Awaitable, Callable
from typing import Any, Final

from console.facts import Json
from console.facts.reports import Form
from gaugehouse.core import Core
from gaugehouse.errors import CallError
from gaugehouse.handoverrecords import handover_rows
from gaugehouse.paper import Size
from gaugehouse.reports.catalogue import REPORTS, make
from gaugehouse.reports.model import Report, report_json
from gaugehouse.reports.periods import Asked
from gaugehouse.reports.sources import Sources, state_of
from gaugehouse.reports.writers import written
from history.book import BookReader
from history.store import Store

SIZES: Final[dict[str, Size]] = {"A4": "A4", "Letter": "Letter"}
Ask = Callable[..., Awaitable[Any]]


class DaemonReports:
    """See `console.facts.reports`. ask: a question to the stores, answered by a reader thread."""

    def __init__(self, core: Core, book: BookReader, store: Store, now_ms: Callable[[], int], ask: Ask) -> None:
        self._core, self._book, self._store, self._now_ms, self._ask = core, book, store, now_ms, ask

    def kinds(self) -> list[Json]:
        return [
            {"kind": one.name, "title": one.title, "what": one.words, "takes": one.takes.value}
            for one in REPORTS.values()
        ]

    async def report(self, kind: str, asked: Json, by: str) -> Json:
        return report_json(await self._made(kind, asked, by))

    async def file(self, kind: str, asked: Json, by: str, form: Form, size: str, table: str) -> bytes:
        made = await self._made(kind, asked, by)
        paper: Size = self._core.site.paper_size
        if size in SIZES:
            paper = SIZES[size]
        try:
            return await asyncio.to_thread(written, made, form, paper, table or None)
        except CallError as error:
            raise ValueError(str(error)) from error

    async def _made(self, kind: str, asked: Json, by: str) -> Report:
        """The core is looked at here, in its own thread; the stores in a reader's."""
        now_ms = self._now_ms()
        state = state_of(self._core, now_ms)
        sources = Sources(self._core.site, self._store, self._book, state, now_ms, by)
        question = Asked(asked["day"], asked["month"], asked["from"], asked["to"])
        try:
            made: Report = await self._ask(make, kind, sources, question)
        except CallError as error:
            raise ValueError(str(error)) from error
        return made

    async def handovers(self) -> list[Json]:
        rows: list[Json] = await self._ask(handover_rows, self._book)
        return rows
