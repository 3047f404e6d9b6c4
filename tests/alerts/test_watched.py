"""Conditions that are judged outside the engine: verdicts, values, silence, restart. The house's own rules."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from alerts.engine import AlarmEngine
from alerts.errors import BadSetup
from alerts.sheet import WATCH_DEFAULTS
from alerts.spec import Limit, TankAlarms
from alerts.watched import Told, Watched
from tests.alerts.timelines import instant, told
from tests.reference import rows

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


VERDICTS = st.lists(st.tuples(st.integers(1, 9), st.sampled_from([True, False, None])), max_size=60)


@given(VERDICTS, st.integers(0, 60))
def test_without_delays_an_alarm_is_what_was_last_known_restart_or_not(
    verdicts: list[tuple[int, bool | None]], restart: int
) -> None:
    """Law: nothing that is told is lost, silence changes nothing, and a restart neither repeats nor forgets."""
    limit = Limit("high_level_switch", 1.0, 0.0, 0, 0, 1)
    room, second, known, seen = engine(limit), 0, False, []
    for n, (step, on) in enumerate(verdicts):
        second += step
        if n == restart:
            before, room = room, engine(limit)
            room.restore(before.save())
        told_now = room.step(instant(second), [], {}, told=[Told("S1", "high_level_switch", None, on)])
        changed = on is not None and on is not known
        assert [t.event.value for t in told_now] == (["raised" if on else "returned"] if changed else [])
        known = known if on is None else on
        seen += told_now
    assert len({t.occurrence for t in seen if t.event.value == "raised"}) == len(seen) - len(seen) // 2


def test_temperature_waits_as_long_as_is_common_for_it() -> None:
    """Source: the row's own (from memory). Levels wait less: a receipt is faster than its starting values allow for."""
    (row,) = (row for row in rows("alarms/alarm_deadband_delay.csv") if row["signal"] == "temperature")
    for condition in ("temperature_high", "temperature_low"):
        assert WATCH_DEFAULTS[condition].on_delay_ms == 1000 * int(row["delay_s"])
