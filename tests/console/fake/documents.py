"""Documents of the fake farm: a real core takes them, so that what pages get is what the daemon gives.

The core, its clock and its record book are made when first asked, apart from the fake farm's own.
"""

import tempfile
from pathlib import Path
from typing import Any

from console.facts import ActAnswer, Json
from gaugehouse.acts import act_of
from gaugehouse.documentfacts import document_facts, document_rows, documents_csv
from gaugehouse.documentmoves import document_moves
from gaugehouse.documentrecords import document_with
from gaugehouse.errors import CallError
from history.chain import Entry
from inventory.documents import document_json

ACTS = ("add_document", "import_documents", "undo_document", "correct_document")


class FakeDocuments:
    """Acts go into the core of `tests.gaugehouse.documentsites.Office` and from there into a record book."""

    def __init__(self) -> None:
        self._made: Any = None
        self._book: Any = None

    @property
    def office(self) -> Any:
        if self._made is None:
            from history.book import RecordBook
            from tests.gaugehouse.documentsites import Office

            self._made = Office(Path(tempfile.mkdtemp()))
            self._book = RecordBook.open(Path(tempfile.mkdtemp()) / "records.sqlite", self._made.site.id)
        return self._made

    def act(self, name: str, fields: Json) -> ActAnswer:
        try:
            act = act_of(name, fields)
        except CallError as error:
            return ActAnswer("wrong", str(error))
        result = self.office.tick(acts=[act])
        seq, ms = self.office.seq, self.office.ms
        entries = [Entry(one.kind, ms, seq, one.body) for one in result.decisions]
        if entries:
            self._book.commit(entries, {})
        (answer,) = result.answers
        return ActAnswer(answer.status.value, answer.text, dict(answer.body))

    def facts(self) -> Json:
        return document_facts(self.office.core, self.office.ms)

    def rows(self, question: Json) -> list[Json]:
        core = self.office.core
        return document_rows(self._book, core, question)

    def moves(self, first: str, before: str, tank: str | None) -> list[Json]:
        return document_moves(self.office.core.site, self._book, first, before, tank)

    def csv(self, question: Json) -> str:
        assert self.office
        return documents_csv(self._book, question)

    def one(self, number: int) -> Json | None:
        assert self.office
        kept = document_with(self._book, number)
        return None if kept is None or kept.undone is not None else document_json(kept.document)
