"""The stock side of the fake farm: the sheet from its tanks, all else from the fakes beside this file."""

from collections.abc import Sequence

from console.facts import ActAnswer, FactsUnavailable, Json, PaperSize
from tests.console.fake.leak import DAY_MS as LEAK_DAY_MS
from tests.console.fake.leak import fake_leak
from tests.console.fake.live import FakeLive
from tests.console.fake.tank import iso


class FakeStock(FakeLive):
    """Implements `console.facts.stock`, `documents`, `receipts`, `leak`, `water`, `ahead` and `status`."""

    def stock(self) -> Json:
        kept = ("tank", "name", "product", "time", "quality", "stock_quality", "level_m", "temperature_degC", "tov_m3",
                "gov_m3", "gsv_m3", "mass_kg", "gsv_u95_m3")  # fmt: skip
        entries = [self._entry(tank) for tank in self.tanks]
        lines = [{k: e[k] for k in kept} | {"why": "" if e["gsv_m3"] else "level is Bad"} for e in entries]
        products = []
        for product in dict.fromkeys(line["product"] for line in lines):
            of = [line for line in lines if line["product"] == product]
            missing = [line["tank"] for line in of if line["gsv_m3"] is None]
            sums = {k: None if missing else sum(line[k] for line in of) for k in ("gov_m3", "gsv_m3", "mass_kg")}
            products.append({"product": product, **sums, "missing": missing, "gsv_u95_m3": None if missing else 3.0})
        return {"time": iso(self.now_ms), "tanks": lines, "products": products}

    async def stock_book(self, kind: str, name: str, product: str | None, tank: str | None) -> Json:
        if self.store_out:
            raise FactsUnavailable("the store is out")
        return self.book.answer(kind, name, iso(self.now_ms))

    async def close_stock(
        self, kind: str, name: str, product: str, by: str, comment: str, seal: str | None
    ) -> ActAnswer:
        return self.book.close(kind, name, product, by, seal)

    def document_facts(self) -> Json:
        return self.papers.facts()

    async def documents(self, question: Json) -> list[Json]:
        self._ask_store()
        return self.papers.rows(question)

    async def document_moves(self, first: str, before: str, tank: str | None) -> list[Json]:
        self._ask_store()
        return self.papers.moves(first, before, tank)

    async def documents_csv(self, question: Json) -> str:
        self._ask_store()
        return self.papers.csv(question)

    async def document(self, number: int) -> Json | None:
        self._ask_store()
        return self.papers.one(number)

    async def receipts(self) -> list[Json]:
        self._ask_store()
        return self.receiving.all()

    async def receipt(self, number: int) -> Json | None:
        self._ask_store()
        return self.receiving.one(number)

    async def receipt_paper(self, number: int, size: PaperSize) -> bytes | None:
        self._ask_store()
        return self.receiving.paper(number, size)

    def leak_tanks(self) -> list[str]:
        return ["ostler-n"]

    async def leak(self, tank: str, from_ms: int | None, to_ms: int | None) -> Json:
        self._ask_store()
        end_ms = self.now_ms if to_ms is None else to_ms
        return fake_leak(tank, iso(end_ms - LEAK_DAY_MS if from_ms is None else from_ms), iso(end_ms))

    def leak_suspected(self, tank: str) -> Json | None:
        return self.suspected.get(tank)

    async def leak_tests(self, tank: str | None) -> list[Json]:
        self._ask_store()
        return [one for one in self.leaks if tank in (None, one["tank"])]

    async def leak_paper(self, number: int, size: str) -> bytes | None:
        return b"%PDF-1.4 fake" if any(one["number"] == number for one in self.leaks) else None

    async def water(self, tanks: Sequence[str]) -> list[Json]:
        self._ask_store()
        return [self.waterbook.account(tank) for tank in tanks]

    async def drain_checks(self, tank: str | None) -> list[Json]:
        self._ask_store()
        return self.waterbook.checks(tank)

    async def forecast(self) -> list[Json]:
        self._ask_store()
        return self.waterbook.forecast()

    async def due(self) -> Json:
        self._ask_store()
        return self.waterbook.due()

    def tank_status(self) -> list[Json]:
        return self.status.status(self.now_ms)

    async def status_rows(self, tank: str | None, from_ms: int, to_ms: int) -> list[Json]:
        self._ask_store()
        return [row for row in self.status.rows if tank in (None, row["tank"])]

    async def batches(self, tank: str | None) -> list[Json]:
        self._ask_store()
        return [self.status.batches(one, iso(self.now_ms)) for one in self.status.states if tank in (None, one)]
