"""The one core: everything that became known at one instant goes in, readings and decisions come out.

`Core.step` is synchronous, deterministic and does no I/O; the daemon and `replay` call the same one, so that recorded
order is processing order. The rooms run in a fixed order (models, quality, faults, alarms, movements, tank status) and
none knows another: what one needs of another it gets as plain values from here, the fault verdicts that a level's
quality rests on from the tick before.
"""

import contextlib
from collections.abc import Iterator, Mapping, Sequence
from types import MappingProxyType
from typing import Final, NamedTuple

from alerts.alarm import Transition
from alerts.alarmtests import AlarmTests
from alerts.conditions import TankFacts
from alerts.desk import Desk
from alerts.engine import AlarmEngine
from alerts.faultlog import Case
from alerts.faults import FaultChange
from alerts.shown import current_of
from alerts.strands import FROZEN
from alerts.watched import Told
from gaugehouse.acts import Act, Answer, Decision, Outcome
from gaugehouse.alarmtestacts import proof_entry
from gaugehouse.closeroom import Closes
from gaugehouse.corestate import Room, SlowRoom, State, changed_of, compact, parts_of, past_of
from gaugehouse.days import Days
from gaugehouse.diproom import DipRoom
from gaugehouse.documentroom import Documents
from gaugehouse.faultrecords import FAULT, fault_body
from gaugehouse.handoverroom import Handovers
from gaugehouse.keeper import EMPTYING, FILLING, TankKeeper
from gaugehouse.leakroom import LeakRoom
from gaugehouse.loopacts import time_over
from gaugehouse.loopchecks import LoopChecks, heard_of
from gaugehouse.loopwork import LoopWork
from gaugehouse.meterflow import MeterFlows
from gaugehouse.movementwork import MovementWork
from gaugehouse.newest import POINT_AGE_MS, Signals
from gaugehouse.peopleroom import PeopleRoom
from gaugehouse.planacts import plan_over
from gaugehouse.plans import RECEIPT, Plans
from gaugehouse.receiptjson import flow_seen
from gaugehouse.receiptroom import Receipts
from gaugehouse.receiptwork import ReceiptWork
from gaugehouse.records import ALARM, alarm_body
from gaugehouse.requalifying import ROOM, Requalifying, frozen
from gaugehouse.site import Site
from gaugehouse.statusroom import StatusRoom
from gaugehouse.stockof import sampled_kgpm3, stock_of
from gaugehouse.watching import Watchers
from gaugehouse.waterroom import AirNow, WaterRoom
from models.errors import OutOfRange
from models.gauging import Extra
from models.reading import BAD, Instant, Reading, Sample
from models.stock import StockModel
from models.tank import Linear, Tank


class Tick(NamedTuple):
    """Everything that became known at one instant. Samples come in the site file's order of instruments."""

    at: Instant
    samples: Sequence[Sample] = ()
    acts: Sequence[Act] = ()


class StepResult(NamedTuple):
    """What one tick led to. `answers` has one entry for each act, in order."""

    readings: list[Reading]
    transitions: list[Transition]
    fault_changes: list[tuple[FaultChange, Case]]
    decisions: list[Decision]
    answers: list[Answer]


class Context(NamedTuple):
    """What a tick may know of the one before it. metered: how fast an instrument's level should move by meters, m/s;
    flows: what meters say that flows into a tank, m3/s, negative out of it."""

    frozen: frozenset[str]
    metered: Mapping[str, float] = MappingProxyType({})
    flows: Mapping[str, float] = MappingProxyType({})


NOTHING_TOLD: Final = Context(frozenset())


class Core:
    """The state of one site between ticks. Built from the site file alone; `restore` gives it its past."""

    def __init__(self, site: Site, stock: Mapping[str, StockModel]) -> None:
        self.site = site
        self.at = Instant(0, 0, 0)
        self.ne43_of = {loop.instrument: loop.ne43 for loop in site.loops}
        self._loop_facts = {loop.instrument: loop for loop in site.loops}
        days = Days(site.zone, site.day_starts_min)
        self.keepers: dict[str, TankKeeper] = {
            tank.id: TankKeeper(
                tank,
                days,
                period_ms=site.period_ms[tank.instrument],
                rate_window_ms=site.rate_window_ms[tank.id],
                level_rates=any(limit.per == "m/s" for limit in site.alarms_of(tank.id).limits),
                stock=stock[tank.id],
                at_rest_after_ms=site.extras[tank.id].at_rest_after_ms,
                filter_spec=site.extras[tank.id].filter,
            )
            for tank in site.tanks
        }
        self._place = {tank.id: place for place, tank in enumerate(site.tanks)}
        self.samples: dict[str, Sample] = {}
        self.signals = Signals(site)
        loops = [loop.instrument for loop in site.loops]
        self.alarms = AlarmEngine(site.tank_alarms, loops, site.sheet, site.watched, site.switches)
        self.desk = Desk(self.alarms, site.alarm_rules.longest_shelf_ms)
        self.tests = AlarmTests()
        self.checks = LoopChecks()
        self.plans = Plans()
        self.people = PeopleRoom()
        self.dips = DipRoom(site.dip_rules, frozenset(tank.id for tank in site.tanks if tank.water_from_dips))
        self.waterlog = WaterRoom(site)
        self.documents = Documents()
        self.closes = Closes()
        self.handovers = Handovers()
        self._reported: dict[str, Told] = {}
        self._tanks_of: dict[str, list[TankKeeper]] = {}
        for keeper in self.keepers.values():
            self._tanks_of.setdefault(keeper.tank.instrument, []).append(keeper)
        self.loops = LoopWork(site, self._tanks_of)
        self.faults = self.loops.faults
        self.requalifying = Requalifying()
        self.movements = MovementWork(site, self.keepers, self.plans, self.faults.declared)
        self.receipts = Receipts()
        self.leaks = LeakRoom(site.leak.tanks)
        self.receiving = ReceiptWork(self)
        self.status = StatusRoom(site, self.keepers, self.movements.flowing, self.newest)
        self._watchers = Watchers(site, self.plans, self.newest, self.samples.get, self.status)
        self.rooms: dict[str, Room] = {
            ROOM: self.requalifying,
            "fault": self.faults,
            "alarm": self.alarms,
            "loopcheck": self.checks,
            "alarmtest": self.tests,
            "trace": self.loops.traces,
            "case": self.loops.log,
            "watch": self.loops.watch,
            "casebook": self.loops.casebook,
            "plan": self.plans,
            "people": self.people,
            "water": self.waterlog,
            "document": self.documents,
            "close": self.closes,
            "handover": self.handovers,
            "movement": self.movements,
            "receipt": self.receipts,
            "leak": self.leaks,
            "dip": self.dips,
            "status": self.status,
        }
        self._slow_rooms: dict[str, SlowRoom] = {
            "fault": self.faults,
            "watch": self.loops.watch,
            "trace": self.loops.traces,
            "movement": self.movements,
            "status": self.status,
        }
        self._meters = MeterFlows(site.meters)
        self._context = NOTHING_TOLD

    def step(self, tick: Tick) -> StepResult:
        """Take one tick in. Its number, times and order are the caller's; the same ticks give the same results."""
        at = self.at = tick.at
        self.signals.take(at, tick.samples)
        for sample in tick.samples:
            self.samples[sample.instrument] = sample
        over = self._follow_checks(at, tick.samples) if self.checks and tick.samples else ()
        checked = self.checks.instruments()
        readings: list[Reading] = []
        facts: list[TankFacts] = []
        for sample in tick.samples:
            for keeper in self._tanks_of.get(sample.instrument, ()):
                reading = self._read(at, keeper, sample)
                readings.append(reading)
                facts.append(
                    TankFacts(
                        reading,
                        keeper.slopes.level_m_per_s,
                        keeper.slopes.volume_m3_per_s,
                        keeper.flow == FILLING,
                        keeper.damped_m,
                    )
                )
        changes: list[tuple[FaultChange, Case]] = []
        plans_over: list[Decision] = []
        transitions: list[Transition] = []
        if len(readings) > 1:
            readings.sort(key=lambda reading: self._place[reading.tank])
        if tick.samples:  # an act alone judges no delay: a replay of the Samples must come to the same decisions
            changes = self.loops.step(at, tick.samples, checked, self.signals.around(), self._context.metered)
            told, ended = self._watchers.tell(at, tick.samples, facts)
            if self._reported:
                told = [*told, *self._reported.values()]
                self._reported.clear()
            if self.receipts or self.receiving.busy:
                told = [*told, *self.receiving.tell()]
            if self.leaks.news:
                told = [*told, *self.leaks.tell()]
            plans_over = [plan_over(over, at) for over in ended]
            declared = self.faults.declared()
            receiving = self._receiving() if declared else {}
            transitions = self.alarms.step(at, facts, declared, receiving, told, self.signals.points_on())
        decisions = [Decision(FAULT, fault_body(change, case)) for change, case in changes]
        for change, _ in changes:
            decisions += frozen(self, at, change)
        decisions += [Decision(ALARM, alarm_body(transition)) for transition in transitions]
        decisions += plans_over
        if readings:
            moved = self.movements.step(at, readings)
            decisions += moved
            if moved:
                self.waterlog.see_moved(at, moved)
            if self.receipts:
                decisions += [flow_seen(receipt, at) for receipt in self.receiving.step(at)]
            if self.status:
                decisions += self.status.step(at, readings, moved)
        if tick.samples and self.waterlog.looks(at):
            self.waterlog.see_air(
                at, AirNow(*(self.newest(point, POINT_AGE_MS).value for point in self.waterlog.points))
            )
        if self.tests and tick.samples:
            decisions += [proof_entry(proof) for proof in self.tests.see(at, transitions)]
        for outcome in over:
            decisions += outcome.decisions
            transitions += outcome.transitions
        answers: list[Answer] = []
        for act in tick.acts:
            outcome = act.apply(self, at)
            decisions += outcome.decisions
            transitions += outcome.transitions
            answers.append(outcome.answer)
        self._context = self._told()
        return StepResult(readings, transitions, changes, decisions, answers)

    def _read(self, at: Instant, keeper: TankKeeper, sample: Sample) -> Reading:
        tank = keeper.tank
        return keeper.step(
            at,
            sample,
            self.newest(tank.temperature, tank.max_age_ms),
            self.water(tank),
            self.newest(tank.ambient, tank.max_age_ms),
            frozen=sample.instrument in self._context.frozen,
            checked=self.checks.get(sample.instrument) is not None,
        )

    def _follow_checks(self, at: Instant, samples: Sequence[Sample]) -> list[Outcome]:
        """End the loop checks whose time is over; let the others hear what their loops show."""
        over = [time_over(self, at, check) for check in self.checks.over(at)]
        for sample in samples:
            check = self.checks.get(sample.instrument)
            if check is not None:
                tanks = self._tanks_of.get(sample.instrument)
                fraction = tanks[0].tank.shown_fraction(sample) if tanks else None
                current = current_of(self._loop_facts[sample.instrument], sample)
                self.checks.hear(sample.instrument, heard_of(check, current, fraction))
        return over

    def newest(self, source: Linear | None, max_age_ms: int) -> Extra:
        """The newest value of a signal in our unit, missing when it is too old or is no number."""
        return self.signals.newest(source, max_age_ms)

    def water(self, tank: Tank) -> Extra:
        """The newest free water of a tank, by its signal or by dips; missing when it is too old."""
        if tank.water_from_dips:
            return self.dips.water(tank.id, self.at.time_ms)
        return self.newest(tank.water, tank.max_age_ms)

    def stock_at(self, tank: str, density_kgpm3: float | None) -> StockModel:
        """A tank's stock model with another base density than its product's. Raises `OutOfRange` for one that the
        site's volume correction does not take."""
        return stock_of(self.site, tank, density_kgpm3=density_kgpm3)

    def restock(self, tank: str) -> None:
        """From now on the newest accepted density sample stands for the tank's product, as long as it is of it."""
        sample = self.dips.latest_density(tank)
        self.keepers[tank].stock = self.stock_at(tank, sampled_kgpm3(self.site, tank, sample))

    def report(self, told: Told) -> None:
        """A condition of the system itself, judged by the next tick with Samples: an act alone judges nothing."""
        self._reported[f"{told.source}.{told.condition}"] = told

    def current_mA(self, instrument: str) -> float | None:
        """The newest loop current of an instrument that tells it."""
        sample = self.samples.get(instrument)
        return None if sample is None else current_of(self._loop_facts[instrument], sample)

    def changed_state(self) -> State:
        """What the rooms hold now, only what changed since this was last asked."""
        return {"core/elapsed_ms": str(self.at.elapsed_ms)} | changed_of(self.rooms)  # what the rooms count from

    def slow_state(self) -> State:
        """Everything that may be some seconds old after a crash: trust, extremes, learned noise, the air
        of today, the core's clock."""
        slow: State = {}
        for part in self.slow_parts():
            slow |= part
        return slow

    def slow_parts(self) -> Iterator[State]:
        """The same in parts, each of one moment and with the clock of that moment: written in this order (several at
        once), with ticks between them, none is newer than the clock beside it. A large farm's state in one go
        would hold up its polls."""
        yield from parts_of(self.keepers, self._slow_rooms, self._clock_state)
        yield self._clock_state() | {f"water/{key}": compact(s) for key, s in self.waterlog.save_today().items()}

    def _clock_state(self) -> State:
        return {"core/elapsed_ms": str(self.at.elapsed_ms), "core/time_ms": str(self.at.time_ms)}

    def restore(self, state: Mapping[str, str]) -> None:
        """Give a new core the past that the record book holds. Keys of tanks and loops that are gone are left alone."""
        past = past_of(state)
        self.at = Instant(0, 0, int(past.get("core", {}).get("elapsed_ms", 0)))
        for name, saved in past.get("tank", {}).items():
            if name in self.keepers:
                self.keepers[name].restore(saved)
        for name, room in self.rooms.items():
            room.restore(past.get(name, {}))
        for name in self.keepers:
            if self.dips.latest_density(name) is not None:
                self._restock_or_not(name)
        self._context = self._told()

    def _restock_or_not(self, tank: str) -> None:
        """A sample that the site file no longer takes (another edition, another product) is left alone."""
        with contextlib.suppress(OutOfRange):
            self.restock(tank)

    def _told(self) -> Context:
        """What the next tick may know of this one."""
        declared = self.faults.declared()
        if not declared and not self._meters.meters:
            return NOTHING_TOLD
        frozen = (i for i, classes in declared.items() if FROZEN in classes and self.faults.out_of_trust(i))
        values = {m.id: self.newest(m.source, POINT_AGE_MS).value for m in self._meters.meters}
        flows = self._meters.take(self.at.elapsed_ms, values)
        return Context(frozenset(frozen), self._metered(flows), flows)

    def _receiving(self) -> dict[str, bool]:
        """Tanks that receive by other evidence than their level, which a fault may have taken away: a meter, a point of
        the site's, or, where the level is lost, an order that nothing can tell to be still before its begin."""
        lost = {name for name, keeper in self.keepers.items() if keeper.latest and keeper.latest.quality is BAD}
        ordered = {plan.tank for plan in self.plans.all() if plan.kind == RECEIPT}
        filled = (tank for tank, flow in self._context.flows.items() if flow > 0)
        return dict.fromkeys((*filled, *self.status.moved_by_points()[FILLING], *(lost & ordered)), True)

    def moved_by_others(self, tank: str) -> str:
        """What meters and points of the site's say that a tank does, filling or emptying; empty where they say nothing.

        Filling comes first: it is what a level that cannot be seen must not miss.
        """
        points, flow = self.status.moved_by_points(), self._context.flows.get(tank, 0.0)
        if flow > 0 or tank in points[FILLING]:
            return FILLING
        return EMPTYING if flow < 0 or tank in points[EMPTYING] else ""

    def _metered(self, flows: Mapping[str, float]) -> dict[str, float]:
        """By instrument, the speed of the level in m/s that meters' flows make of the tank's cross-section there."""
        speeds: dict[str, float] = {}
        for tank, flow_m3ps in flows.items():
            keeper = self.keepers[tank]
            level_m = keeper.latest.level_m if keeper.latest is not None else None
            table = keeper.tank.table
            middle = (table.bottom_m + table.top_m) / 2
            area_m2 = table.area_m2(middle if level_m is None else min(max(level_m, table.bottom_m), table.top_m))
            if area_m2 > 0:
                speeds.setdefault(keeper.tank.instrument, flow_m3ps / area_m2)
        return speeds
