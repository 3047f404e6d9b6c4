"""The loops: what is fixed, their supply, their faults and their checks."""

import asyncio

from console.facts import Json, PaperSize
from gaugehouse import checkrecords
from gaugehouse.checkpaper import paper_of
from gaugehouse.days import iso_ms
from gaugehouse.facts.asking import Asking, House
from gaugehouse.faultfacts import figures_of, trace_json
from gaugehouse.faultrecords import fault_rows
from gaugehouse.faultwhy import why
from gaugehouse.loopcover import covers
from gaugehouse.loopjson import supply_json
from gaugehouse.paper import pdf_of
from history.book import BookReader


class DaemonLoops(Asking):
    """See `console.facts.loops`."""

    def __init__(self, house: House) -> None:
        super().__init__(house)
        self._traces = house.traces
        self._loop_facts = {loop.instrument: loop for loop in self._core.site.loops}

    def loop_facts(self, instrument: str) -> Json:
        site = self._core.site
        for bus in site.buses:
            for spec in bus.instruments:
                if spec.id == instrument:
                    where = f"{bus.host}:{bus.port}" if bus.host else bus.device
                    ne43 = self._core.ne43_of[instrument]
                    return {
                        "instrument": instrument,
                        "name": site.instrument_names[instrument],
                        "tanks": [tank.id for tank in site.tanks if tank.instrument == instrument],
                        "bus": f"{bus.id} ({bus.kind.value}, {where})",
                        "unit": str(spec.unit),
                        "ne43": {
                            "fail_low_mA": ne43.fail_low_mA,
                            "low_mA": ne43.low_mA,
                            "high_mA": ne43.high_mA,
                            "fail_high_mA": ne43.fail_high_mA,
                        },
                        "covers": self._covers(instrument),
                    }
        raise KeyError(instrument)

    def loop_budget(self, instrument: str) -> list[Json]:
        return [supply_json(budget) for budget in self._core.site.power.budgets_of(instrument)]

    def _covers(self, instrument: str) -> list[Json]:
        return [{"id": point.id, "name": point.name} for point in covers(self._core.site, instrument)]

    async def faults(self, instrument: str | None, from_ms: int, to_ms: int) -> list[Json]:
        wanted = None if instrument is None else {instrument}
        rows: list[Json] = await self._ask(fault_rows, self._book, wanted, from_ms, to_ms)
        return rows[::-1]

    async def fault_trace(self, instrument: str, number: int) -> list[Json]:
        samples = await self._ask(self._traces.trace, instrument, number)
        return trace_json(self._loop_facts[instrument], samples)

    async def fault_causes(self, instrument: str, number: int) -> Json:
        site = self._core.site
        found: Json | None = await self._ask(why, site, self._book, self._traces, self._store, instrument, number)
        if found is None:
            raise KeyError(number)
        return found

    async def loop_figures(self, instrument: str) -> list[Json]:
        rows: list[Json] = await self._ask(fault_rows, self._book, {instrument})
        figures = figures_of(self._core.site, rows, self._core.loops.watch, self._clock.now_ms())
        return [row for row in figures if row["instrument"] == instrument]

    async def check_records(self, instrument: str) -> list[Json]:
        records: list[Json] = await self._ask(_check_rows, self._book, instrument)
        return records

    async def check_record(self, instrument: str, number: int) -> Json | None:
        record: Json | None = await self._ask(checkrecords.record, self._book, number)
        return record if record is not None and record["instrument"] == instrument else None

    async def check_paper(self, instrument: str, number: int, size: PaperSize) -> bytes | None:
        record = await self.check_record(instrument, number)
        if record is None:
            return None
        paper = paper_of(record, self._site.zone, size=size)
        return await asyncio.to_thread(pdf_of, paper)


def _check_rows(book: BookReader, instrument: str) -> list[Json]:
    rows = [checkrecords.row(record) for record in checkrecords.records(book, instrument)]
    return [row | {name: iso_ms(row.pop(f"{name}_ms")) for name in ("started", "ended")} for row in rows]
