"""The alarms: all there can be, their past, their tests and how they perform."""

from console.facts import Json
from gaugehouse.alarmfigures import kept_rows, performance
from gaugehouse.alarmtestacts import proof_rows
from gaugehouse.facts.asking import Asking
from gaugehouse.records import alarm_rows
from history.book import BookReader


class DaemonAlarms(Asking):
    """See `console.facts.alarms`."""

    def every_alarm(self) -> list[Json]:
        return self._view.every_alarm()

    async def alarm_rows(
        self, source: str | None, from_ms: int, to_ms: int, limit: int, before: int | None = None
    ) -> list[Json]:
        wanted = None if source is None else {source}
        rows: list[Json] = await self._ask(alarm_rows, self._book, wanted, from_ms, to_ms, newest=limit, before=before)
        for row in rows:
            view = self._core.alarms.view(row["id"])
            row["name"] = row["condition"] if view is None else view.name
        return rows[::-1]

    async def alarm_tests(self) -> list[Json]:
        rows: list[Json] = await self._ask(proof_rows, self._book)
        return rows[::-1]

    async def performance(self, from_ms: int, to_ms: int) -> Json:
        site, now_ms = self._core.site, self._clock.now_ms()

        def work(book: BookReader) -> Json:
            return performance(site, kept_rows(book, to_ms), from_ms, to_ms, now_ms)

        answer: Json = await self._ask(work, self._book)
        return answer
