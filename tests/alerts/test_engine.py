"""All alarms of a site, tick by tick: order, priorities, acknowledgement, restart. The house's own rules."""

import json
from dataclasses import replace

import pytest

from alerts.alarm import Transition
from alerts.conditions import TankFacts
from alerts.engine import CONDITION_OF_FAULT, AlarmEngine, priority_of_blindness
from alerts.errors import BadSavedState, BadSetup, UnnamedPerson
from alerts.lifecycle import Event, Kind, State
from alerts.sheet import BUILT_IN, Sheet, default_limit
from alerts.spec import SIGNAL_CONDITIONS, Limit, SwitchAlarm, TankAlarms
from alerts.watched import Watched
from tests.alerts.timelines import facts_of, instant, one_tank, play_alarms, reading, told

AT_ONCE = Limit("high", 9.9, 0.01, 0, 0, 2)


def two_tanks() -> AlarmEngine:
    """Two tanks on two instruments, named so that the order of the alphabet is not the order of the site."""
    tanks = [TankAlarms("Z", "LZ", (AT_ONCE, default_limit("low", 1.0))), TankAlarms("A", "LA", (AT_ONCE,))]
    return AlarmEngine(tanks, ["LZ", "LA"])


def facts(tank: str, level_m: float | None, quality: str = "Good", receiving: bool = False) -> TankFacts:
    return TankFacts(reading(level_m, quality, tank=tank), receiving=receiving)


def test_a_life_with_an_acknowledgement() -> None:
    play_alarms(
        one_tank(AT_ONCE),
        """
        0 s 9.9 Good       | high raised -> unacknowledged
        1 s ack high 1 Ann | done, high acknowledged -> acknowledged
        2 s ack high 1 Bob | already
        3 s 9.0 Good       | high returned -> normal
        4 s ack high 1 Bob | already
        5 s 9.9 Good       | high raised -> unacknowledged
        6 s ack high 1 Ann | older
        7 s 9.0 Good       | high returned -> returned_unacknowledged
        8 s 9.9 Good       | high raised -> unacknowledged
        9 s ack high 2 Ann | older
        10 s 9.0 Good      | high returned -> returned_unacknowledged
        11 s ack high 3 Ann | done, high acknowledged -> normal
        12 s ack high 4 Ann | unknown
        13 s ack low 1 Ann | unknown
        """,
    )


def test_acknowledging_what_never_came_is_answered() -> None:
    play_alarms(one_tank(AT_ONCE), "0 s ack high 0 Ann | nothing to acknowledge\n1 s ack high -1 Ann | unknown")


def test_the_second_to_acknowledge_learns_who_was_first_and_when() -> None:
    engine = one_tank(AT_ONCE)
    engine.step(instant(0), facts_of(["9.95", "Good"]), {})
    engine.acknowledge(instant(7, 3), "T1.high", 1, "Ann", "valve is closing")
    answer = engine.acknowledge(instant(9), "T1.high", 1, "Bob")
    assert (answer.status, answer.by, answer.time_ms, answer.transition) == ("already", "Ann", instant(7).time_ms, None)
    (view,) = engine.standing()
    assert (view.acknowledged_by, view.comment) == ("Ann", "valve is closing")


def test_an_acknowledgement_without_a_name_is_refused() -> None:
    engine = one_tank(AT_ONCE)
    engine.step(instant(0), facts_of(["9.95", "Good"]), {})
    with pytest.raises(UnnamedPerson, match=r"T1\.high"):
        engine.acknowledge(instant(1), "T1.high", 1, "  ")


def test_a_transition_tells_everything_that_a_row_needs() -> None:
    engine = one_tank(AT_ONCE)
    (row,) = engine.step(instant(3, 17), facts_of(["9.95", "Good"]), {})
    assert row == Transition(
        instant(3).time_ms, 17, "T1", "high", 2, Event.RAISED, State.UNACKNOWLEDGED, 1, "", "", 9.95
    )
    assert row.id == "T1.high"
    assert engine.acknowledge(instant(4, 18), "T1.high", 1, "Ann", "seen").transition == Transition(
        instant(4).time_ms, 18, "T1", "high", 2, Event.ACKNOWLEDGED, State.ACKNOWLEDGED, 1, "Ann", "seen", None
    )


def test_a_standing_alarm_shows_the_sheet_s_words_and_its_mark() -> None:
    engine = one_tank(AT_ONCE)
    engine.step(instant(0), facts_of(["9.95", "Good"]), {"L1": "no_answer"})
    fault, high = engine.standing()
    assert (fault.id, fault.mark, fault.value) == ("L1.no_answer", "", None)
    assert (high.id, high.mark, high.value, high.raised_ms) == ("T1.high", "not independent", 9.95, instant(0).time_ms)
    assert (high.action, high.respond) == (BUILT_IN["high"].action, BUILT_IN["high"].respond)
    assert engine.view("T1.high") == high
    assert engine.view("T9.high") is None


@pytest.mark.parametrize(("fault", "condition"), CONDITION_OF_FAULT.items())
def test_a_declared_fault_raises_its_condition_at_once_and_returns_when_it_ends(fault: str, condition: str) -> None:
    engine = one_tank(AT_ONCE)
    assert condition in SIGNAL_CONDITIONS
    (raised,) = engine.step(instant(0), [], {"L1": fault})
    assert (raised.source, told(raised)) == ("L1", f"{condition} raised -> unacknowledged")
    assert engine.step(instant(1), [], {"L1": fault}) == []
    assert [told(t) for t in engine.step(instant(2), [], {})] == [f"{condition} returned -> returned_unacknowledged"]


def test_a_worsened_fault_changes_its_alarm_in_one_tick() -> None:
    engine = one_tank(AT_ONCE)
    engine.step(instant(0), [], {"L1": "gap_low"})
    assert [told(t) for t in engine.step(instant(1), [], {"L1": "fail_low"})] == [
        "signal_low raised -> unacknowledged",
        "out_of_range returned -> returned_unacknowledged",
    ]


def test_silence_does_not_return_the_alarm_of_a_failed_loop() -> None:
    engine = one_tank(AT_ONCE)
    engine.step(instant(0), [], {"L1": ("fail_low",)})
    (silent,) = engine.step(instant(9), [], {"L1": ("no_answer", "fail_low")})
    assert told(silent) == "no_answer raised -> unacknowledged"


def test_a_failed_signal_never_clears_a_level_alarm() -> None:
    engine = one_tank(AT_ONCE)
    engine.step(instant(0), facts_of(["9.95", "Good"]), {})
    for second in range(1, 100):
        transitions = engine.step(instant(second), facts_of(["-", "Bad"]), {"L1": "fail_low"})
        assert all(t.source == "L1" for t in transitions)
    assert engine.view("T1.high").state is State.UNACKNOWLEDGED  # type: ignore[union-attr]


def test_rows_of_one_tick_come_in_the_order_of_the_site_then_of_conditions() -> None:
    engine = two_tanks()
    transitions = engine.step(
        instant(0), [facts("A", 9.95), facts("Z", 9.95)], {"LA": ("frozen", "fail_low"), "LZ": "no_answer"}
    )
    assert [t.id for t in transitions] == ["LZ.no_answer", "LA.signal_low", "LA.frozen", "Z.high", "A.high"]


@pytest.mark.parametrize(("receiving", "priority"), [(True, 1), (False, 2)])
def test_a_fault_has_priority_1_while_a_tank_that_it_blinds_receives(receiving: bool, priority: int) -> None:
    engine = two_tanks()
    engine.step(instant(0), [facts("Z", 5.0, receiving=receiving), facts("A", 5.0, receiving=not receiving)], {})
    (raised,) = engine.step(instant(1), [], {"LZ": "no_answer"})
    assert raised.priority == priority
    (raised, *_) = two_tanks().step(instant(1), [], {"LZ": "no_answer"}, receiving={"Z": receiving})
    assert raised.priority == priority


def test_a_switch_that_is_not_read_is_as_urgent_as_its_alarm_while_its_tank_fills() -> None:
    limit = Limit("high_level_switch", 1.0, 0.0, 0, 0, 1)
    engine = AlarmEngine(
        [TankAlarms("T1", "L1", (AT_ONCE,))], ["L1", "BOX"],
        watched=[Watched("S1", (limit,))], switches=[SwitchAlarm("S1", "BOX", "T1", limit)],
    )  # fmt: skip
    (raised,) = engine.step(instant(0), [facts("T1", 5.0)], {"BOX": "no_answer"})
    assert raised.priority == 2
    (again,) = engine.step(instant(1), [facts("T1", 5.0, receiving=True)], {"BOX": "no_answer"})
    assert (told(again), again.priority) == ("no_answer raised_again -> unacknowledged", 1)


def test_an_acknowledged_fault_is_raised_again_when_its_tank_begins_to_receive() -> None:
    # Source: tr-08 of the state model (priority step up as a reason to re-alarm)
    engine = two_tanks()
    engine.step(instant(0), [], {"LZ": "frozen"})
    engine.acknowledge(instant(1), "LZ.frozen", 1, "Ann")
    (again,) = engine.step(instant(2), [facts("Z", 5.0, receiving=True)], {"LZ": "frozen"})
    assert (told(again), again.priority, again.occurrence) == ("frozen raised_again -> unacknowledged", 1, 2)
    assert engine.acknowledge(instant(3), "LZ.frozen", 1, "Ann").status == "older"
    assert engine.step(instant(4), [facts("Z", 5.0, receiving=False)], {"LZ": "frozen"}) == []
    assert engine.view("LZ.frozen").priority == 1  # type: ignore[union-attr]  # never lowered while it stands


def test_a_latching_alarm_stays_after_its_condition() -> None:
    latching = Sheet({"high": replace(BUILT_IN["high"], kind=Kind(latching=True))})
    engine = AlarmEngine([TankAlarms("T1", "L1", (AT_ONCE,))], ["L1"], latching)
    play_alarms(
        engine,
        """
        0 s 9.95 Good      | high raised -> unacknowledged
        1 s 9 Good         | high returned -> latched_unacknowledged
        2 s ack high 1 Ann | done, high acknowledged -> latched_acknowledged
        3 s 9.95 Good      | high raised -> unacknowledged
        """,
    )


def test_equal_facts_of_one_tank_in_one_tick_are_judged_once_at_its_end() -> None:
    engine = one_tank(AT_ONCE)
    assert engine.step(instant(0), facts_of(["9.95", "Good"]) + facts_of(["9.5", "Good"]), {}) == []


def test_a_restart_raises_nothing_twice_and_forgets_nobody() -> None:
    engine = two_tanks()
    engine.step(instant(0), [facts("Z", 9.95), facts("A", 9.95)], {"LA": "fail_high"})
    engine.acknowledge(instant(1), "Z.high", 1, "Ann", "seen")
    again = two_tanks()
    assert again.restore(json.loads(json.dumps(engine.save()))) == []
    assert again.standing() == engine.standing()
    assert again.save() == engine.save()
    assert again.step(instant(2), [facts("Z", 9.95), facts("A", 9.95)], {"LA": "fail_high"}) == []
    assert again.acknowledge(instant(3), "Z.high", 1, "Bob").by == "Ann"
    assert [told(t) for t in again.step(instant(4), [facts("Z", 9.0)], {})] == [
        "signal_high returned -> returned_unacknowledged",
        "high returned -> normal",
    ]


def test_save_gives_only_what_changed_and_leaves_out_alarms_that_never_came() -> None:
    engine = two_tanks()
    assert engine.save() == {}
    engine.step(instant(0), [facts("Z", 9.95)], {})
    assert list(engine.save(changed_only=True)) == ["Z.high"]
    assert engine.save(changed_only=True) == {}
    engine.step(instant(1), [facts("Z", 9.0)], {})
    engine.acknowledge(instant(2), "Z.high", 1, "Ann")
    assert engine.save(changed_only=True)["Z.high"]["core"] == "normal"
    assert engine.standing() == []
    assert list(engine.save()) == ["Z.high"]  # its occurrence must go on rising


def test_a_new_occurrence_knows_nothing_of_the_old_one_s_acknowledgement_and_return() -> None:
    engine = one_tank(AT_ONCE)
    engine.step(instant(0), facts_of(["9.95", "Good"]), {})
    engine.acknowledge(instant(1), "T1.high", 1, "Ann", "seen")
    engine.step(instant(2), facts_of(["9.0", "Good"]), {})
    old = engine.view("T1.high")
    assert old is not None
    assert (old.returned_ms, old.acknowledged_by, old.comment) == (instant(2).time_ms, "Ann", "seen")
    engine.step(instant(3), facts_of(["9.95", "Good"]), {})
    (new,) = engine.standing()
    assert (new.raised_ms, new.returned_ms, new.acknowledged_by, new.acknowledged_ms, new.comment) == (
        instant(3).time_ms, None, "", None, ""
    )  # fmt: skip


def test_which_tanks_receive_is_kept_over_a_crash_for_the_priority_of_a_fault_right_after_it() -> None:
    engine = two_tanks()
    engine.step(instant(0), [facts("Z", 5.0, receiving=True)], {})
    again = two_tanks()
    assert again.restore(engine.save(changed_only=True)) == []
    (raised,) = again.step(instant(1), [], {"LZ": "no_answer"})
    assert raised.priority == 1
    engine.step(instant(2), [facts("Z", 5.0, receiving=True)], {})
    assert engine.save(changed_only=True) == {}


def test_a_priority_step_up_is_told_and_kept_even_when_nobody_had_acknowledged() -> None:
    engine = two_tanks()
    engine.step(instant(0), [], {"LZ": "frozen"})
    engine.save()
    (again,) = engine.step(instant(1), [facts("Z", 5.0, receiving=True)], {"LZ": "frozen"})
    assert (told(again), again.priority, again.occurrence) == ("frozen raised_again -> unacknowledged", 1, 2)
    assert engine.save(changed_only=True)["LZ.frozen"]["priority"] == 1
    assert engine.step(instant(2), [facts("Z", 5.0, receiving=True)], {"LZ": "frozen"}) == []


def test_who_knows_better_than_the_level_says_whether_a_tank_receives() -> None:
    engine = two_tanks()
    (raised,) = engine.step(instant(0), [facts("Z", None, "Bad")], {"LZ": "no_answer"}, receiving={"Z": True})
    assert raised.priority == 1
    engine.save()
    assert engine.step(instant(1), [facts("Z", None, "Bad")], {"LZ": "no_answer"}, receiving={"Z": True}) == []
    assert engine.save(changed_only=True) == {}


def test_alarms_that_the_site_no_longer_has_are_named_at_restore() -> None:
    engine = two_tanks()
    engine.step(instant(0), [facts("A", 9.95)], {})
    assert one_tank(AT_ONCE).restore(engine.save()) == ["A.high"]


def test_a_limit_s_priority_is_the_site_s_even_for_an_alarm_that_stood_at_the_restart() -> None:
    engine = one_tank(AT_ONCE)
    engine.step(instant(0), facts_of(["9.95", "Good"]), {})
    again = one_tank(replace(AT_ONCE, priority=1))
    again.restore(engine.save())
    assert again.standing()[0].priority == 1


@pytest.mark.parametrize("state", [{}, {"core": "angry", "hidden": []}, {"core": "normal", "hidden": ["deep"]}])
def test_saved_state_that_nobody_wrote_is_refused(state: dict[str, object]) -> None:
    with pytest.raises(BadSavedState, match=r"T1\.high"):
        one_tank(AT_ONCE).restore({"T1.high": state})


def test_a_site_that_contradicts_itself_is_refused() -> None:
    tank = TankAlarms("T1", "L1", (AT_ONCE,))
    with pytest.raises(BadSetup, match="its instrument L1 is not among"):
        AlarmEngine([tank], ["L2"])
    with pytest.raises(BadSetup, match="tank T1 is given twice"):
        AlarmEngine([tank, tank], ["L1"])
    with pytest.raises(BadSetup, match=r"L1\.signal_low is given twice"):
        AlarmEngine([tank], ["L1", "L1"])
    with pytest.raises(BadSetup, match="L9, which is not among the loops"):
        one_tank(AT_ONCE).step(instant(0), [], {"L9": "fail_low"})


def test_a_tank_without_limits_and_facts_of_a_stranger_pass() -> None:
    engine = AlarmEngine([TankAlarms("T1", "L1", ())], ["L1"])
    assert engine.step(instant(0), [facts("T1", 9.95), facts("T7", 9.95, receiving=True)], {"L1": "frozen"})


@pytest.mark.parametrize(
    ("limits", "receives", "priority"),
    [
        ({"high_high": 1, "high": 2, "low": 3, "low_low": 2}, True, 1),
        ({"high_high": 1, "high": 2, "low": 3, "low_low": 2}, False, 2),
        ({"critical_high": 3, "high_high": 3, "high": 3, "low": 3}, True, 3),
        ({"high": 1, "low": 3}, False, 1),
        ({"high": 3, "low": 3}, False, 3),
        ({"high": 2}, True, 1),
        ({"high_high": 1, "critical_high": 1}, False, 2),
        ({}, True, 1),
        ({}, False, 2),
    ],
)
def test_a_fault_is_as_urgent_as_the_most_urgent_alarm_that_it_may_hide_now(
    limits: dict[str, int], receives: bool, priority: int
) -> None:
    """Common practice, no source: a lost signal takes the priority of the highest alarm it blinds in this state."""
    assert priority_of_blindness(limits, receives) == priority
