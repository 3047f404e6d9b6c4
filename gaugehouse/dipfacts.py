"""Dips and density samples as the console sees them: `console.facts.dips.DipFacts` over core, stores and record book."""

from collections.abc import Awaitable, Callable
from dataclasses import replace
from typing import Any

from gaugehouse.core import Core
from gaugehouse.days import iso_ms
from gaugehouse.dipacts import comparison_json, dip_of
from gaugehouse.dipgauge import held, held_json, rounded, sample_row, trend
from gaugehouse.dipjudge import gauge_standard_m, judge_dip, waited_for
from gaugehouse.diprecords import dips_of, samples_of
from gaugehouse.errors import CallError
from history.book import BookReader
from history.store import Store
from inventory.dips import Dip, compared
from models.reading import Instant
from models.stock_budget import AFTER_RECEIPT

Json = dict[str, Any]
Ask = Callable[..., Awaitable[Any]]


class DaemonDips:
    """See `console.facts.dips.DipFacts`. ask: a question to the stores, answered by a reader thread."""

    def __init__(self, core: Core, book: BookReader, store: Store, now_ms: Callable[[], int], ask: Ask) -> None:
        self._core, self._book, self._store, self._now_ms, self._ask = core, book, store, now_ms, ask

    async def rows(self, tank: str | None, from_ms: int, to_ms: int) -> list[Json]:
        found: list[Json] = await self._ask(self._rows, tank, from_ms, to_ms)
        return found

    def _rows(self, tank: str | None, from_ms: int, to_ms: int) -> list[Json]:
        dips = [dip for dip in dips_of(self._book, tank) if from_ms <= dip.time_ms < to_ms]
        return [rounded(held_json(one)) for one in held(self._core.site, self._store, dips)][::-1]

    async def samples(self, tank: str | None, from_ms: int, to_ms: int) -> list[Json]:
        found = await self._ask(samples_of, self._book, tank)
        return [sample_row(one) for one in found if from_ms <= one.time_ms < to_ms][::-1]

    async def trend(self, tank: str) -> Json:
        found: Json = await self._ask(trend, self._core.site, self._book, self._store, tank)
        return found

    def state(self, tank: str) -> Json:
        core, now_ms = self._core, self._now_ms()
        wait = waited_for(core, tank, now_ms)
        sample = core.dips.latest_density(tank)
        return {
            **dip_state(core, tank, now_ms),
            "sample": None if sample is None else {
                "number": sample.number, "time": iso_ms(sample.time_ms), "base_kgpm3": sample.base_kgpm3,
                "base_degC": sample.base_degC, "by": sample.by,
            },
            "base_kgpm3": core.keepers[tank].stock.product.base_density_kgpm3,
            "wait_s": wait.left_ms / 1000,
            "flows": wait.flows,
            "watched": wait.known,
        }  # fmt: skip

    def verdict(self, fields: Json) -> Json:
        core = self._core
        empty: Json = dict.fromkeys(("level_m", "gauge_m", "difference_m", "difference_u95_m", "within", "explained"))
        try:
            act = dip_of(fields)
        except CallError as error:
            return {**empty, "refused": str(error), "repeated": "", "wait_s": 0.0, "flows": False, "notes": []}
        now = Instant(core.at.seq, self._now_ms(), core.at.elapsed_ms)
        dip = replace(act.dip, time_ms=act.dip.time_ms or now.time_ms, entered_ms=now.time_ms)
        judged = judge_dip(core, now, dip, sure=act.sure)
        return {
            "refused": judged.refused,
            "level_m": judged.dip.level_m,
            "gauge_m": judged.dip.gauge_m,
            **comparison_json(judged),
            "wait_s": judged.wait.left_ms / 1000,
            "flows": judged.wait.flows,
            "notes": list(judged.notes),
        }


def dip_state(core: Core, tank: str, now_ms: int) -> Json:
    """The newest dips of a tank and when the next one is due; cheap enough to be asked every second."""
    dip, water, due = core.dips.latest(tank), core.dips.latest_water(tank), core.dips.next_due(tank)
    return {
        "level": None if dip is None else _level(core, dip),
        "water": None if water is None else {
            "number": water.number, "time": iso_ms(water.time_ms), "water_m": water.water_m,
            "age_s": max(0, now_ms - water.time_ms) / 1000,
            "fresh": now_ms - water.time_ms <= core.dips.rules.water_max_age_ms,
        },
        "water_from_dips": core.site.tank(tank).water_from_dips,
        "due": None if due.time_ms is None else iso_ms(due.time_ms),
        "due_for": due.why,
        "overdue": due.time_ms is None or due.time_ms < now_ms,
    }  # fmt: skip


def _level(core: Core, dip: Dip) -> Json:
    told = None
    if dip.gauge_m is not None and dip.level_m is not None and dip.standard_m is not None:
        known = gauge_standard_m(core.site.accuracy[dip.tank][AFTER_RECEIPT], dip.gauge_m)
        told = compared(dip.gauge_m, known, dip.level_m, dip.standard_m, core.dips.rules.limit_m)
    return {
        "number": dip.number, "time": iso_ms(dip.time_ms), "level_m": dip.level_m, "by": dip.by,
        "difference_m": None if told is None else told.difference_m, "within": None if told is None else told.within,
    }  # fmt: skip
