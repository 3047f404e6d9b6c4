"""The rounds of the demo's people: opening balances, drain checks, dips, releases, alarms, faults, days to be closed.

Each round gives the acts that are due at a moment. Looks at the core as a page does, at the farm as a person with a
tape does.
"""

import math
from collections.abc import Callable, Mapping
from types import MappingProxyType
from typing import Final

from gaugehouse.act import Json
from gaugehouse.bookview import closing
from gaugehouse.closeroom import DAY, MONTH
from gaugehouse.core import Core
from gaugehouse.days import Days
from gaugehouse.demotold import ANA, BEN, CLEO, DAN, Told
from gaugehouse.leakwork import leak, outcome_json
from gaugehouse.site import Site
from gaugehouse.stores import Stores
from inventory.leak import Verdict
from inventory.status import S
from models.reading import Instant
from simulator.chance import stream
from simulator.demo.past import DAYS, QUIET
from simulator.farm import Farm
from simulator.weather import DAY_MS

MINUTE_MS: Final = 60_000
ROUND: Final[Mapping[str, int]] = MappingProxyType(
    {"palm": 300, "dune": 520, "north": 610, "ridge": 640, "finch": 644, "slop": 650}
)
"""At which minute of a farm's day somebody is at a tank: it has long been at rest then, so that a tape may go in."""

DIP_EVERY: Final = 2
SAMPLED: Final = ("north", 3)
LEAK_MINUTE: Final = 1200
SHELVE_MINUTE: Final = 1360
LEFT_OUT: Final = "north"
"""Its drain checks of the last two days were left out: one is overdue when the demo begins."""

ACK_AFTER_MS: Final = 300_000
TEST_AFTER_MS: Final = 240_000
UNTOUCHED_MS: Final = 900_000
"""What is raised so short before the demo is left for whoever looks at it."""

OPEN_DAYS: Final = 2
"""So many days before the demo are not closed yet."""

CLOSES_AT_MS: Final = 6 * 3_600_000


class Rounds:
    """What people do by the clock, and about what they see."""

    def __init__(
        self, site: Site, core: Core, farm: Farm, stores: Stores, seed: int, start_ms: int, end_ms: int, first: int
    ) -> None:
        self._site, self._core, self._farm, self._stores = site, core, farm, stores
        self._start_ms, self._end_ms, self._first = start_ms, end_ms, first
        self._chance = stream(seed, "rounds")
        self._days = Days(site.zone, site.day_starts_min)
        self._done: set[tuple[str, int]] = set()
        self._waits: dict[str, int] = {}
        self._entered: set[tuple[str, int]] = set()
        self._last_close_ms = self._days.at(end_ms).start_ms - OPEN_DAYS * DAY_MS

    def look(self, at: Instant, write: Callable[[], None]) -> list[Told]:
        """The acts of now. write: brings to the files what they are to be asked about."""
        day, ms = divmod(at.time_ms - self._start_ms, DAY_MS)
        told: list[Told] = []
        if self._once("opening", 0, ms, 4) and day == 0:
            told += self._openings()
        for tank, minute in ROUND.items():
            if self._once(tank, day, ms, minute):
                told += self._check(tank, day + self._first)
                told += self._dip(tank, day + self._first)
        if self._once("leak", day, ms, LEAK_MINUTE) and day + self._first == DAYS - 1:
            write()
            told += self._leak(at.time_ms)
        if self._once("shelf", day, ms, SHELVE_MINUTE) and day + self._first == DAYS - 1:
            told.append(Told("shelve", {
                "alarm": "slop.low", "by": DAN, "span_s": 8 * 3600, "reason": "slop tank is emptied for its inspection",
            }))  # fmt: skip
        told += self._releases(at)
        if at.time_ms < self._end_ms - UNTOUCHED_MS:
            told += self._alarms(at)
            told += self._faults(at)
        told += self._closes(at, write)
        return told

    def _once(self, what: str, day: int, ms: int, minute: float) -> bool:
        if ms < minute * MINUTE_MS or (what, day) in self._done:
            return False
        self._done.add((what, day))
        return True

    def _openings(self) -> list[Told]:
        told = []
        for name, keeper in self._core.keepers.items():
            reading = keeper.latest
            if reading is not None and reading.gov_m3 is not None and reading.gsv_m3 is not None:
                told.append(Told("add_document", {
                    "kind": "opening balance", "tank": name, "observed_m3": round(reading.gov_m3, 3),
                    "standard_m3": round(reading.gsv_m3, 3), "by": ANA, "sure": True,
                    "comment": "the book of the demo begins",
                }))  # fmt: skip
        return told

    def _check(self, tank: str, day: int) -> list[Told]:
        if tank == LEFT_OUT and day >= DAYS - 2:
            return []
        fields: Json = {"tank": tank, "by": BEN if day % 2 else CLEO, "appearance": "clear and bright"}
        if tank == "finch" and day == DAYS - 4:
            fields |= {"result": "water", "water_m3": 0.0004, "comment": "a little water after the rain"}
        else:
            fields |= {"result": "clear"}
        return [Told("drain_check", fields)]

    def _dip(self, tank: str, day: int) -> list[Told]:
        told: list[Told] = []
        truth = self._farm.truth()[tank]
        if day % DIP_EVERY == DAYS % DIP_EVERY or day == DAYS - 1:
            level_m = round(truth.level_m + self._chance.gauss(0, 0.0006), 3)
            fields: Json = {
                "tank": tank, "by": CLEO if day % 2 else BEN, "readings_m": [level_m, level_m],
                "temperature_degC": round(truth.temperature_degC, 1), "temperature_kind": "average",
            }  # fmt: skip
            if self._site.tank(tank).water is not None:
                fields["water_m"] = round(truth.water_m, 3)
            told.append(Told("add_dip", fields))
        if (tank, day) == SAMPLED:
            degC = round(truth.temperature_degC, 1)
            told.append(Told("add_density_sample", {
                "tank": tank, "by": ANA, "observed_kgpm3": round(800.4 * math.exp(-9.2e-4 * (degC - 15)), 1),
                "observed_degC": degC, "meter": "hydrometer", "place": "middle", "certificate_kgpm3": 800.0,
            }))  # fmt: skip
        return told

    def _leak(self, now_ms: int) -> list[Told]:
        outcome = leak(self._site, self._stores.readings, self._stores.book, QUIET, now_ms)
        if outcome.verdict is Verdict.REFUSED:
            return []
        result = outcome_json(self._site, outcome)
        return [Told("sign_leak_test", {"result": result, "by": ANA, "comment": "three quiet days"})]

    def _releases(self, at: Instant) -> list[Told]:
        told = []
        for name in self._core.keepers:
            state = self._core.status.get(name)
            if state is None or state.status is not S.AWAITING_TEST:
                self._waits.pop(f"test {name}", None)
            elif at.time_ms - self._waits.setdefault(f"test {name}", at.time_ms) >= TEST_AFTER_MS:
                told.append(Told("release_tank", {
                    "tank": name, "by": ANA, "appearance": "clear and bright", "water_test": "passed",
                    "comment": "bottom sample",
                }))  # fmt: skip
        return told

    def _alarms(self, at: Instant) -> list[Told]:
        told = []
        for alarm in self._core.alarms.standing():
            key = f"alarm {alarm.id} {alarm.occurrence}"
            if "unacknowledged" not in alarm.state.value:
                self._waits.pop(key, None)
            elif at.time_ms - self._waits.setdefault(key, at.time_ms) >= ACK_AFTER_MS:
                said = "looked at; told the operator" if alarm.condition in LIMITS else "told Dan"
                by = self._chance.choice((BEN, CLEO))
                fields = {"alarm": alarm.id, "occurrence": alarm.occurrence, "by": by, "comment": said}
                told.append(Told("acknowledge", fields))
        return told

    def _faults(self, at: Instant) -> list[Told]:
        """Two hours after a fault Dan says what he found; of the newest one nobody knows the cause yet."""
        told = []
        for instrument, (cause, part, action) in FOUND.items():
            number = self._core.faults.newest_number(instrument)
            runs = any(one.instrument == instrument for one in self._core.faults.open_faults())
            key = f"fault {instrument} {number}"
            if not number or runs or (instrument, number) in self._entered:
                continue
            if at.time_ms - self._waits.setdefault(key, at.time_ms) >= 2 * 3_600_000:
                self._entered.add((instrument, number))
                fields: Json = {"instrument": instrument, "number": number, "by": DAN, "action": action}
                fields |= {"cause": cause, "part": part, "close": True} if cause else {"comment": part}
                told.append(Told("fault_entry", fields))
        return told

    def _closes(self, at: Instant, write: Callable[[], None]) -> list[Told]:
        """In the morning Ana signs the day before, and a month that has ended."""
        today = self._days.at(at.time_ms)
        if at.time_ms < today.start_ms + CLOSES_AT_MS or today.start_ms > self._last_close_ms:
            return []
        if ("close", today.start_ms) in self._done:
            return []
        self._done.add(("close", today.start_ms))
        yesterday = self._days.at(today.start_ms - 1).date
        write()
        told = []
        for product in dict.fromkeys(tank.product for tank in self._site.tanks):
            periods = [(DAY, yesterday)] if yesterday[:7] == today.date[:7] else [(MONTH, yesterday[:7])]
            for kind, name in periods:
                found = closing(
                    self._site, self._stores.readings, self._stores.book, at.time_ms, kind, name, product, ANA, "", True
                )
                if not found.obstacles:
                    told.append(Told("close_stock", found.fields))
        return told


LIMITS: Final = frozenset(
    {"critical_high", "high_high", "high", "low", "low_low", "rise_fast", "fall_fast", "issue_not_released"}
)
FOUND: Final = {
    "dune_loop": ("wire loose at terminal 4", "terminal", "wire cut back and clamped anew, level held against a dip"),
    "finch_loop": ("gauge reported failure in heavy rain", "gauge", "window wiped, cover sealed"),
    "palm_loop": ("", "came back by itself; to be watched", "loop current measured: as it should be"),
}
"""Cause, part (or what is said where no cause is known) and action."""
