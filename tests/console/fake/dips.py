"""Dips of the fake farm: an invented row of dips of one tank, rules and trend by the real pure parts.

The gauge of "ostler-s" is 11 mm too high at every level; that of "ostler-n" has just seen flow.
"""

from dataclasses import replace
from typing import TYPE_CHECKING, Any

from console.facts import ActAnswer, FactsUnavailable, Json
from gaugehouse.dipacts import dip_of, sample_of
from gaugehouse.dipgauge import held_json, sample_row
from inventory.dips import (
    DAY_MS,
    DensitySample,
    Dip,
    DipRules,
    Purpose,
    compared,
    dip_standard_m,
    next_due,
    repeated,
    tape_factor,
)
from inventory.diptrend import CHECK, Point, Split, drift, split, to_check, verified
from tests.console.fake.tank import iso

if TYPE_CHECKING:
    from tests.console.fake.farm import FakeFarm

GAUGE_M = 0.002
RULES = DipRules()
ROW = ((150, 2.214, 11), (120, 8.902, 12), (90, 5.110, 9), (60, 10.731, 12), (31, 3.870, 10), (2, 6.391, 11))


class FakeDips:
    """Implements `console.facts.dips.DipFacts`."""

    def __init__(self, farm: "FakeFarm") -> None:
        self._farm = farm
        self.kept: list[Dip] = []
        self.drawn: list[DensitySample] = []
        for number, (days, level, off_mm) in enumerate(ROW, 1):
            at = farm.now_ms - days * DAY_MS
            dip = Dip(number, "ostler-s", at, at, "Ann", Purpose.VERIFY if number % 3 == 0 else Purpose.STOCK)
            self.kept.append(replace(
                dip, readings_m=(level, level), level_m=level, standard_m=dip_standard_m(RULES.doubt_m, 0.0),
                water_m=0.004, temperature_degC=11.4, temperature_kind="average", gauge_m=level + off_mm / 1000,
            ))  # fmt: skip

    def _of(self, tank: str | None) -> list[Dip]:
        return sorted((dip for dip in self.kept if tank in (None, dip.tank)), key=lambda dip: dip.time_ms)

    def _held(self, dip: Dip) -> Json:
        told = None
        if dip.gauge_m is not None and dip.level_m is not None and dip.standard_m is not None:
            told = compared(dip.gauge_m, GAUGE_M, dip.level_m, dip.standard_m, RULES.limit_m)
        from gaugehouse.dipgauge import Held

        return held_json(Held(dip, dip.gauge_m, told))

    async def rows(self, tank: str | None, from_ms: int, to_ms: int) -> list[Json]:
        self._store()
        return [self._held(dip) for dip in self._of(tank) if from_ms <= dip.time_ms < to_ms][::-1]

    async def samples(self, tank: str | None, from_ms: int, to_ms: int) -> list[Json]:
        self._store()
        found = [one for one in self.drawn if tank in (None, one.tank) and from_ms <= one.time_ms < to_ms]
        return [sample_row(one) for one in found][::-1]

    async def trend(self, tank: str) -> Json:
        self._store()
        rows = [row for row in map(self._held, self._of(tank)) if row["difference_m"] is not None]
        points = [
            Point(0, row["level_m"], row["difference_m"], row["standard_m"], row["purpose"] == "verify") for row in rows
        ]
        told = split(points, 0.0, 12.0)
        moved = drift(points, 0.01, 0.001, 0.0) if points else None
        check = to_check(rows[-1]["within"] if rows else None, told, moved)
        state = self.state(tank)
        return {
            "tank": tank, "dips": rows, "limit_m": RULES.limit_m, "limit_source": RULES.limit_source,
            "split": told._asdict() if isinstance(told, Split) else None,
            "split_refused": told if isinstance(told, str) else "",
            "drift": None if moved is None else {
                "way": moved.way, "since": None if moved.since is None else rows[moved.since]["time"], "told": None,
                "sums": [list(step) for step in moved.steps], "interval": moved.interval,
                "run_length": moved.run_length, "found_after": moved.found_after,
            },
            "verified": dict(verified(points, 0.0, 12.0)),
            "check": [{"what": name, "words": CHECK[name]} for name in check],
            "due": state["due"], "due_for": state["due_for"],
        }  # fmt: skip

    def state(self, tank: str) -> Json:
        now, dips = self._farm.now_ms, self._of(tank)
        levels = [dip for dip in dips if dip.level_m is not None]
        waters = [dip for dip in dips if dip.water_m is not None]
        due = next_due(
            levels[-1].time_ms if levels else None, waters[-1].time_ms if waters else None, RULES, water_from_dips=False
        )
        sample = next((one for one in reversed(self.drawn) if one.tank == tank and one.accepted), None)
        flows = tank == "ostler-n"
        return {
            "level": None if not levels else {
                **{name: self._held(levels[-1])[name] for name in ("number", "time", "level_m", "by", "difference_m")},
                "within": self._held(levels[-1])["within"],
            },
            "water": None if not waters else {
                "number": waters[-1].number, "time": iso(waters[-1].time_ms), "water_m": waters[-1].water_m,
                "age_s": (now - waters[-1].time_ms) / 1000, "fresh": now - waters[-1].time_ms < 2 * DAY_MS,
            },
            "water_from_dips": False,
            "sample": None if sample is None else {
                "number": sample.number, "time": iso(sample.time_ms), "base_kgpm3": sample.base_kgpm3,
                "base_degC": 15.0, "by": sample.by,
            },
            "base_kgpm3": 804.0,
            "due": None if due.time_ms is None else iso(due.time_ms),
            "due_for": due.why,
            "overdue": due.time_ms is None or due.time_ms < now,
            "wait_s": 1800.0 if flows else 0.0,
            "flows": flows,
            "watched": tank != "fennock",
        }  # fmt: skip

    def _judged(self, fields: Json) -> tuple[Dip, str, str]:
        dip = dip_of(fields).dip
        dip = replace(dip, time_ms=dip.time_ms or self._farm.now_ms, entered_ms=self._farm.now_ms)
        if self.state(dip.tank)["flows"]:
            return dip, "fuel still flows: wait 30 min more after it has stopped (static electricity)", ""
        agreed = repeated(dip.readings_m, RULES.repeats(dip.purpose))
        if agreed.value_m is None:
            return dip, agreed.words if dip.readings_m else "", agreed.words
        level = agreed.value_m * tape_factor(dip.tape_degC, RULES.tape_degC)
        gauge = next(t for t in self._farm.tanks if t.id == dip.tank).level_m
        standard = dip_standard_m(RULES.doubt_m, agreed.spread_m)
        return replace(dip, level_m=level, standard_m=standard, gauge_m=gauge), "", agreed.words

    def verdict(self, fields: Json) -> Json:
        dip, refused, words = self._judged(fields)
        row = self._held(dip)
        keep = ("level_m", "gauge_m", "difference_m", "difference_u95_m", "within", "explained")
        return {
            **{name: row[name] for name in keep}, "refused": refused, "repeated": words, "notes": [],
            "wait_s": self.state(dip.tank)["wait_s"], "flows": self.state(dip.tank)["flows"],
        }  # fmt: skip

    def act(self, name: str, fields: Json) -> ActAnswer:
        if name == "withdraw_dip":
            kept: list[Any] = self.kept if fields["kind"] == "dip" else self.drawn
            found = [one for one in kept if one.number == fields["number"]]
            if not found:
                return ActAnswer("unknown", f"{fields['kind']} {fields['number']} is none of the newest ones")
            kept.remove(found[0])
            return ActAnswer("done", "", {"tank": found[0].tank, **fields})
        if name == "add_dip":
            dip, refused, words = self._judged(fields)
            if refused:
                return ActAnswer("refused", refused)
            dip = replace(dip, number=len(self.kept) + 1)
            self.kept.append(dip)
            return ActAnswer("done", "", {**self._held(dip), "repeated": words, "note": ""})
        sample = sample_of(fields).sample
        why = fields["rejected"] or ("" if sample.observed_kgpm3 < 840 else "it is outside of 775 to 840 kg/m3")
        sample = replace(
            sample, number=len(self.drawn) + 1, time_ms=self._farm.now_ms, entered_ms=self._farm.now_ms,
            base_kgpm3=sample.observed_kgpm3, base_degC=15.0, accepted=not why, why=why,
        )  # fmt: skip
        self.drawn.append(sample)
        return ActAnswer("done", "", {**sample_row(sample), "note": f"not accepted: {why}" if why else ""})

    def _store(self) -> None:
        if self._farm.store_out:
            raise FactsUnavailable("the store at secret/place.db is locked")
