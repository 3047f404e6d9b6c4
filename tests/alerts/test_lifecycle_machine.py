"""The whole life of alarms under any course of events: levels, a pump, people, time, a clock that is set, crashes.

What must hold is judged by a second, plainer account kept beside the engine: which conditions are on, who shelved what
until when, what nobody has acknowledged yet. Legal moves are those of tests/data/alarms/alarm_transitions.csv (ISA-18.2
model, from memory) and the overlaps of OPC UA Part 9, 5.8.2.
"""

import json
from dataclasses import dataclass, replace
from typing import Any

import pytest
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, rule

from alerts.alarm import BY_RETURN, Transition
from alerts.conditions import TankFacts
from alerts.desk import Desk, Done
from alerts.engine import BY_DESIGN, AlarmEngine
from alerts.lifecycle import CORE, HIDDEN, Event, Kind, State
from alerts.sheet import BUILT_IN, Sheet, While
from alerts.spec import Limit, TankAlarms
from models.reading import Instant
from tests.alerts.test_lifecycle import EVENT, LETTER, OVERLAPS, TRANSITIONS
from tests.alerts.timelines import reading

LONGEST_MS = 3_600_000
ASK_AGAIN_MS = 600_000
LIMITS = (
    Limit("critical_high", 11.0, 0.1, 0, 0, 1),
    Limit("high_high", 10.0, 0.1, 0, 0, 1),
    Limit("high", 9.0, 0.1, 0, 0, 2),
    Limit("low", 2.0, 0.1, 0, 0, 3),
)
SHEET = Sheet(
    {
        "critical_high": replace(BUILT_IN["critical_high"], ask_again_ms=ASK_AGAIN_MS),
        "high_high": replace(BUILT_IN["high_high"], suppressed_while=While("pump")),
        "high": replace(BUILT_IN["high"], kind=Kind(latching=True)),
        "low": replace(BUILT_IN["low"], kind=Kind(acknowledged_by_return=True), alarm_class="supply"),
    }
)
ALARMS = tuple(f"T1.{limit.condition}" for limit in LIMITS)
PEOPLE = ("Ann", "Bob")

LEGAL = (
    {(LETTER[row["from"]], EVENT[name], LETTER[row["to"]]) for row, name in TRANSITIONS}
    | OVERLAPS
    | {(hidden, event, hidden) for hidden in HIDDEN for event in Event}
)
OF_PEOPLE = {
    Event.ACKNOWLEDGED, Event.LATCHED_RESET, Event.SHELVED, Event.UNSHELVED, Event.REMOVED_FROM_SERVICE,
    Event.RETURNED_TO_SERVICE,
}  # fmt: skip


def house() -> AlarmEngine:
    return AlarmEngine([TankAlarms("T1", "L1", LIMITS)], ["L1"], SHEET)


@dataclass
class Account:
    """What the second account knows of one alarm."""

    on: bool = False
    state: State = State.NORMAL
    occurrence: int = 0
    unseen: bool = False  # it asked people to look, and nobody has said so, hidden it or reset it
    latched: bool = False
    seen_ms: tuple[int, int] | None = None  # site's clock, core's clock at the acknowledgement, while it still stands
    shelved_ms: tuple[int, int, int] | None = None  # the same at the shelving, and the span
    suppressed: bool = False
    out_of_service: bool = False

    @property
    def hidden(self) -> bool:
        return self.shelved_ms is not None or self.suppressed or self.out_of_service


class Life(RuleBasedStateMachine):
    @initialize()
    def start(self) -> None:
        self.engine, self.twin, self.restarted = house(), house(), house()
        self.kept: dict[str, Any] = {}
        self.now = Instant(0, 1_700_000_000_000, 77)
        self.accounts = {alarm: Account() for alarm in ALARMS}
        self.pump: bool | None = False
        self.journal: list[Transition] = []

    def all_do(self, do: Any) -> Any:
        """The same on the engine, on its twin and on the one that was restarted: the same answers and transitions."""
        said = do(self.engine)
        assert do(self.twin) == said
        assert do(self.restarted) == said
        return said

    def tick(self, elapsed_ms: int, facts: list[TankFacts], wall_ms: int | None = None) -> None:
        wall = elapsed_ms if wall_ms is None else wall_ms
        now = self.now = Instant(self.now.seq + 1, self.now.time_ms + wall, self.now.elapsed_ms + elapsed_ms)
        pump = {"pump": self.pump}
        for fact in facts:
            self.learn(fact.reading.tank, fact.reading.level_m)
        for transition in self.all_do(lambda engine: engine.step(now, facts, {}, points=pump)):
            assert transition.event not in OF_PEOPLE
            self.follow(transition)
        for alarm, account in self.accounts.items():
            if account.shelved_ms is not None:
                since_ms, since_elapsed_ms, span_ms = account.shelved_ms
                assert span_ms <= LONGEST_MS
                assert now.time_ms - since_ms < span_ms, f"{alarm} is shelved beyond its limit"
                assert now.elapsed_ms - since_elapsed_ms < span_ms, f"{alarm} is shelved beyond its limit"
            if account.seen_ms is not None and alarm == "T1.critical_high":
                assert now.time_ms - account.seen_ms[0] < ASK_AGAIN_MS, "it did not ask again"
                assert now.elapsed_ms - account.seen_ms[1] < ASK_AGAIN_MS, "it did not ask again"
            if alarm == "T1.high_high":
                assert account.suppressed is (self.pump is True)

    def learn(self, tank: str, level: float | None) -> None:
        if level is None:
            return
        for limit in LIMITS:
            account = self.accounts[f"{tank}.{limit.condition}"]
            if limit.condition == "low":
                account.on = level <= (limit.at + limit.deadband if account.on else limit.at)
            else:
                was_on, account.on = account.on, level >= (limit.at - limit.deadband if account.on else limit.at)
                if limit.condition == "high" and was_on is not account.on:
                    account.latched = was_on

    def follow(self, t: Transition) -> None:
        account = self.accounts[t.id]
        assert (account.state, t.event, t.state) in LEGAL, f"{account.state} + {t.event} -> {t.state}"
        assert t.time_ms == self.now.time_ms
        asks = t.occurrence > account.occurrence
        assert t.occurrence - account.occurrence in (0, 1)
        match t.event:
            case Event.ACKNOWLEDGED:
                assert t.by in PEOPLE
                assert account.unseen
                account.unseen = False
            case Event.SHELVED | Event.REMOVED_FROM_SERVICE:
                assert t.by in PEOPLE
                account.unseen = False
            case Event.SUPPRESSED:
                assert (t.by, t.comment) == (BY_DESIGN, "while pump is on")
                account.unseen = False
            case Event.RETURNED if account.unseen and t.state is State.NORMAL:
                assert (t.id.endswith(".low"), t.comment) == (True, BY_RETURN)
                account.unseen = False
        if asks:
            account.unseen = True
        if t.event is Event.LATCHED_RESET:
            account.latched = False
        if t.state is not State.ACKNOWLEDGED:
            account.seen_ms = None
        elif t.event is Event.ACKNOWLEDGED:
            account.seen_ms = (t.time_ms, self.now.elapsed_ms)
        if t.state is State.NORMAL:
            assert not account.unseen, f"{t.id} went by itself with nobody having seen it"
        match t.event:
            case Event.SUPPRESSED | Event.UNSUPPRESSED:
                account.suppressed = t.event is Event.SUPPRESSED
            case Event.REMOVED_FROM_SERVICE | Event.RETURNED_TO_SERVICE:
                account.out_of_service = t.event is Event.REMOVED_FROM_SERVICE
            case Event.UNSHELVED | Event.SHELF_EXPIRED:
                account.shelved_ms = None
            case Event.RETURNED if self.one_shot(t.id):
                account.shelved_ms = None
        account.state, account.occurrence = t.state, t.occurrence
        self.journal.append(t)

    def one_shot(self, alarm_id: str) -> bool:
        account = self.accounts[alarm_id]
        view = self.engine.view(alarm_id)
        assert view is not None
        return account.shelved_ms is not None and State.SHELVED not in {hide.state for hide in view.hides}

    def act(self, do: Any) -> Done:
        """A person's act on the alarm desks of all three."""
        said: Done = self.all_do(lambda engine: do(Desk(engine, LONGEST_MS)))
        for transition in said.transitions:
            self.follow(transition)
        assert (said.status == "done") is bool(said.transitions)
        assert said.status == "done" or said.why
        return said

    @rule(
        levels=st.lists(st.sampled_from([1.5, 2.05, 5.0, 8.95, 9.5, 9.95, 10.5, 11.5]), min_size=1, max_size=5),
        elapsed_ms=st.integers(0, 5_000),
    )
    def reads(self, levels: list[float], elapsed_ms: int) -> None:
        for level in levels:
            self.tick(elapsed_ms, [TankFacts(reading(level))])

    @rule(elapsed_ms=st.integers(0, 5_000))
    def reads_badly(self, elapsed_ms: int) -> None:
        self.tick(elapsed_ms, [TankFacts(reading(None, "Bad"))])

    @rule(elapsed_ms=st.sampled_from([1, 1_000, 60_000, ASK_AGAIN_MS, LONGEST_MS, 3 * LONGEST_MS]))
    def time_passes(self, elapsed_ms: int) -> None:
        self.tick(elapsed_ms, [])

    @rule(wall_ms=st.sampled_from([-LONGEST_MS, -1, LONGEST_MS]))
    def the_clock_is_set(self, wall_ms: int) -> None:
        self.tick(1_000, [], wall_ms)

    @rule(pump=st.sampled_from([True, False, None]))
    def the_pump_turns(self, pump: bool | None) -> None:
        self.pump = pump
        self.tick(500, [])

    @rule(
        alarm=st.sampled_from(ALARMS),
        span_ms=st.sampled_from([60_000, LONGEST_MS, 0, 60_000, LONGEST_MS, LONGEST_MS + 1]),
        by=st.sampled_from(PEOPLE),
        reason=st.sampled_from(["", "being cleaned", "being cleaned"]),
        one_shot=st.booleans(),
    )
    def shelves(self, alarm: str, span_ms: int, by: str, reason: str, one_shot: bool) -> None:
        now = self.now
        said = self.act(lambda desk: desk.shelve(now, alarm, by, reason, span_ms, one_shot=one_shot))
        account = self.accounts[alarm]
        if said.status == "done":
            assert reason
            assert account.shelved_ms is None
            account.shelved_ms = (now.time_ms, now.elapsed_ms, span_ms)
        else:
            assert account.shelved_ms is not None or not reason or not 1_000 <= span_ms <= LONGEST_MS

    @rule(alarm=st.sampled_from(ALARMS), by=st.sampled_from(PEOPLE))
    def unshelves(self, alarm: str, by: str) -> None:
        was_shelved = self.accounts[alarm].shelved_ms is not None
        assert (self.act(lambda desk: desk.unshelve(self.now, alarm, by)).status == "done") is was_shelved

    @rule(alarm=st.sampled_from(ALARMS), by=st.sampled_from(PEOPLE))
    def resets(self, alarm: str, by: str) -> None:
        may = self.accounts[alarm].state is State.LATCHED_ACKNOWLEDGED
        assert (self.act(lambda desk: desk.reset(self.now, alarm, by)).status == "done") is may

    @rule(alarms=st.lists(st.sampled_from(ALARMS), min_size=1, max_size=3), by=st.sampled_from(PEOPLE))
    def removes(self, alarms: list[str], by: str) -> None:
        expected = [a for a in dict.fromkeys(alarms) if not self.accounts[a].out_of_service]
        said = self.act(lambda desk: desk.remove_from_service(self.now, alarms, by, "float is out"))
        assert [t.id for t in said.transitions] == expected

    @rule(by=st.sampled_from(PEOPLE))
    def brings_back(self, by: str) -> None:
        expected = [alarm for alarm, account in self.accounts.items() if account.out_of_service]
        said = self.act(lambda desk: desk.return_to_service(self.now, ALARMS, by))
        assert [t.id for t in said.transitions] == expected

    @rule(by=st.sampled_from(PEOPLE))
    def acknowledges_all_that_waits_one_by_one(self, by: str) -> None:
        for alarm, account in self.accounts.items():
            if account.unseen:
                self.acknowledges(alarm, by, 0)

    @rule(alarm=st.sampled_from(ALARMS), by=st.sampled_from(PEOPLE), late=st.integers(0, 1))
    def acknowledges_something(self, alarm: str, by: str, late: int) -> None:
        self.acknowledges(alarm, by, late)

    def acknowledges(self, alarm: str, by: str, late: int) -> None:
        now, account = self.now, self.accounts[alarm]
        occurrence = account.occurrence - late
        unseen = account.unseen
        said = self.all_do(lambda engine: engine.acknowledge(now, alarm, occurrence, by, "seen"))
        if said.transition is not None:
            self.follow(said.transition)
        assert (said.status == "done") is (unseen and not late)

    @rule()
    def restarts(self) -> None:
        fresh = house()
        fresh.restore(json.loads(json.dumps(self.restarted.save())))
        self.restarted = fresh

    @rule()
    def crashes_and_restarts_from_what_was_kept_at_each_change(self) -> None:
        self.keep()
        fresh = house()
        fresh.restore(json.loads(json.dumps(self.kept)))
        assert fresh.standing() == self.engine.standing()
        self.restarted = fresh

    @invariant()
    def keep(self) -> None:
        self.kept |= self.engine.save(changed_only=True)

    @invariant()
    def no_alarm_is_lost_and_none_invented(self) -> None:
        for alarm, account in self.accounts.items():
            view = self.engine.view(alarm)
            assert view is not None
            assert view.active is account.on, f"{alarm}: evaluated also while hidden"
            assert view.state is account.state, "the journal implies the state"
            assert view.occurrence == account.occurrence
            assert (view.state in HIDDEN) is account.hidden
            if account.hidden:
                assert {hide.state for hide in view.hides} == {
                    *([State.SHELVED] if account.shelved_ms else []),
                    *([State.SUPPRESSED_BY_DESIGN] if account.suppressed else []),
                    *([State.OUT_OF_SERVICE] if account.out_of_service else []),
                }
                continue
            assert view.state in CORE
            assert (view.state in (State.UNACKNOWLEDGED, State.ACKNOWLEDGED)) is account.on
            assert view.state.value.endswith("unacknowledged") is account.unseen
            assert view.state.value.startswith("latched") is (account.latched and not account.on)

    def teardown(self) -> None:
        states: dict[str, State] = {}
        for t in self.journal:
            states[t.id] = t.state
        standing = {view.id: view.state for view in self.engine.standing()}
        assert standing == {alarm: state for alarm, state in states.items() if state is not State.NORMAL}


TestLife = Life.TestCase
TestLife.settings = settings(max_examples=150, stateful_step_count=60, deadline=None)


@pytest.mark.soak
class TestManyLives(Life.TestCase):
    settings = settings(max_examples=2000, stateful_step_count=60, deadline=None)
