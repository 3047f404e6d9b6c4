"""Loops of the fake farm."""

from console.facts import Json, PaperSize
from gaugehouse.loopjson import supply_json
from models.loopbudget import Circuit, Supply, supply_budget
from tests.console.fake.farm import FakeFarm
from tests.console.fake.loopbook import CAUSES
from tests.console.fake.tank import iso

NE43 = {"fail_low_mA": 3.6, "low_mA": 3.8, "high_mA": 20.5, "fail_high_mA": 21.0}
FIGURES = ((30, 1, None), (90, 3, 116.7))


class FakeLoops(FakeFarm):
    """Implements `console.facts.loops`."""

    def loop_facts(self, instrument: str) -> Json:
        t = self._tank(instrument.removeprefix("LI-"))
        return {
            "instrument": instrument,
            "name": f"Level indicator {t.name}",
            "tanks": [t.id],
            "bus": "farm gateway, TCP",
            "unit": "3",
            "ne43": NE43,
            "covers": [{"id": "top-switch", "name": "Top switch"}] if instrument == "LI-ostler-s" else [],
        }

    def loop_budget(self, instrument: str) -> list[Json]:
        feeding = Supply("psu", 24.0, 200.0)
        return [supply_json(supply_budget(feeding, [Circuit(instrument, 12.0, burdens_ohm=(250.0,))]))]

    async def faults(self, instrument: str | None, from_ms: int, to_ms: int) -> list[Json]:
        self._ask_store()
        rows = [self.loopbook.row(number) for number in (2, 1)]
        return [
            row for row in rows
            if instrument in (None, row["instrument"])
            and str(row["start"]) < iso(to_ms) and (row["end"] is None or str(row["end"]) > iso(from_ms))
        ]  # fmt: skip

    async def fault_trace(self, instrument: str, number: int) -> list[Json]:
        self._ask_store()
        return self.loopbook.trace(number) if instrument == "LI-fennock" else []

    async def fault_causes(self, instrument: str, number: int) -> Json:
        self._ask_store()
        return CAUSES

    async def loop_figures(self, instrument: str) -> list[Json]:
        self._ask_store()
        row = {"instrument": instrument, "watched_h": 700.25, "lost_h": 1.5, "availability_percent": 99.7858}
        return [row | {"days": days, "faults": 2 * k, "mean_time_between_h": mean} for days, k, mean in FIGURES]

    async def check_records(self, instrument: str) -> list[Json]:
        self._ask_store()
        return [row for row in self.checks.records if row["instrument"] == instrument]

    async def check_record(self, instrument: str, number: int) -> Json | None:
        rows = await self.check_records(instrument)
        return next((row for row in rows if row["number"] == number), None)

    async def check_paper(self, instrument: str, number: int, size: PaperSize) -> bytes | None:
        record = await self.check_record(instrument, number)
        return None if record is None else f"%PDF of {number} on {size}".encode()
