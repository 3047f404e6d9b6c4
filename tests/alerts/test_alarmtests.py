"""Tests of single alarms: what is measured, when one ends, what is kept. The house's own rules."""

import json

import pytest

from alerts.alarmtests import WET, AlarmTests, Proof
from alerts.conditions import TankFacts
from alerts.desk import Desk
from alerts.engine import AlarmEngine
from alerts.errors import BadSavedState
from alerts.spec import Limit, TankAlarms
from tests.alerts.timelines import instant, reading

LIMIT = Limit("high", 9.9, 0.01, 2_000, 0, 2)
NAME = "T1.high"


def house() -> tuple[AlarmEngine, AlarmTests]:
    return AlarmEngine([TankAlarms("T1", "L1", (LIMIT,))], ["L1"]), AlarmTests()


def tick(engine: AlarmEngine, tests: AlarmTests, second: float, level: float | None = None) -> list[Proof]:
    facts = [] if level is None else [TankFacts(reading(level))]
    now = instant(second)
    return tests.see(now, engine.step(now, facts, {}))


def test_the_seconds_from_the_moved_signal_to_the_alarm_are_measured_with_its_delay() -> None:
    engine, tests = house()
    tests.begin(instant(0), NAME, "Ann", WET, 600_000, "float lifted")
    assert tick(engine, tests, 1, 9.95) == []
    assert tick(engine, tests, 2.9, 9.95) == []
    (proof,) = tick(engine, tests, 3, 9.95)
    assert (proof.passed, proof.raised_s, proof.occurrence, proof.comment) == (True, 3.0, 1, "float lifted")
    assert tests.newest(NAME) == proof
    assert not tests
    assert tests.passed_ms() == {NAME: instant(3).time_ms}


def test_an_alarm_that_does_not_come_in_time_has_failed_its_test() -> None:
    engine, tests = house()
    tests.begin(instant(0), NAME, "Ann", WET, 60_000, "")
    assert tick(engine, tests, 59, 5.0) == []
    (proof,) = tick(engine, tests, 60, 5.0)
    assert (proof.passed, proof.raised_s, proof.comment) == (False, None, "it did not come in time")
    assert tests.passed_ms() == {}
    assert tick(engine, tests, 61, 9.95) == []


def test_a_test_that_is_given_up_proves_nothing() -> None:
    _, tests = house()
    tests.begin(instant(0), NAME, "Ann", WET, 60_000, "")
    proof = tests.give_up(instant(5), NAME, "given up by Ann")
    assert proof is not None
    assert (proof.passed, proof.comment) == (False, "given up by Ann")
    assert tests.give_up(instant(6), NAME, "again") is None


def test_a_test_does_not_begin_where_its_alarm_could_not_be_heard() -> None:
    engine, tests = house()
    alarm = engine.find(NAME)
    assert alarm is not None
    assert tests.refusal(alarm) == ""
    Desk(engine, 3_600_000).shelve(instant(0), NAME, "Ann", "why not", 60_000)
    assert "shelved: nobody would hear it" in tests.refusal(alarm)
    Desk(engine, 3_600_000).unshelve(instant(1), NAME, "Ann")
    engine.step(instant(2), [TankFacts(reading(9.95))], {})
    engine.step(instant(4), [TankFacts(reading(9.95))], {})
    assert "is on already" in tests.refusal(alarm)


def test_an_alarm_that_was_hidden_when_it_came_has_failed_its_test() -> None:
    engine, tests = house()
    tests.begin(instant(0), NAME, "Ann", WET, 600_000, "float lifted")
    Desk(engine, 3_600_000).shelve(instant(1), NAME, "Bob", "rings all day", 60_000)
    assert tick(engine, tests, 2, 9.95) == []
    (proof,) = tick(engine, tests, 4, 9.95)
    assert (proof.passed, proof.raised_s) == (False, None)
    assert proof.comment == "float lifted; it came while it was shelved: nobody could hear it"
    assert tests.passed_ms() == {}


def test_tests_under_way_and_results_survive_a_restart() -> None:
    engine, tests = house()
    tests.begin(instant(0), NAME, "Ann", WET, 60_000, "")
    tests.told(Proof("T1.low", "Bob", WET, True, 4.2, 5, 6, 0))
    kept = dict(tests.save(changed_only=True))
    assert tests.save(changed_only=True) == {}
    fresh = AlarmTests()
    fresh.restore(json.loads(json.dumps(kept)))
    assert fresh.under_way(NAME) == tests.under_way(NAME)
    assert fresh.newest("T1.low") == tests.newest("T1.low")
    assert fresh.save(changed_only=False) == tests.save(changed_only=False)
    tick(engine, fresh, 1, 9.95)
    (proof,) = tick(engine, fresh, 3, 9.95)
    assert proof.raised_s == 3.0


def test_saved_tests_that_nobody_wrote_are_refused() -> None:
    with pytest.raises(BadSavedState, match=r"T1\.high"):
        AlarmTests().restore({NAME: {"open": [1], "newest": None}})
