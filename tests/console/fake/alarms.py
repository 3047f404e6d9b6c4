"""Alarms of the fake farm: what stands, and what was written of it."""

from types import SimpleNamespace
from typing import Any

from alerts.nuisance import AlarmRow
from console.facts import Json
from gaugehouse.alarmfigures import Kept, performance
from gaugehouse.days import parse_ms
from tests.console.fake.farm import FakeFarm
from tests.console.fake.tank import T0_MS, iso


class FakeAlarms(FakeFarm):
    """Implements `console.facts.alarms`."""

    def every_alarm(self) -> list[Json]:
        test = {"method": "wet", "last": "2025-01-31", "due": "2026-01-31", "overdue": True, "newest": None}
        return [
            {**a, "respond": "within minutes", "test": {**test, "under_way": self.trials.get(a["id"])}}
            for a in self.standing.values()
        ]

    async def alarm_rows(
        self, source: str | None, from_ms: int, to_ms: int, limit: int, before: int | None = None
    ) -> list[Json]:
        self._ask_store()
        numbered = [{"entry": n, **row} for n, row in enumerate(sorted(self.rows, key=lambda row: row["time"]), 1)]
        rows = [
            row for row in numbered
            if source in (None, row["source"]) and iso(from_ms) <= row["time"] < iso(to_ms)
            and (before is None or row["entry"] < before)
        ]  # fmt: skip
        return rows[::-1][:limit]

    async def alarm_tests(self) -> list[Json]:
        self._ask_store()
        return []

    async def performance(self, from_ms: int, to_ms: int) -> Json:
        self._ask_store()
        rows = [AlarmRow(parse_ms(r["time"]), r["id"], r["priority"], r["event"], r["state"]) for r in self.rows]
        kept = Kept(sorted(rows, key=lambda row: row.time_ms), T0_MS - 40 * 86_400_000)
        site: Any = SimpleNamespace(zone=self.site.zone, day_starts_min=0, operator_positions=1)
        return performance(site, kept, from_ms, to_ms, self.now_ms)
