"""The daemon as the console sees it: `console.facts.Facts` over the core, the stores and the record book.

Nothing here blocks the loop: questions to the stores go to reader threads, an act waits for the record book.
"""

import asyncio
from collections.abc import Awaitable, Callable, Sequence
from typing import Any, Final, Protocol

from collector.health import BusHealth
from console.facts import AckAnswer, AckStatus, ActAnswer, ActWaits, FactsUnavailable, Json, PaperSize, SiteFacts
from console.signed import permit
from console.words import LIMITS
from gaugehouse import checkrecords
from gaugehouse.acts import Acknowledge, Act, Answer, Taken, act_of
from gaugehouse.alarmfigures import kept_rows, performance
from gaugehouse.alarmtestacts import proof_rows
from gaugehouse.bookview import Closing, book_json, closing
from gaugehouse.chain import chain_of
from gaugehouse.checkpaper import paper_of
from gaugehouse.core import Core
from gaugehouse.corrections import pointing_at, record_rows
from gaugehouse.days import iso_ms
from gaugehouse.dipfacts import DaemonDips
from gaugehouse.documentfacts import document_facts, document_rows, documents_csv
from gaugehouse.documentmoves import document_moves
from gaugehouse.documentrecords import Kept, document_with
from gaugehouse.drainrecords import check_rows
from gaugehouse.duework import due_list, dues_of_book, dues_of_core
from gaugehouse.errors import CallError, CouldNot
from gaugehouse.faultfacts import figures_of, trace_json
from gaugehouse.faultrecords import fault_rows
from gaugehouse.faultwhy import why
from gaugehouse.forecastwork import forecasts, held_of
from gaugehouse.historyfigures import aggregate_json, question_of
from gaugehouse.leakacts import leak_tests
from gaugehouse.leakpaper import paper_of as leak_paper_of
from gaugehouse.leakwork import leak, outcome_json
from gaugehouse.liveview import LiveView, level_limits
from gaugehouse.loopcover import covers
from gaugehouse.loopjson import supply_json
from gaugehouse.metrics import DaemonMetrics
from gaugehouse.movementrecords import movement_rows, rounded
from gaugehouse.paper import pdf_of
from gaugehouse.people import DaemonPeople
from gaugehouse.receiptjson import receipt_json
from gaugehouse.receiptpaper import paper_of as receipt_paper_of
from gaugehouse.receiptrecords import receipt_record, receipts_of
from gaugehouse.records import alarm_rows
from gaugehouse.reportfacts import DaemonReports
from gaugehouse.statusrecords import batches_json, contents_of, status_rows
from gaugehouse.statusroom import status_json
from gaugehouse.stocksheet import sheet_now, stock_json
from gaugehouse.vitals import Vitals
from gaugehouse.waterwork import water_json, waters_of
from history.aggregating import Columnar, aggregated
from history.book import BookReader
from history.errors import BadQuestion, StoreDamaged, StoreUnavailable
from history.readers import ReaderPool
from history.store import Store
from history.traces import TraceReader
from inventory.batches import Content
from inventory.documents import document_json
from models.errors import OutOfRange
from models.tank import Tank

PROFILE_POINTS: Final = 60
MOST_RECEIPTS: Final = 200
"""So many of those that are over are told at once; each is there by its number."""
STALE_POLLS: Final = 5
LEAST_STALE_S: Final = 5.0

_STATUS: Final = {
    Taken.DONE: AckStatus.ACCEPTED,
    Taken.ALREADY: AckStatus.ALREADY,
    Taken.OLDER: AckStatus.OUTDATED,
    Taken.REFUSED: AckStatus.REFUSED,
}


class SiteClock(Protocol):
    """The site's clock, and how many times faster than real time it runs."""

    @property
    def speed(self) -> float: ...

    def now_ms(self) -> int: ...


class DaemonFacts:
    """See `console.facts.Facts` for what each call answers."""

    def __init__(
        self,
        core: Core,
        clock: SiteClock,
        store: Store,
        book: BookReader,
        traces: TraceReader,
        readers: ReaderPool,
        submit: Callable[[Act], Awaitable[Answer]],
        health: Callable[[str], BusHealth],
        *,
        build: str,
        simulated: bool,
        columns: Columnar,
        waits: Callable[[], str] = str,
        files: Callable[[], Json] = dict,
        channels: Callable[[], list[Json]] = list,
        servers: Callable[[], list[Json]] = list,
    ) -> None:
        site = core.site
        self._core, self._clock, self._store, self._book, self._traces = core, clock, store, book, traces
        self._readers, self._submit = readers, submit
        longest_s = site.alarm_rules.longest_shelf_ms / 1000
        self._site = SiteFacts(site.id, site.name, site.zone, simulated, build, longest_s)
        self._view = LiveView(core, build, health, waits)
        self._loop_facts = {loop.instrument: loop for loop in site.loops}
        self._live = self._view.build(0, clock.now_ms())
        self._newer = asyncio.Event()
        self._vitals: Vitals | None = None
        self.people = DaemonPeople(core.people, submit, site.session_ms)
        self._metrics: DaemonMetrics | None = None
        self._channels, self._servers = channels, servers
        self._columns = columns
        self.dips = DaemonDips(core, book, store, clock.now_ms, self._ask)
        self.reports = DaemonReports(core, book, store, self._now_ms, self._ask)
        self._files = files

    @property
    def site(self) -> SiteFacts:
        return self._site

    def watch(self, vitals: Vitals, metrics: DaemonMetrics) -> None:
        """Hand over what looks after the daemon; it counts what this object shows, and so comes after it."""
        self._vitals, self._metrics = vitals, metrics

    def metrics(self) -> bytes:
        return b"" if self._metrics is None else self._metrics.text()

    def vital_checks(self) -> list[Json]:
        found = [] if self._vitals is None else self._vitals.checks()
        return [{"name": check.name, "ok": check.ok, "text": check.text} for check in found]

    def not_ready(self) -> str:
        return "it begins" if self._vitals is None else self._vitals.not_ready()

    async def pulse(self) -> None:
        """Make a new live object once a real second, for as long as the daemon runs."""
        seq = 0
        while True:
            seq += 1
            building = self._view.building(seq, self._clock.now_ms())
            while True:
                try:
                    next(building)
                except StopIteration as done:
                    self._live = done.value
                    break
                await asyncio.sleep(0)
            waiting, self._newer = self._newer, asyncio.Event()
            waiting.set()
            await asyncio.sleep(1.0)

    def live(self) -> Json:
        return self._live

    async def newer_live(self, seq: int) -> Json:
        while self._live["seq"] == seq:
            await self._newer.wait()
        return self._live

    def tank_facts(self, tank: str) -> Json:
        site = self._core.site
        model = site.tank(tank)
        period_s = site.period_ms[model.instrument] / 1000
        ends = model.range_m
        suction_m, fill = site.extras[tank].suction_m, site.safe_fill_of(tank)
        limits = [
            {"condition": condition, "at_m": at, "name": LIMITS[condition], "volume_m3": _volume(model, at)}
            for condition, at in level_limits(site.alarms_of(tank))
        ]
        return {
            "id": model.id,
            "name": model.name,
            "product": site.product_of(tank).name,
            "instrument": model.instrument,
            "reference_height_m": model.reference_height_m,
            "top_m": model.table.top_m,
            "capacity_m3": model.table.capacity_m3,
            "range_m": None if ends is None else [min(ends), max(ends)],
            "reach_m": site.reach_m[tank],
            "stale_after_s": max(LEAST_STALE_S * self._clock.speed, STALE_POLLS * period_s),
            "limits": limits,
            "profile": _profile(model),
            "suction": None if suction_m is None else {"level_m": suction_m, "volume_m3": _volume(model, suction_m)},
            "safe_fill": None if fill is None else fill._asdict(),
        }

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

    def chain(self, tank: str) -> Json:
        return chain_of(self._core.site, self._core.keepers[tank])

    async def trend(self, tank: str, quantity: str, start_ms: int, span_ms: int, points: int) -> Json:
        trend = await self._ask(self._store.trend, tank, quantity, start_ms, span_ms, points)
        return {name: list(value) if isinstance(value, tuple) else value for name, value in trend._asdict().items()}

    def files(self) -> Json:
        return self._files()

    async def aggregate(self, tank: str, asked: Json) -> Json:
        question = question_of(self._core.site, tank, asked)
        try:
            results = await self._ask(aggregated, self._columns, question)
        except BadQuestion as error:
            raise ValueError(str(error)) from error
        return aggregate_json(question, results)

    def every_alarm(self) -> list[Json]:
        return self._view.every_alarm()

    def settings(self) -> Json:
        site = self._core.site
        return {
            "settings": dict(site.settings),
            "fingerprint": site.fingerprint(),
            "files": [path.name for path in site.source_files],
            "warnings": [f"{one.key}: {one.text}" for one in site.warnings],
        }

    async def record_head(self) -> str:
        return str(await self._ask(self._book.head))

    async def record_rows(
        self, kind: str | None, from_ms: int, to_ms: int, limit: int, before: int | None = None
    ) -> list[Json]:
        kinds = None if kind is None else [kind]
        rows: list[Json] = await self._ask(record_rows, self._book, kinds, from_ms, to_ms, limit, before)
        return rows

    async def pointing_at(self, n: int) -> Json | str:
        try:
            found: Json = await self._ask(pointing_at, self._book, n)
        except CallError as error:
            return str(error)
        return found

    async def alarm_tests(self) -> list[Json]:
        rows: list[Json] = await self._ask(proof_rows, self._book)
        return rows[::-1]

    async def faults(self, instrument: str | None, from_ms: int, to_ms: int) -> list[Json]:
        wanted = None if instrument is None else {instrument}
        rows: list[Json] = await self._ask(fault_rows, self._book, wanted, from_ms, to_ms)
        return rows[::-1]

    async def movements(self, tank: str | None, from_ms: int, to_ms: int) -> list[Json]:
        wanted = None if tank is None else {tank}
        rows: list[Json] = await self._ask(movement_rows, self._book, wanted, from_ms, to_ms)
        running = {(one.tank, one.number): one for one in self._core.movements.open()}
        for row in rows:  # one that runs has moved on since it was written
            movement = running.get((row["tank"], row["number"]))
            if movement is not None:
                row |= rounded(self._core.movements.row(movement))
        return rows[::-1]

    async def water(self, tanks: Sequence[str]) -> list[Json]:
        air, now_ms = self._core.waterlog.air(), self._now_ms()
        told = await self._ask(waters_of, self._core.site, self._store, self._book, air, tanks, now_ms)
        return [water_json(one) for one in told]

    async def drain_checks(self, tank: str | None) -> list[Json]:
        rows: list[Json] = await self._ask(check_rows, self._book, tank)
        return sorted(rows, key=lambda row: (row["day"], row["number"]), reverse=True)

    async def forecast(self) -> list[Json]:
        core = self._core
        newest = {name: keeper.latest for name, keeper in core.keepers.items()}
        now_ms = self._now_ms()
        held = held_of(core, now_ms)
        rows: list[Json] = await self._ask(forecasts, core.site, self._store, self._book, newest, now_ms, held)
        return rows

    async def due(self) -> Json:
        now_ms = self._now_ms()
        dues = dues_of_core(self._core, now_ms)
        return due_list([*dues, *await self._ask(dues_of_book, self._core.site, self._book, now_ms)], now_ms)

    def stock(self) -> Json:
        now_ms = self._now_ms()
        return stock_json(sheet_now(self._core, now_ms), now_ms)

    async def stock_book(self, kind: str, name: str, product: str | None, tank: str | None) -> Json:
        site, now_ms = self._core.site, self._now_ms()
        try:
            answer: Json = await self._ask(book_json, site, self._store, self._book, now_ms, kind, name, product, tank)
        except CallError as error:
            raise ValueError(str(error)) from error
        return answer

    async def close_stock(
        self, kind: str, name: str, product: str, by: str, comment: str, seal: str | None
    ) -> ActAnswer:
        site, now_ms, invented = self._core.site, self._now_ms(), self._site.simulated
        try:
            found: Closing = await self._ask(
                closing, site, self._store, self._book, now_ms, kind, name, product, by, comment, invented
            )
        except CallError as error:
            raise ValueError(str(error)) from error
        refused = found.refusal(seal)
        return ActAnswer("refused", refused) if refused else await self.act("close_stock", found.fields)

    def _now_ms(self) -> int:
        """The data's own clock."""
        return self._core.at.time_ms or self._clock.now_ms()

    def leak_tanks(self) -> list[str]:
        return list(self._core.site.leak.tanks)

    async def leak(self, tank: str, from_ms: int | None, to_ms: int | None) -> Json:
        site, now_ms = self._core.site, self._core.at.time_ms or self._clock.now_ms()
        outcome = await self._ask(leak, site, self._store, self._book, tank, now_ms, from_ms, to_ms)
        return outcome_json(site, outcome)

    async def leak_tests(self, tank: str | None) -> list[Json]:
        records: list[Json] = await self._ask(leak_tests, self._book, tank)
        return records

    async def leak_paper(self, number: int, size: PaperSize) -> bytes | None:
        site = self._core.site
        record = next((one for one in await self.leak_tests(None) if one["number"] == number), None)
        if record is None:
            return None
        paper = leak_paper_of(record, site.name, site.zone, site.volume_correction, size=size)
        return await asyncio.to_thread(pdf_of, paper)

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

    async def alarm_rows(
        self, source: str | None, from_ms: int, to_ms: int, limit: int, before: int | None = None
    ) -> list[Json]:
        wanted = None if source is None else {source}
        rows: list[Json] = await self._ask(alarm_rows, self._book, wanted, from_ms, to_ms, newest=limit, before=before)
        for row in rows:
            view = self._core.alarms.view(row["id"])
            row["name"] = row["condition"] if view is None else view.name
        return rows[::-1]

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

    async def receipts(self) -> list[Json]:
        over: list[Json] = await self._ask(receipts_of, self._book, MOST_RECEIPTS)
        return [receipt_json(self._core, one) for one in reversed(self._core.receipts.all())] + over

    async def receipt(self, number: int) -> Json | None:
        open_one = self._core.receipts.get(number)
        if open_one is not None:
            return receipt_json(self._core, open_one)
        found: Json | None = await self._ask(receipt_record, self._book, number)
        return found

    async def receipt_paper(self, number: int, size: PaperSize) -> bytes | None:
        found: Json | None = await self._ask(receipt_record, self._book, number)
        if found is None:
            return None
        paper = receipt_paper_of(found, self._site.name, self._site.zone, size=size)
        return await asyncio.to_thread(pdf_of, paper)

    async def act(self, name: str, fields: Json) -> ActAnswer:
        try:
            act = act_of(name, fields)
        except CallError as error:
            return ActAnswer("wrong", str(error))
        permit(name)
        answer = await self._done(act)
        return ActAnswer(answer.status.value, answer.text, dict(answer.body))

    def tank_status(self) -> list[Json]:
        room, now_ms = self._core.status, self._core.at.time_ms or self._clock.now_ms()
        return [status_json(tank.id, room.state(tank.id), now_ms) for tank in self._core.site.tanks if room]

    async def status_rows(self, tank: str | None, from_ms: int, to_ms: int) -> list[Json]:
        wanted = None if tank is None else {tank}
        rows: list[Json] = await self._ask(status_rows, self._book, wanted, from_ms, to_ms)
        return rows[::-1]

    async def batches(self, tank: str | None) -> list[Json]:
        site, room, now_ms = self._core.site, self._core.status, self._clock.now_ms()
        tanks = [one.id for one in site.tanks if room and tank in (None, one.id)]

        def work(book: BookReader) -> dict[str, Content]:
            return contents_of(site, book, tanks)

        contents: dict[str, Content] = await self._ask(work, self._book)
        return [batches_json(site, one, contents[one], room.state(one).release, now_ms) for one in tanks]

    def channels(self) -> list[Json]:
        return self._channels()

    def servers(self) -> list[Json]:
        return self._servers()

    async def performance(self, from_ms: int, to_ms: int) -> Json:
        site, now_ms = self._core.site, self._clock.now_ms()

        def work(book: BookReader) -> Json:
            return performance(site, kept_rows(book, to_ms), from_ms, to_ms, now_ms)

        answer: Json = await self._ask(work, self._book)
        return answer

    async def acknowledge(self, alarm_id: str, occurrence: int, by: str, comment: str) -> AckAnswer:
        permit("acknowledge")
        answer = await self._done(Acknowledge(alarm_id, occurrence, by, comment))
        status = _STATUS.get(answer.status, AckStatus.UNKNOWN)
        view = self._core.alarms.view(alarm_id)
        newest = None if view is None else view.occurrence
        return AckAnswer(status, answer.body.get("by", ""), answer.body.get("time", ""), newest, answer.text)

    async def _done(self, act: Act) -> Answer:
        try:
            return await self._submit(act)
        except CouldNot as error:
            raise ActWaits(str(error)) from error

    async def _ask(self, question: Callable[..., Any], *args: object, **options: object) -> Any:
        try:
            return await self._readers.call(question, *args, **options)
        except (StoreUnavailable, StoreDamaged) as error:
            raise FactsUnavailable(str(error)) from error


def _check_rows(book: BookReader, instrument: str) -> list[Json]:
    rows = [checkrecords.row(record) for record in checkrecords.records(book, instrument)]
    return [row | {name: iso_ms(row.pop(f"{name}_ms")) for name in ("started", "ended")} for row in rows]


def _volume(tank: Tank, level_m: float) -> float | None:
    try:
        return tank.table.volume_m3(level_m)
    except OutOfRange:
        return None


def _profile(tank: Tank) -> list[list[float]]:
    """Litres per millimetre (numerically m3 per m) from the bottom to the top of the table."""
    bottom, top = tank.table.bottom_m, tank.table.top_m
    step = (top - bottom) / PROFILE_POINTS
    levels = [bottom + step * (k + 0.5) for k in range(PROFILE_POINTS)]
    volume = [tank.table.volume_m3(bottom + step * k) for k in range(PROFILE_POINTS)] + [tank.table.capacity_m3]
    return [[level, (volume[k + 1] - volume[k]) / step] for k, level in enumerate(levels)]
