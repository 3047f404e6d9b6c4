"""Conditions that are judged outside the engine: verdicts, values, silence, restart. The house's own rules."""

import pytest

from alerts.engine import AlarmEngine
from alerts.errors import BadSetup
from alerts.spec import Limit, TankAlarms
from alerts.watched import Told, Watched
from tests.alerts.timelines import instant, told

SWITCH = Limit("high_level_switch", 1.0, 0.0, 2000, 5000, 1)
DRY = {"-": None, "on": True, "off": False}


def engine(*limits: Limit) -> AlarmEngine:
    return AlarmEngine([TankAlarms("T1", "L1", ())], ["L1"], watched=[Watched("S1", limits)])


def play(room: AlarmEngine, second: float, word: str = "") -> list[str]:
    say = [Told("S1", "high_level_switch", None, DRY[word])] if word else []
    return [told(t) for t in room.step(instant(second), [], {}, told=say)]


def test_a_verdict_raises_after_its_delay_and_silence_stops_that_clock() -> None:
    room = engine(SWITCH)
    assert play(room, 0, "on") == []
    assert play(room, 1, "-") == []  # one second of the two is behind it
    assert play(room, 60, "on") == []
    assert play(room, 61) == ["high_level_switch raised -> unacknowledged"]  # a tick of somebody else judges delays too
    assert play(room, 62, "off") == []
    assert play(room, 66, "-") == []  # what nobody tells clears nothing
    assert play(room, 90, "off") == []
    assert play(room, 95, "off") == ["high_level_switch returned -> returned_unacknowledged"]


def test_a_value_is_held_against_the_limit_with_its_deadband() -> None:
    room = engine(Limit("rise_fast", 5.0, 1.0, 0, 0, 2))
    seen = []
    for second, value in enumerate((4.9, 5.0, 4.5, None, 3.9)):
        for t in room.step(instant(second), [], {}, told=[Told("S1", "rise_fast", value)]):
            seen.append((second, t.event.value, t.value))
    assert seen == [(1, "raised", 5.0), (4, "returned", 3.9)]


def test_what_stood_before_a_restart_stands_after_it_once() -> None:
    room = engine(SWITCH)
    play(room, 0, "on")
    play(room, 2)
    again = engine(SWITCH)
    assert again.restore(room.save()) == []
    assert play(again, 3, "on") == []
    play(again, 4, "off")
    assert play(again, 9) == ["high_level_switch returned -> returned_unacknowledged"]


def test_telling_of_a_condition_that_was_never_announced_is_a_bug_that_shows() -> None:
    with pytest.raises(BadSetup, match=r"S1\.frozen"):
        engine(SWITCH).step(instant(0), [], {}, told=[Told("S1", "frozen", None, True)])
    with pytest.raises(BadSetup, match="watched twice"):
        engine(SWITCH, SWITCH)
