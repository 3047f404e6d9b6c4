"""Tracker and engine together under any course of events: no alarm is lost, none acknowledges itself, no restart shows.

The machine is run beside a second one that gets the same events but is saved and restored at random instants; delays
are 0 in its limits, so that a restart may change nothing at all. A third one gets the same events again: same output.
"""

import json
from typing import Any

import pytest
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, rule

from alerts.alarm import Transition
from alerts.conditions import TankFacts
from alerts.engine import CONDITION_OF_FAULT, AckAnswer, AlarmEngine
from alerts.faults import FaultChange, FaultTracker
from alerts.lifecycle import CORE, Event, State
from alerts.spec import Limit, TankAlarms
from models.reading import OK, Instant, Sample
from tests.alerts.timelines import loop, reading

HIGHS = ("critical_high", "high_high", "high")
LIMITS = (
    Limit("critical_high", 11.0, 0.1, 0, 0, 1),
    Limit("high_high", 10.0, 0.1, 0, 0, 1),
    Limit("high", 9.0, 0.1, 0, 0, 2),
    Limit("low", 2.0, 0.1, 0, 0, 3),
    Limit("low_low", 1.0, 0.1, 0, 0, 2),
    Limit("rise_fast", 0.01, 0.001, 0, 0, 2, "m/s"),
    Limit("fall_fast", 0.01, 0.001, 0, 0, 2, "m/s"),
)
CURRENTS = (3.5, 3.7, 3.8, 4.0, 11.9, 11.95, 12.0, 19.9, 20.5, 20.7, 21.5)
TANKS = ("T1", "T2")


class House:
    """One tracker and one engine, wired as the core wires them."""

    def __init__(self) -> None:
        self.tracker = FaultTracker(
            [loop(instrument=i, watched=(("current", 0.0001),), frozen_after_ms=6000) for i in ("L1", "L2")]
        )
        self.engine = AlarmEngine([TankAlarms(t, f"L{t[1]}", LIMITS) for t in TANKS], ["L1", "L2"])

    def step(
        self, now: Instant, samples: list[Sample], facts: list[TankFacts]
    ) -> tuple[list[FaultChange], list[Transition]]:
        changes = self.tracker.step(now, samples)
        return changes, self.engine.step(now, facts, self.tracker.declared())

    def acknowledge(self, now: Instant, alarm_id: str, occurrence: int) -> AckAnswer:
        return self.engine.acknowledge(now, alarm_id, occurrence, "Ann", "seen")

    def restarted(self) -> "House":
        house = House()
        house.tracker.restore(json.loads(json.dumps(self.tracker.save())))
        house.engine.restore(json.loads(json.dumps(self.engine.save())))
        return house


class Alarms(RuleBasedStateMachine):
    @initialize()
    def start(self) -> None:
        self.house, self.twin, self.restarted = House(), House(), House()
        self.kept: dict[str, dict[str, Any]] = {"alarms": {}, "faults": {}}
        self.now = Instant(0, 1_700_000_000_000, 77)
        self.states: dict[str, tuple[State, int]] = {}
        self.open_rows: dict[tuple[str, int], Any] = {}
        self.level_alarms_on: set[str] = set()

    def tick(self, elapsed_ms: int, samples: list[Sample], facts: list[TankFacts]) -> list[Transition]:
        now = self.now = Instant(self.now.seq + 1, self.now.time_ms + elapsed_ms, self.now.elapsed_ms + elapsed_ms)
        samples = [s._replace(time_ms=now.time_ms) for s in samples]
        changes, transitions = self.house.step(now, samples, facts)
        assert self.twin.step(now, samples, facts) == (changes, transitions)
        assert self.restarted.step(now, samples, facts) == (changes, transitions)
        for change in changes:
            key = (change.fault.instrument, change.fault.number)
            assert (key in self.open_rows) is (change.change != "declared")
            self.open_rows[key] = change.fault
            if change.change == "ended":
                assert change.fault.end_ms is not None
                assert change.fault.start_ms <= change.fault.end_ms <= now.time_ms - 4000 or samples
                del self.open_rows[key]
        for transition in transitions:
            self.follow(transition)
        return transitions

    def follow(self, t: Transition) -> None:
        before, occurrence = self.states.get(t.id, (State.NORMAL, 0))
        assert t.state in CORE
        assert t.occurrence == occurrence + (t.state is State.UNACKNOWLEDGED)
        if t.event is Event.ACKNOWLEDGED:
            assert t.by == "Ann"
        else:
            assert t.by == ""
            assert t.state is not State.ACKNOWLEDGED
            # an alarm that nobody has seen does not go away by itself
            assert t.state is not State.NORMAL or before is State.ACKNOWLEDGED
        self.states[t.id] = (t.state, t.occurrence)

    @rule(
        tank=st.sampled_from(TANKS),
        current=st.sampled_from(CURRENTS),
        level=st.floats(0, 12),
        rise=st.none() | st.floats(-0.02, 0.02),
        receiving=st.booleans(),
        elapsed_ms=st.integers(0, 5000),
        repeats=st.integers(1, 4),
    )
    def reads(
        self,
        tank: str,
        current: float,
        level: float,
        rise: float | None,
        receiving: bool,
        elapsed_ms: int,
        repeats: int,
    ) -> None:
        bad = not 3.8 <= current <= 20.5
        at_least = 20.5 < current < 21
        made = (
            reading(12.0 if at_least else None, "Bad", "ge" if at_least else "", tank)
            if bad
            else reading(level, tank=tank)
        )
        facts = [TankFacts(made, None if bad else rise, None, receiving)]
        for _ in range(repeats):
            transitions = self.tick(elapsed_ms, [Sample(f"L{tank[1]}", 0, OK, {"current": current})], facts)
            if bad:  # a failed signal clears nothing, and raises nothing but the high side in the gap
                for t in transitions:
                    if t.source in TANKS:
                        assert at_least
                        assert (t.event, t.condition in HIGHS) == (Event.RAISED, True)
            elif level >= 9.0:
                assert self.states[f"{tank}.high"][0] in (State.UNACKNOWLEDGED, State.ACKNOWLEDGED)

    @rule(
        tank=st.sampled_from(TANKS),
        outcome=st.sampled_from(["timeout", "wrong-reply", "exception-02"]),
        elapsed_ms=st.integers(0, 5000),
        repeats=st.integers(1, 4),
    )
    def fails(self, tank: str, outcome: str, elapsed_ms: int, repeats: int) -> None:
        for _ in range(repeats):
            facts = [TankFacts(reading(None, "Bad", tank=tank))]
            transitions = self.tick(elapsed_ms, [Sample(f"L{tank[1]}", 0, outcome, {})], facts)
            assert all(t.source not in TANKS for t in transitions)

    @rule(elapsed_ms=st.integers(0, 10_000))
    def only_time_passes(self, elapsed_ms: int) -> None:
        assert all(t.source not in TANKS for t in self.tick(elapsed_ms, [], []))

    @rule(data=st.data(), late=st.integers(0, 2))
    def acknowledges(self, data: st.DataObject, late: int) -> None:
        alarm_id = data.draw(st.sampled_from(sorted(self.states) or ["T1.high"]))
        state, newest = self.states.get(alarm_id, (State.NORMAL, 0))
        answer = self.house.acknowledge(self.now, alarm_id, newest - late)
        assert self.twin.acknowledge(self.now, alarm_id, newest - late) == answer
        assert self.restarted.acknowledge(self.now, alarm_id, newest - late) == answer
        if newest - late < 0:
            assert answer.status == "unknown"
        elif late:
            assert answer.status == "older"
        else:
            asked = state in (State.UNACKNOWLEDGED, State.RETURNED_UNACKNOWLEDGED)
            assert answer.status == ("done" if asked else "already" if newest else "nothing to acknowledge")
        if answer.transition is not None:
            self.follow(answer.transition)

    @rule()
    def restarts(self) -> None:
        self.restarted = self.restarted.restarted()

    @rule()
    def crashes_and_restarts_from_what_was_kept_at_each_change(self) -> None:
        self.keep()
        house = House()
        house.tracker.restore(self.kept["faults"])
        house.engine.restore(self.kept["alarms"])
        assert house.engine.standing() == self.house.engine.standing()
        assert house.tracker.declared() == self.house.tracker.declared()

    @invariant()
    def keep(self) -> None:
        self.kept["faults"] |= self.house.tracker.save(changed_only=True)
        self.kept["alarms"] |= self.house.engine.save(changed_only=True)

    @invariant()
    def the_stream_of_transitions_equals_the_state(self) -> None:
        standing = {view.id: (view.state, view.occurrence) for view in self.house.engine.standing()}
        assert standing == {k: v for k, v in self.states.items() if v[0] is not State.NORMAL}

    @invariant()
    def the_stream_of_fault_changes_equals_the_open_rows(self) -> None:
        found = self.house.tracker.open_faults()
        assert {(f.instrument, f.number): f.fault_class for f in found} == {
            key: fault.fault_class for key, fault in self.open_rows.items()
        }

    @invariant()
    def worse_level_alarms_imply_the_milder_ones(self) -> None:
        for tank in TANKS:
            on = [
                self.states.get(f"{tank}.{c}", (State.NORMAL, 0))[0] in (State.UNACKNOWLEDGED, State.ACKNOWLEDGED)
                for c in HIGHS
            ]
            assert on == sorted(on)

    @invariant()
    def every_declared_fault_has_its_alarm_and_no_other_signal_alarm_is_on(self) -> None:
        on = {k for k, (s, _) in self.states.items() if s in (State.UNACKNOWLEDGED, State.ACKNOWLEDGED) and k[0] == "L"}
        declared = self.house.tracker.declared()
        assert on == {f"{loop}.{CONDITION_OF_FAULT[c]}" for loop, classes in declared.items() for c in classes}


TestAlarms = Alarms.TestCase
TestAlarms.settings = settings(max_examples=60, stateful_step_count=40, deadline=None)


@pytest.mark.soak
class TestManyAlarms(Alarms.TestCase):
    settings = settings(max_examples=1000, stateful_step_count=40, deadline=None)
