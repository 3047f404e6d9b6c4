"""Dips and density samples by hand."""

from collections.abc import Awaitable, Callable
from dataclasses import replace
from typing import Any

from console.facts import Json
from gaugehouse.core import Core
from gaugehouse.days import iso_ms
from gaugehouse.dipacts import comparison_json, dip_of
from gaugehouse.dipgauge import held, held_json, rounded, sample_row, trend
from gaugehouse.dipjudge import judge_dip, waited_for
from gaugehouse.diprecords import dips_of, samples_of
from gaugehouse.dipstate import dip_state
from gaugehouse.errors import CallError
from history.book import BookReader
from history.store import Store
from models.reading import Instant

Ask = Callable[..., Awaitable[Any]]


class DaemonDips:
    """See `console.facts.dips`. ask: a question to the stores, answered by a reader thread."""

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
