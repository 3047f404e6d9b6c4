"""A few entries of a record book."""

from console.facts import Json
from tests.console.fake.farm import FakeFarm
from tests.console.fake.tank import T0_MS, iso


class FakeRecords(FakeFarm):
    """Implements `console.facts.records`."""

    async def record_head(self) -> str:
        self._ask_store()
        return f"2:{'ab' * 32}"

    async def record_rows(
        self, kind: str | None, from_ms: int, to_ms: int, limit: int, before: int | None = None
    ) -> list[Json]:
        self._ask_store()
        if kind in ("started", "setting_changed"):
            rows = [row for row in self.starts if row["kind"] == kind and from_ms <= T0_MS < to_ms]
            return rows[:limit]
        row = {"n": 2, "time": iso(T0_MS), "kind": "alarm", "body": {}, "hash": "ab" * 32, "corrected_by": [3]}
        wanted = kind in (None, "alarm") and from_ms <= T0_MS < to_ms and (before is None or before > 2)
        return [row] if wanted else []

    async def pointing_at(self, n: int) -> Json | str:
        if n > 2:
            return f"the record book has no entry {n}; its last one is 2"
        return {"entry": n, "of": "ab" * 32, "kind": "alarm"}
