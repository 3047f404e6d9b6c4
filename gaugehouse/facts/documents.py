"""The papers of the stock book."""

from console.facts import Json
from gaugehouse.documentfacts import document_facts, document_rows, documents_csv
from gaugehouse.documentmoves import document_moves
from gaugehouse.documentrecords import Kept, document_with
from gaugehouse.facts.asking import Asking
from inventory.documents import document_json


class DaemonDocuments(Asking):
    """See `console.facts.documents`."""

    def document_facts(self) -> Json:
        return document_facts(self._core, self._clock.now_ms())

    async def documents(self, question: Json) -> list[Json]:
        rows: list[Json] = await self._ask(document_rows, self._book, self._core, question)
        return rows

    async def document_moves(self, first: str, before: str, tank: str | None) -> list[Json]:
        rows: list[Json] = await self._ask(document_moves, self._core.site, self._book, first, before, tank)
        return rows

    async def documents_csv(self, question: Json) -> str:
        return str(await self._ask(documents_csv, self._book, question))

    async def document(self, number: int) -> Json | None:
        kept: Kept | None = await self._ask(document_with, self._book, number)
        return None if kept is None or kept.undone is not None else document_json(kept.document)
