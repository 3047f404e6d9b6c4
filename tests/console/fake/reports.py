"""Reports of the fake farm: a real January of papers in real files, so that what pages get is what the daemon gives.

The files are made when first asked.
"""

import shutil
import tempfile
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING

from console.facts import ActAnswer, FactsUnavailable, Json
from console.facts.reports import Form
from gaugehouse.acting import told
from gaugehouse.errors import CallError
from gaugehouse.handoverrecords import handover_rows
from gaugehouse.reports.catalogue import REPORTS, make
from gaugehouse.reports.model import Report, report_json
from gaugehouse.reports.periods import Asked
from gaugehouse.reports.sources import Sources, state_of
from gaugehouse.reports.writers import written
from gaugehouse.site import Site, load_site
from gaugehouse.stores import look_into_book, look_into_readings
from gaugehouse.waterlook import past_core

if TYPE_CHECKING:
    from tests.console.fake.farm import FakeFarm

NOW_MS = 1_706_788_800_000  # 2024-02-01T12:00Z
ACTS = ("hand_over", "take_over")


@cache
def january_once() -> Path:
    """The folder of a January that nobody writes into."""
    from tests.gaugehouse.reportsites import january

    return Path(january(Path(tempfile.mkdtemp()), simulated=True)).parent


class FakeReports:
    """Implements `console.facts.reports.ReportFacts`."""

    def __init__(self, farm: "FakeFarm") -> None:
        self._farm = farm
        self._site: Site | None = None

    @property
    def kept(self) -> Site:
        if self._site is None:
            folder = Path(tempfile.mkdtemp()) / "site"
            shutil.copytree(january_once(), folder)
            self._site = load_site(folder / "site.toml")
        return self._site

    def kinds(self) -> list[Json]:
        return [
            {"kind": one.name, "title": one.title, "what": one.words, "takes": one.takes.value}
            for one in REPORTS.values()
        ]

    async def report(self, kind: str, asked: Json, by: str) -> Json:
        return report_json(self._made(kind, asked, by))

    async def file(self, kind: str, asked: Json, by: str, form: Form, size: str, table: str) -> bytes:
        try:
            return written(self._made(kind, asked, by), form, "Letter" if size == "Letter" else "A4", table or None)
        except CallError as error:
            raise ValueError(str(error)) from error

    def _made(self, kind: str, asked: Json, by: str) -> Report:
        if self._farm.store_out:
            raise FactsUnavailable("the store is out")
        with look_into_readings(self.kept) as store, look_into_book(self.kept) as book:
            state = state_of(past_core(self.kept, book), NOW_MS)
            sources = Sources(self.kept, store, book, state, NOW_MS, by)
            try:
                return make(kind, sources, Asked(asked["day"], asked["month"], asked["from"], asked["to"]))
            except CallError as error:
                raise ValueError(str(error)) from error

    async def handovers(self) -> list[Json]:
        with look_into_book(self.kept) as book:
            return handover_rows(book)

    def act(self, name: str, fields: Json) -> ActAnswer:
        answer = told(self.kept, name, fields)
        return ActAnswer(answer.status.value, answer.text, dict(answer.body))
