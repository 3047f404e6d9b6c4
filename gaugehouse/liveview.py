"""The newest state of a site as the pages and the API see it: one JSON-ready object, made once a second for all.

Reads the core between ticks, changes nothing; the shapes are those of `console.facts`.
"""

from collections.abc import Callable, Generator
from typing import Any, Final

from alerts.alarm import AlarmView, Hide
from alerts.faults import Fault
from alerts.sheet import NOT_INDEPENDENT
from alerts.spec import LEVEL_HIGH_CONDITIONS, LEVEL_LOW_CONDITIONS, TankAlarms
from collector.health import BusHealth
from gaugehouse import wireview
from gaugehouse.core import Core
from gaugehouse.days import day_of, iso_ms
from gaugehouse.dipstate import dip_state
from gaugehouse.keeper import EMPTYING, FILLING, TankKeeper
from gaugehouse.loopcheckjson import state_of
from gaugehouse.planacts import plan_json
from gaugehouse.rows import reading_json
from gaugehouse.sitefile.sheetlines import proof_due
from gaugehouse.statusroom import status_json
from models.errors import OutOfRange
from models.reading import Quality, Reading, Reason
from models.tank import Tank
from models.working import TimeTo, room_m3, time_to, working

Json = dict[str, Any]

CONCERNS: Final = ("high_high", "critical_high")
"""The levels that the time to is always told of."""


TOGETHER: Final = 16
"""Tanks or loops of one piece of the live object: about a millisecond's work."""


class LiveView:
    """Builds the live object. `now_ms`: the site's clock; ages are counted to the data's own clock.

    waits: why decisions cannot be written, "" while they can.
    """

    def __init__(
        self, core: Core, build: str, health: Callable[[str], BusHealth], waits: Callable[[], str] = str
    ) -> None:
        self._core = core
        self._health = health
        self._waits = waits
        self._build = build
        self._worst: dict[str, Fault] = {}
        site = core.site
        self._loop_facts = {loop.instrument: loop for loop in site.loops}
        self._safe_fill = {tank.id: site.safe_fill_of(tank.id) for tank in site.tanks}
        self._names = {product.id: product.name for product in site.products}
        self._tanks_of: dict[str, list[str]] = {loop.instrument: [] for loop in site.loops}
        for tank in site.tanks:
            self._tanks_of[tank.instrument].append(tank.id)
        for point in site.points:
            if point.tank is not None:
                self._tanks_of.setdefault(point.id, []).append(point.tank)
        self._limits = {tank.id: level_limits(site.alarms_of(tank.id)) for tank in site.tanks}

    def build(self, seq: int, now_ms: int) -> Json:
        """The live object in one go."""
        made = self.building(seq, now_ms)
        while True:
            try:
                next(made)
            except StopIteration as done:
                built: Json = done.value
                return built

    def building(self, seq: int, now_ms: int) -> Generator[None, None, Json]:
        """The live object in pieces of `TOGETHER` tanks or loops: whoever drives it may let others have a turn between
        two of them, so that a large farm's polls do not wait for it. A later piece may know a newer reading; each
        bears its own time."""
        core = self._core
        standing = core.alarms.standing()
        alarms_of: dict[str, list[str]] = {}
        for view in standing:
            for tank in {view.source, *self._tanks_of.get(view.source, ())}:
                alarms_of.setdefault(tank, []).append(view.id)
        at_ms = core.at.time_ms or now_ms  # before the first tick there is nothing that could be old
        self._worst = {fault.instrument: fault for fault in reversed(core.faults.open_faults())}
        tanks, alarms, loops = [], [], []
        for place, keeper in enumerate(core.keepers.values()):
            tanks.append(self._tank(keeper, alarms_of.get(keeper.tank.id, []), now_ms))
            if place % TOGETHER == TOGETHER - 1:
                yield
        for place, view in enumerate(standing):
            alarms.append(self._alarm(view))
            if place % TOGETHER == TOGETHER - 1:
                yield
        for place, loop in enumerate(core.site.loops):
            loops.append(self._loop(loop.instrument, now_ms))
            if place % TOGETHER == TOGETHER - 1:
                yield
        buses = []
        for bus in core.site.buses:
            buses.append(wireview.bus(core.site, bus, self._health(bus.id)))
            yield
        return {
            "time": iso_ms(at_ms),
            "seq": seq,
            "build": self._build,
            "waits": self._waits(),
            "tanks": tanks,
            "alarms": alarms,
            "tests": [trial.alarm for trial in core.tests.all_under_way()],
            "buses": buses,
            "points": wireview.points(core),
            "loops": loops,
        }

    def every_alarm(self) -> list[Json]:
        """Every alarm that the site can have, whatever its state, with how soon it is to be answered."""
        return [
            {**self._alarm(view), "respond": view.respond, "test": self._test(view)}
            for view in self._core.alarms.views()
        ]

    def _test(self, view: AlarmView) -> Json:
        """How the alarm was last proved, and whether that is too long ago."""
        core = self._core
        newest, trial = core.tests.newest(view.id), core.tests.under_way(view.id)
        entry = core.site.sheet.entry(view.source, view.condition)
        passed_ms = core.tests.passed_ms().get(view.id)
        tested = "" if passed_ms is None else day_of(core.site.zone, passed_ms).isoformat()
        due = proof_due(entry, tested)
        return {
            "method": entry.test_method,
            "last": max(entry.last_test, tested),
            "due": None if due is None else due.isoformat(),
            "overdue": due is not None and day_of(core.site.zone, core.at.time_ms) > due,
            "newest": None if newest is None else {
                "time": iso_ms(newest.ended_ms), "by": newest.by, "means": newest.means, "passed": newest.passed,
                "raised_s": newest.raised_s, "how": newest.how, "comment": newest.comment,
            },
            "under_way": None if trial is None else {
                "by": trial.by, "means": trial.means, "begun": iso_ms(trial.begun_ms),
                "until": iso_ms(trial.due.time_ms),
            },
        }  # fmt: skip

    def _tank(self, keeper: TankKeeper, alarms: list[str], now_ms: int) -> Json:
        tank, latest = keeper.tank, keeper.latest
        reading = latest or Reading(0, 0, tank.id, Quality.BAD, Reason.NO_COMMUNICATION)
        out = reading_json(reading)
        good = keeper.last_good
        last = {} if good is None else reading_json(good)
        extremes = keeper.extremes
        water = self._core.water(tank)
        out |= {
            "time": None if latest is None else out["time"],
            "name": tank.name,
            "product": self._names[tank.product],
            "age_s": None if latest is None else max(0.0, (now_ms - reading.time_ms) / 1000),
            "last_good_level_m": None if good is None else last["level_m"],
            "last_good_tov_m3": None if good is None else last["tov_m3"],
            "last_good_time": None if good is None else iso_ms(good.time_ms),
            "flow": "" if reading.quality is Quality.BAD else keeper.flow,
            "next_limit": self._next_limit(keeper, reading),
            "time_to": self._time_to(keeper, reading),
            "plan": None if (plan := self._core.plans.get(tank.id)) is None else plan_json(plan),
            "room_m3": self._room_m3(tank, reading),
            **self._working(tank, reading),
            "water_age_s": None if water.age_ms is None else water.age_ms / 1000,
            "water_source": "signal" if tank.water is not None else "dips" if tank.water_from_dips else "none",
            "dip": dip_state(self._core, tank.id, now_ms),
            "day_low_m": extremes.day.low_m,
            "day_high_m": extremes.day.high_m,
            "since_reset_low_m": extremes.since_reset.low_m,
            "since_reset_high_m": extremes.since_reset.high_m,
            "since_reset_time": iso_ms(extremes.since_reset.since_ms) if extremes.since_reset.since_ms else None,
            "alarms": alarms,
            "torn": torn_of(latest),
            "status": None
            if (kept := self._core.status.get(tank.id)) is None
            else status_json(tank.id, kept, self._core.at.time_ms),
        }
        return out

    def _room_m3(self, tank: Tank, reading: Reading) -> float | None:
        """Volume up to the maximum working level; negative above it."""
        high = next((at for condition, at in self._limits[tank.id] if condition == "high"), None)
        if high is None or reading.tov_m3 is None or reading.quality is Quality.BAD:
            return None
        return room_m3(tank.table, tank.table.nearest_m(reading.level_m or 0.0), high)

    def _working(self, tank: Tank, reading: Reading) -> Json:
        """Usable and dead stock above and below the suction, and the safe fill; None where it is not known."""
        suction, level, fill = self._core.site.extras[tank.id].suction_m, reading.level_m, self._safe_fill[tank.id]
        known = None
        good = reading.quality is not Quality.BAD and reading.tov_m3 is not None
        if suction is not None and level is not None and good:
            innage = tank.table.nearest_m(level)
            known = working(tank.table, innage, suction, min(max(reading.water_m or 0.0, 0.0), innage))
        return {
            "usable_m3": None if known is None else known.usable_m3,
            "dead_m3": None if known is None else known.dead_m3,
            "safe_fill": None if fill is None else fill._asdict(),
        }

    def _next_limit(self, keeper: TankKeeper, reading: Reading) -> Json | None:
        """The limit that the level moves to, with the time to it at the upper bound of the rate (None: no rate yet).

        Never empty while the level moves and a limit lies ahead; past the last one there is none.
        """
        level, tov, rate = reading.level_m, reading.tov_m3, reading.rate_m3_per_h
        if keeper.flow not in (FILLING, EMPTYING) or level is None or tov is None:
            return None
        filling = keeper.flow == FILLING
        limits = self._limits[keeper.tank.id]
        if filling:
            ahead = [(c, at) for c, at in reversed(limits) if c in LEVEL_HIGH_CONDITIONS and at > level]
        else:
            ahead = [(c, at) for c, at in limits if c in LEVEL_LOW_CONDITIONS and at < level]
        if not ahead:
            return None
        condition, at = ahead[0]
        try:
            volume = abs(keeper.tank.table.volume_m3(at) - tov)
        except OutOfRange:
            return None
        seconds = None
        if rate is not None:
            seconds = time_to(volume, abs(rate) / 3600, (reading.rate_sd_m3_per_h or 0.0) / 3600).earliest_s
        return {"condition": condition, "at_m": at, "seconds": seconds, "volume_m3": volume}

    def _time_to(self, keeper: TankKeeper, reading: Reading) -> Json:
        """Time to high-high and to critical high at the rate as it is and at its two sides (95 %), while the tank fills
        below them; None for a limit that is passed, not given or not being neared."""
        found: Json = dict.fromkeys(CONCERNS)
        level, tov, rate = reading.level_m, reading.tov_m3, reading.rate_m3_per_h
        if keeper.flow != FILLING or level is None or tov is None or rate is None or rate <= 0:
            return found
        table = keeper.tank.table
        for condition, at in self._limits[keeper.tank.id]:
            if condition in CONCERNS and level < at <= table.top_m:
                sd = (reading.rate_sd_m3_per_h or 0.0) / 3600
                times = time_to(table.volume_m3(at) - tov, rate / 3600, sd)
                found[condition] = {"at_m": at, "seconds": times.expected_s, **_sides(times)}
        return found

    def _alarm(self, view: AlarmView) -> Json:
        tanks = self._tanks_of.get(view.source, [view.source] if view.source in self._limits else [])
        return {
            "id": view.id,
            "source": view.source,
            "tank": tanks[0] if tanks else None,
            "condition": view.condition,
            "name": view.name,
            "priority": view.priority,
            "state": view.state,
            "occurrence": view.occurrence,
            "raised": None if view.raised_ms is None else iso_ms(view.raised_ms),
            "returned": None if view.returned_ms is None else iso_ms(view.returned_ms),
            "acknowledged_by": view.acknowledged_by,
            "acknowledged": None if view.acknowledged_ms is None else iso_ms(view.acknowledged_ms),
            "comment": view.comment,
            "action": view.action,
            "respond": view.respond,
            "cause": view.cause,
            "consequence": view.consequence,
            "active": view.active,
            "one_shot": view.one_shot,
            "hides": [_hide(hide) for hide in view.hides],
            "not_independent": view.mark == NOT_INDEPENDENT,
        }

    def _loop(self, instrument: str, now_ms: int) -> Json:
        core = self._core
        sample = core.samples.get(instrument)
        current = core.current_mA(instrument)
        fault = self._worst.get(instrument)
        check = core.checks.get(instrument)
        noise = core.faults.noise(instrument)
        told = (None, None, None) if noise is None else (noise.now, noise.usual, noise.loud)
        signal, loop = "" if noise is None else noise.signal, self._loop_facts[instrument]
        now_m, usual_m, loud_m = (None if sd is None else loop.noise_m(signal, sd) for sd in told)
        return {
            "instrument": instrument,
            "name": core.site.instrument_names[instrument],
            "tanks": self._tanks_of[instrument],
            "outcome": None if sample is None else sample.outcome,
            "current_mA": current,
            "band": None if current is None else core.ne43_of[instrument].band(current).value,
            "fault": "" if fault is None else fault.fault_class,
            "fault_since": None if fault is None else iso_ms(fault.start_ms),
            "age_s": None if sample is None else max(0.0, (now_ms - sample.time_ms) / 1000),
            "check": None if check is None else state_of(core, check),
            "noise_now_m": now_m,
            "noise_usual_m": usual_m,
            "noise_loud_m": loud_m,
        }


def _hide(hide: Hide) -> Json:
    """What hides an alarm, as the pages see it."""
    return {
        "state": hide.state.value,
        "by": hide.by,
        "reason": hide.reason,
        "since": iso_ms(hide.since_ms),
        "until": None if hide.due is None else iso_ms(hide.due.time_ms),
    }


def _sides(times: TimeTo) -> Json:
    return {"earliest_s": times.earliest_s, "latest_s": times.latest_s}


def level_limits(alarms: TankAlarms) -> list[tuple[str, float]]:
    """Condition and innage in m of each level limit, highest first."""
    levels = (*LEVEL_HIGH_CONDITIONS, *LEVEL_LOW_CONDITIONS)
    return [(limit.condition, limit.at) for limit in alarms.limits if limit.condition in levels]


def torn_of(reading: Reading | None) -> Json | None:
    """Why a tank's tape is torn: the NE 107 status letter and word, None where the level can be trusted.

    Source: NAMUR NE 107 status signals F, C, S, M (abstracts); the pairing with our reasons is the project's own.
    """
    if reading is None or reading.quality is Quality.BAD:
        if reading is not None and reading.reason is Reason.OUT_OF_SERVICE:
            return {"status": "C", "word": "function check"}
        if reading is not None and reading.reason is Reason.OUT_OF_RANGE:
            return {"status": "S", "word": "out of specification"}
        return {"status": "F", "word": "failure"}
    return None
