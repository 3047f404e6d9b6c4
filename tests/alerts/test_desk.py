"""What people may do to alarms: shelving, latches, out of service; and what ends by itself at a tick.

Sources: ISA-18.2 (from memory) for the limit in time and the reason of a shelf; OPC UA Part 9, 4.8 (evaluated while
hidden, a latch goes by a reset) and 5.8.17.1 (one-shot); the rest is the house's rule.
"""

import json
from dataclasses import replace

import pytest

from alerts.desk import Desk
from alerts.engine import AlarmEngine
from alerts.errors import BadSavedState, UnnamedPerson
from alerts.lifecycle import Kind, State
from alerts.sheet import BUILT_IN, Sheet, While
from alerts.spec import Limit, TankAlarms
from models.reading import Instant
from tests.alerts.timelines import START_MS, facts_of, instant, lines, told

AT_ONCE = Limit("high", 9.9, 0.01, 0, 0, 2)
LONGEST_MS = 8 * 3_600_000


def house(kind: Kind = Kind(), ask_again_s: float | None = None, rule: While | None = None) -> AlarmEngine:  # noqa: B008
    again = None if ask_again_s is None else round(ask_again_s * 1000)
    entry = replace(BUILT_IN["high"], kind=kind, ask_again_ms=again, suppressed_while=rule)
    return AlarmEngine([TankAlarms("T1", "L1", (AT_ONCE,))], ["L1"], Sheet({"high": entry}))


def restarted(engine: AlarmEngine, **changes: object) -> AlarmEngine:
    fresh = house(**changes)  # type: ignore[arg-type]
    assert fresh.restore(json.loads(json.dumps(engine.save()))) == []
    return fresh


def play(engine: AlarmEngine, table: str) -> None:
    """Left: second and what happens (a level, `pump on`, or a person's act); right: what is answered and told."""
    desk = Desk(engine, LONGEST_MS)
    pump: bool | None = None
    for seq, (second, words, expected) in enumerate(lines(table), 1):
        now = instant(second, seq)
        match words:
            case ["shelve", name, span, *shot]:
                done = desk.shelve(
                    now, "T1.high", name, "being cleaned", round(float(span) * 1000), one_shot=bool(shot)
                )
            case ["unshelve", name]:
                done = desk.unshelve(now, "T1.high", name)
            case ["reset", name, *occurrence]:
                done = desk.reset(now, "T1.high", name, int(occurrence[0]) if occurrence else None)
            case ["remove", name]:
                done = desk.remove_from_service(now, ["T1.high"], name, "float is out")
            case ["return", name]:
                done = desk.return_to_service(now, ["T1.high"], name)
            case ["ack", name]:
                alarm = engine.find("T1.high")
                assert alarm is not None
                said = engine.acknowledge(now, "T1.high", alarm.occurrence, name)
                found = [said.status] + ([] if said.transition is None else [told(said.transition)])
                assert found == expected, f"at {second:g} s"
                continue
            case ["pump", state]:
                pump = {"on": True, "off": False, "lost": None}[state]
                found = [told(t) for t in engine.step(now, [], {}, points={"pump": pump})]
                assert found == expected, f"at {second:g} s"
                continue
            case _:
                found = [told(t) for t in engine.step(now, facts_of(words), {}, points={"pump": pump})]
                assert found == expected, f"at {second:g} s"
                continue
        found = [done.status, *([done.why] if done.why else []), *(told(t) for t in done.transitions)]
        assert found == expected, f"at {second:g} s"


def test_a_shelf_ends_at_the_first_tick_after_its_time_and_the_alarm_comes_back_as_new() -> None:
    play(
        house(),
        """
        0 s 9.95 Good        | high raised -> unacknowledged
        1 s shelve Ann 60    | done, high shelved -> shelved
        2 s shelve Bob 60    | already, shelved already
        3 s ack Bob          | nothing to acknowledge
        60.9 s 9.95 Good     |
        61 s                 | high shelf_expired -> unacknowledged
        62 s unshelve Ann    | already, it is not shelved
        """,
    )


def test_a_shelved_alarm_is_evaluated_and_comes_back_as_its_condition_is() -> None:
    play(
        house(),
        """
        0 s shelve Ann 60    | done, high shelved -> shelved
        1 s 9.95 Good        | high raised -> shelved
        2 s 9.0 Good         | high returned -> shelved
        3 s 9.95 Good        | high raised -> shelved
        4 s unshelve Ann     | done, high unshelved -> unacknowledged
        5 s ack Ann          | done, high acknowledged -> acknowledged
        6 s shelve Ann 60    | done, high shelved -> shelved
        7 s 9.0 Good         | high returned -> shelved
        66 s                 | high shelf_expired -> normal
        """,
    )


def test_a_one_shot_shelf_ends_with_its_condition_or_its_time() -> None:
    play(
        house(),
        """
        0 s 9.95 Good         | high raised -> unacknowledged
        1 s shelve Ann 60 one | done, high shelved -> shelved
        2 s 9.0 Good          | high returned -> normal
        3 s 9.95 Good         | high raised -> unacknowledged
        4 s shelve Ann 60 one | done, high shelved -> shelved
        64 s 9.95 Good        | high shelf_expired -> unacknowledged
        """,
    )


def test_the_three_suppressions_overlap_and_each_has_its_own_end() -> None:
    play(
        house(rule=While("pump")),
        """
        0 s pump on          | high suppressed -> suppressed_by_design
        1 s 9.95 Good        | high raised -> suppressed_by_design
        2 s shelve Ann 60    | done, high shelved -> suppressed_by_design
        3 s remove Ann       | done, high removed_from_service -> out_of_service
        4 s remove Bob       | already, out of service already
        5 s pump off         | high unsuppressed -> out_of_service
        6 s return Bob       | done, high returned_to_service -> shelved
        7 s pump on          | high suppressed -> suppressed_by_design
        62 s                 | high shelf_expired -> suppressed_by_design
        63 s pump lost       | high unsuppressed -> unacknowledged
        64 s pump on         | high suppressed -> suppressed_by_design
        65 s 9.0 Good        | high returned -> suppressed_by_design
        66 s pump off        | high unsuppressed -> normal
        67 s return Bob      | already, it is in service
        """,
    )


def test_a_suppression_by_design_begins_before_its_alarm_is_raised_in_the_same_tick() -> None:
    engine = house(rule=While("pump", on=False))
    transitions = engine.step(instant(0), facts_of(["9.95", "Good"]), {}, points={"pump": False})
    assert [told(t) for t in transitions] == [
        "high suppressed -> suppressed_by_design",
        "high raised -> suppressed_by_design",
    ]
    assert (transitions[0].by, transitions[0].comment) == ("rule", "while pump is off")
    (view,) = engine.standing()
    assert [(hide.state, hide.by, hide.reason) for hide in view.hides] == [
        (State.SUPPRESSED_BY_DESIGN, "rule", "while pump is off")
    ]


def test_a_suppression_whose_rule_has_left_the_sheet_ends_at_the_first_tick() -> None:
    engine = house(rule=While("pump"))
    engine.step(instant(0), [], {}, points={"pump": True})
    fresh = restarted(engine)
    (ended,) = fresh.step(instant(1), [], {})
    assert (told(ended), ended.comment) == ("high unsuppressed -> normal", "while pump is on")


def test_a_latch_stays_until_it_is_acknowledged_and_reset_also_through_a_shelf() -> None:
    engine = house(Kind(latching=True))
    play(
        engine,
        """
        0 s 9.95 Good        | high raised -> unacknowledged
        1 s 9.0 Good         | high returned -> latched_unacknowledged
        2 s reset Ann        | refused, acknowledge it first
        3 s shelve Ann 60    | done, high shelved -> shelved
        4 s reset Ann        | refused, it is hidden now
        63 s                 | high shelf_expired -> latched_unacknowledged
        64 s ack Ann         | done, high acknowledged -> latched_acknowledged
        """,
    )
    desk = Desk(engine, LONGEST_MS)
    assert desk.reset(instant(65), "T1.high", "Ann", 1).status == "older"
    assert desk.reset(instant(65), "T1.high", "Ann", 3).status == "unknown"
    assert [told(t) for t in desk.reset(instant(66), "T1.high", "Ann", 2).transitions] == [
        "high latched_reset -> normal"
    ]
    assert desk.reset(instant(67), "T1.high", "Ann").status == "already"


def test_an_acknowledged_alarm_that_still_stands_asks_again_after_its_time() -> None:
    play(
        house(ask_again_s=600),
        """
        0 s 9.95 Good        | high raised -> unacknowledged
        700 s 9.95 Good      |
        701 s ack Ann        | done, high acknowledged -> acknowledged
        1300 s 9.95 Good     |
        1301 s 9.95 Good     | high raised_again -> unacknowledged
        1302 s ack Ann       | done, high acknowledged -> acknowledged
        1303 s shelve Ann 60 | done, high shelved -> shelved
        1363 s               | high shelf_expired -> unacknowledged
        1364 s ack Ann       | done, high acknowledged -> acknowledged
        1964 s 9.0 Good      | high returned -> normal
        3000 s 9.0 Good      |
        """,
    )


def test_a_class_that_says_so_is_acknowledged_by_its_return_and_the_record_tells() -> None:
    engine = house(Kind(acknowledged_by_return=True))
    engine.step(instant(0), facts_of(["9.95", "Good"]), {})
    (returned,) = engine.step(instant(1), facts_of(["9.0", "Good"]), {})
    assert told(returned) == "high returned -> normal"
    assert returned.comment == "acknowledged by its return, as its class says"


@pytest.mark.parametrize("down_s", [0.0, 40.0])
def test_shelf_and_repeated_call_survive_a_restart_and_do_not_grow_by_it(down_s: float) -> None:
    engine = house(ask_again_s=600)
    engine.step(instant(0), facts_of(["9.95", "Good"]), {})
    Desk(engine, LONGEST_MS).shelve(instant(10), "T1.high", "Ann", "being cleaned", 60_000)
    fresh = restarted(engine, ask_again_s=600)
    (view,) = fresh.standing()
    assert (view.state, view.hides[0].by, view.hides[0].reason) == (State.SHELVED, "Ann", "being cleaned")
    assert view.hides[0].due is not None
    assert view.hides[0].due.time_ms == START_MS + 70_000

    def at(second: float) -> Instant:  # the core's own clock stood still while the daemon was down
        now = instant(second)
        return now._replace(elapsed_ms=now.elapsed_ms - round(down_s * 1000))

    assert fresh.step(at(69.9), facts_of(["9.95", "Good"]), {}) == []
    (ended,) = fresh.step(at(70), facts_of(["9.95", "Good"]), {})
    assert told(ended) == "high shelf_expired -> unacknowledged"


def test_a_clock_that_is_set_back_does_not_make_a_shelf_longer() -> None:
    engine = house()
    Desk(engine, LONGEST_MS).shelve(instant(10), "T1.high", "Ann", "being cleaned", 60_000)
    behind = instant(70)._replace(time_ms=START_MS - 3_600_000)
    assert [told(t) for t in engine.step(behind, [], {})] == ["high shelf_expired -> normal"]


@pytest.mark.parametrize(
    ("span_s", "why"), [(0, "1 s at least"), (-5, "1 s at least"), (LONGEST_MS / 1000 + 1, "8 h at most")]
)
def test_a_shelf_of_no_time_or_beyond_the_site_s_longest_is_refused(span_s: float, why: str) -> None:
    done = Desk(house(), LONGEST_MS).shelve(instant(0), "T1.high", "Ann", "being cleaned", round(span_s * 1000))
    assert (done.status, done.transitions) == ("refused", ())
    assert why in done.why


def test_an_act_without_a_name_or_a_reason_or_of_an_alarm_that_is_not_there_changes_nothing() -> None:
    engine = house()
    desk = Desk(engine, LONGEST_MS)
    with pytest.raises(UnnamedPerson, match=r"shelving T1\.high"):
        desk.shelve(instant(0), "T1.high", " ", "being cleaned", 60_000)
    with pytest.raises(UnnamedPerson, match=r"returning to service T1\.high"):
        desk.return_to_service(instant(0), ["T1.high"], "")
    assert desk.shelve(instant(0), "T1.high", "Ann", " ", 60_000).status == "refused"
    assert desk.remove_from_service(instant(0), ["T1.high"], "Ann", "").status == "refused"
    assert desk.remove_from_service(instant(0), ["T1.high", "T1.low"], "Ann", "why").status == "unknown"
    assert desk.remove_from_service(instant(0), [], "Ann", "why").status == "refused"
    assert desk.unshelve(instant(0), "T9.high", "Ann").status == "unknown"
    assert engine.standing() == []
    assert engine.save() == {}


def test_an_instrument_s_alarms_leave_service_together_and_only_those_that_left_are_told() -> None:
    engine = house()
    desk = Desk(engine, LONGEST_MS)
    desk.remove_from_service(instant(0), ["L1.frozen"], "Ann", "learning its noise")
    ids = [alarm.id for alarm in engine.of_instrument("L1")]
    assert ids == ["L1.signal_low", "L1.signal_high", "L1.out_of_range", "L1.no_answer", "L1.wrong_reply", "L1.frozen",
                   "L1.noisy", "L1.rate_impossible", "T1.high"]  # fmt: skip
    done = desk.remove_from_service(instant(1), ids, "Bob", "loop check")
    assert [t.id for t in done.transitions] == [i for i in ids if i != "L1.frozen"]
    engine.step(instant(2), facts_of(["9.95", "Good"]), {"L1": "fail_low"})
    back = desk.return_to_service(instant(3), [t.id for t in done.transitions], "Bob")
    assert {t.id: t.state.value for t in back.transitions if t.state is not State.NORMAL} == {
        "L1.signal_low": "unacknowledged",
        "T1.high": "unacknowledged",
    }
    assert [(view.id, view.state.value) for view in engine.standing() if view.id == "L1.frozen"] == [
        ("L1.frozen", "out_of_service")
    ]
    assert engine.of_instrument("L9") == []


def test_an_alarm_that_left_hiding_before_it_ever_came_is_not_hidden_after_a_crash() -> None:
    engine = house()
    desk = Desk(engine, LONGEST_MS)
    desk.shelve(instant(0), "T1.high", "Ann", "being cleaned", 60_000)
    kept = dict(engine.save(changed_only=True))
    desk.unshelve(instant(1), "T1.high", "Ann")
    kept |= engine.save(changed_only=True)
    fresh = house()
    fresh.restore(json.loads(json.dumps(kept)))
    assert fresh.standing() == []


def test_a_saved_shelf_that_nobody_knows_the_end_of_is_refused() -> None:
    engine = house()
    Desk(engine, LONGEST_MS).shelve(instant(0), "T1.high", "Ann", "being cleaned", 60_000)
    saved = engine.save()
    del saved["T1.high"]["hides"]
    with pytest.raises(BadSavedState, match=r"T1\.high"):
        house().restore(saved)
