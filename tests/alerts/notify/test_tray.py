"""Who is told what and when: each rule of the chain on a clock of the test's own.

The delays are settings of each test; the rules are ours (docs/notification.md): common practice, no source.
"""

import json
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from alerts.errors import BadSavedState
from alerts.notify.grouped import MOST, PAUSE_MS
from alerts.notify.policy import Hours, Policy
from alerts.notify.retry import PACE
from alerts.notify.stage import Reason
from alerts.notify.tray import Tray
from tests.alerts.notify.rigs import MIN, T0_MS, Rig, S


def rig(**wishes: object) -> Rig:
    return Rig(Policy("duty", **wishes))  # type: ignore[arg-type]


def test_priority_1_goes_at_once_and_takes_along_what_waits():
    r = rig(gather_ms=30 * S)
    r.raised("t1.low", priority=3)
    assert not r.ask()
    r.at = 2 * S
    r.raised("t2.high_high", priority=1)
    r.ask()
    assert r.told == [(2 * S, ["t2.high_high#1", "t1.low#1"])]


def test_other_priorities_wait_for_company_from_the_first_on():
    r = rig(gather_ms=10 * S)
    r.raised("t1.low", priority=3)
    r.until(6 * S)
    r.raised("t2.low", priority=3)
    r.until(60 * S)
    assert r.told == [(10 * S, ["t1.low#1", "t2.low#1"])]
    assert ("t1.low", Reason.GATHERING) in r.reasons


def test_a_flood_becomes_few_messages_with_a_pause_between_them_and_names_every_alarm():
    r = rig(gather_ms=0)
    for k in range(250):
        r.raised(f"t{k}.high_high", priority=1)
        r.until((k + 1) * 100)
    r.until(60 * S)
    assert len(r.told) <= 25_000 / PAUSE_MS + 2 + 250 / MOST
    assert all(later - earlier >= PAUSE_MS for (earlier, _), (later, _) in pairwise(r.told))
    assert sorted(mark for _, marks in r.told for mark in marks) == sorted(f"t{k}.high_high#1" for k in range(250))
    assert all(len(marks) <= MOST for _, marks in r.told)


@pytest.mark.parametrize(
    ("state", "event", "reason"),
    [
        ("shelved", "shelved", Reason.SHELVED),
        ("suppressed_by_design", "suppressed", Reason.SUPPRESSED),
        ("out_of_service", "removed_from_service", Reason.OUT_OF_SERVICE),
    ],
)
def test_a_hidden_alarm_is_not_told_until_it_asks_again(state, event, reason):
    r = rig(gather_ms=10 * S)
    r.raised()
    r.news("t1.high", event, state)
    r.until(20 * S)
    assert r.told == []
    assert ("t1.high", reason) in r.reasons
    r.news("t1.high", "raised", state)  # evaluated while hidden
    r.until(30 * S)
    assert r.told == []
    r.news("t1.high", "unshelved", "unacknowledged")
    r.until(60 * S)
    assert [marks for _, marks in r.told] == [["t1.high#2"]]


@pytest.mark.parametrize(
    ("wishes", "reason"),
    [
        ({"priorities": frozenset({1})}, Reason.OTHER_PRIORITY),
        ({"classes": frozenset({"safety"})}, Reason.OTHER_CLASS),
        ({"sources": frozenset({"t2"})}, Reason.OTHER_SOURCE),
        ({"priorities": frozenset()}, Reason.OTHER_PRIORITY),
    ],
)
def test_a_channel_is_told_only_of_what_it_wants(wishes, reason):
    r = rig(**wishes)
    r.raised(alarm_class="operations")
    r.until(60 * S)
    assert (r.told, r.reasons) == ([], [("t1.high", reason)])
    assert len(r.tray) == 0


def test_a_channel_is_not_told_of_its_own_failure_but_of_that_of_another():
    r = rig(gather_ms=0)
    r.raised("notify-duty.notification_failing")
    r.raised("notify-other.notification_failing")
    r.until(MIN)
    assert [marks for _, marks in r.told] == [["notify-other.notification_failing#1"]]
    assert ("notify-duty.notification_failing", Reason.OWN_FAILURE) in r.reasons


def test_a_class_that_the_channel_wants_is_told():
    r = rig(classes=frozenset({"safety"}), gather_ms=0)
    r.raised(alarm_class="safety")
    r.ask()
    assert len(r.told) == 1


def test_escalation_comes_exactly_when_nobody_acknowledged_in_time():
    r = rig(unacknowledged_ms=10 * MIN, gather_ms=0)
    r.raised(priority=1)
    r.until(60 * MIN)
    assert r.told == [(10 * MIN, ["t1.high#1"])]


def test_escalation_does_not_come_when_somebody_acknowledged_a_moment_before():
    r = rig(unacknowledged_ms=10 * MIN, gather_ms=0)
    r.raised(priority=1)
    r.until(10 * MIN - 1)
    r.acknowledged()
    r.until(60 * MIN)
    assert r.told == []
    assert ("t1.high", Reason.ACKNOWLEDGED_IN_TIME) in r.reasons


def test_a_return_does_not_end_the_wait_for_a_person():
    r = rig(unacknowledged_ms=10 * MIN, gather_ms=0)
    r.raised(priority=1)
    r.until(5 * MIN)
    r.returned()
    r.until(60 * MIN)
    assert [at for at, _ in r.told] == [10 * MIN]


def test_an_alarm_that_comes_and_goes_does_not_begin_the_wait_anew():
    r = rig(unacknowledged_ms=10 * MIN, gather_ms=0)
    for k in range(5):
        r.until(k * 2 * MIN)
        r.raised(priority=1)
        r.returned()
    r.until(60 * MIN)
    assert r.told == [(10 * MIN, ["t1.high#1-5"])]


def test_an_alarm_that_needs_no_acknowledgement_and_is_over_escalates_no_more():
    r = rig(unacknowledged_ms=10 * MIN)
    r.raised()
    r.returned(state="normal")
    r.until(60 * MIN)
    assert r.told == []
    assert ("t1.high", Reason.OVER_IN_TIME) in r.reasons


def test_escalation_counts_on_when_the_clock_is_set_back():
    r = rig(unacknowledged_ms=10 * MIN, gather_ms=0)
    r.raised(priority=1)
    r.clock_ms -= 60 * MIN
    r.until(60 * MIN)
    assert [at for at, _ in r.told] == [10 * MIN]


def test_it_is_told_again_until_a_person_acknowledges():
    r = rig(again_ms=15 * MIN, gather_ms=0)
    r.raised(priority=1)
    r.until(40 * MIN)
    r.acknowledged()
    r.until(120 * MIN)
    assert r.told == [(0, ["t1.high#1"]), (15 * MIN, ["t1.high again"]), (30 * MIN, ["t1.high again"])]


def test_the_same_alarm_is_not_told_anew_at_once_but_nothing_of_it_is_lost():
    r = rig(same_alarm_ms=5 * MIN, gather_ms=0)
    for k in range(10):
        r.until(k * 20 * S)
        r.raised(priority=1)
        r.returned()
    r.until(30 * MIN)
    assert r.told == [(0, ["t1.high#1"]), (5 * MIN, ["t1.high#2-10"])]
    assert ("t1.high", Reason.TOLD_JUST_NOW) in r.reasons


def test_an_alarm_that_has_become_more_urgent_waits_for_no_silence():
    r = rig(same_alarm_ms=60 * MIN, gather_ms=0)
    r.raised(priority=2)
    r.until(MIN)
    r.raised(priority=1)
    r.until(2 * MIN)
    r.raised(priority=1)
    r.until(30 * MIN)
    assert r.told == [(0, ["t1.high#1"]), (MIN, ["t1.high#2"])]


def test_what_was_told_may_be_followed_up():
    r = rig(tells=frozenset({"raised", "returned", "acknowledged"}), gather_ms=0)
    r.raised(priority=1)
    r.until(MIN)
    r.acknowledged()
    r.until(2 * MIN)
    r.returned(state="normal")
    r.until(60 * MIN)
    assert [marks for _, marks in r.told] == [["t1.high#1"], ["t1.high acknowledged"], ["t1.high returned"]]
    assert len(r.tray) == 0


def test_what_was_never_told_is_not_followed_up():
    r = rig(tells=frozenset({"raised", "returned"}), priorities=frozenset({1}))
    r.raised(priority=3)
    r.until(MIN)
    r.returned(state="normal")
    r.until(60 * MIN)
    assert r.told == []


NIGHT = Hours("Europe/Dublin", 22 * 60, 6 * 60)


def test_what_comes_when_nobody_is_on_duty_waits_until_somebody_is():
    # The rig begins on 25 November 2026 at 12:00 in Dublin (UTC in winter): duty begins ten hours later.
    r = rig(hours=NIGHT, gather_ms=0)
    r.raised(priority=1)
    r.raised("t2.high", priority=1)
    r.until(60 * MIN)
    r.acknowledged("t2.high")
    r.until(24 * 60 * MIN)
    assert r.told == [(10 * 60 * MIN, ["t1.high#1"])]
    assert ("t2.high", Reason.OVER_BEFORE_DUTY) in r.reasons


@pytest.mark.parametrize(
    ("hours", "time", "open_"),
    [
        (Hours("Etc/UTC", 6 * 60, 22 * 60), "06:00", True),
        (Hours("Etc/UTC", 6 * 60, 22 * 60), "05:59", False),
        (Hours("Etc/UTC", 6 * 60, 22 * 60), "22:00", False),
        (Hours("Etc/UTC", 22 * 60, 6 * 60), "05:59", True),
        (Hours("Etc/UTC", 22 * 60, 6 * 60), "06:00", False),
        (Hours("Etc/UTC", 22 * 60, 6 * 60, frozenset({1})), "05:00", True),  # Tuesday's night ends on Wednesday
        (Hours("Etc/UTC", 22 * 60, 6 * 60, frozenset({2})), "05:00", False),
        (Hours("Etc/UTC", 22 * 60, 6 * 60, frozenset({2})), "23:00", True),
        (Hours("Asia/Tokyo", 6 * 60, 22 * 60), "21:00", True),  # 06:00 there
        (Hours("Etc/UTC", 0, 24 * 60, frozenset({5, 6})), "12:00", False),
    ],
)
def test_hours_are_of_the_sites_zone_and_of_the_day_on_which_they_begin(hours, time, open_):
    hour, minute = map(int, time.split(":"))
    assert hours.open_at(T0_MS - 12 * 60 * MIN + (60 * hour + minute) * MIN) is open_


@given(
    st.integers(0, 1439), st.integers(0, 1440), st.sets(st.integers(0, 6), min_size=1),
    st.integers(0, 366 * 24 * 60), st.sampled_from(["Etc/UTC", "Europe/Oslo", "America/St_Johns", "Pacific/Chatham"]),
)  # fmt: skip
def test_the_next_duty_is_the_first_moment_that_is_open(start, end, days, minute, zone):
    if start == end:
        end = (start + 60) % 1440
    hours = Hours(zone, start, end, frozenset(days))
    time_ms = T0_MS + minute * MIN
    wait_ms = hours.opens_in_ms(time_ms)
    if hours.open_at(time_ms):
        assert wait_ms == 0
    else:
        assert hours.open_at(time_ms + wait_ms)
        for part in range(50):
            assert not hours.open_at(time_ms + wait_ms * part // 50)


def test_a_channel_that_fails_is_tried_after_longer_and_longer_waits_and_loses_nothing():
    r = rig(gather_ms=0, same_alarm_ms=0)
    r.raised(priority=1)
    tries = []
    while r.at < 60 * MIN:
        what = r.tray.next(r.now)
        if what.items:
            tries.append(r.at)
            r.tray.failed(r.now, refused=False)
            continue
        assert what.wire_ms
        r.at += what.wire_ms
    waits = [later - earlier for earlier, later in pairwise(tries)]
    assert waits[:4] == [5 * S, 10 * S, 20 * S, 40 * S]
    assert max(waits) == PACE.longest_ms
    r.raised(priority=1)
    r.until(r.at + 10 * MIN)
    assert [marks for _, marks in r.told] == [["t1.high#1-2"]]
    assert r.tray.tries.failures == 0


def test_failing_is_an_alarm_after_the_second_failure_and_a_refusal_at_once():
    r = rig()
    r.tray.failed(r.now, refused=False)
    assert not r.tray.tries.failing
    r.tray.failed(r.now, refused=False)
    assert r.tray.tries.failing
    r.tray.sent((), r.now)
    assert not r.tray.tries.failing
    r.tray.failed(r.now, refused=True)
    assert r.tray.tries.failing
    assert r.tray.tries.wait_ms(r.now) == PACE.longest_ms


def test_what_comes_while_a_message_is_under_way_is_told_in_the_next():
    r = rig(gather_ms=0, same_alarm_ms=0)
    r.raised(priority=1)
    under_way = r.tray.next(r.now).items
    r.at = S
    r.raised(priority=1)
    r.tray.sent(under_way, r.now)
    r.until(MIN)
    assert [marks for _, marks in r.told] == [["t1.high#2"]]


def test_a_restart_goes_on_where_it_was_and_tells_nothing_twice():
    r = rig(unacknowledged_ms=10 * MIN, gather_ms=0)
    r.raised(priority=1)
    r.until(4 * MIN)
    saved = r.tray.save()
    r.at += 2 * MIN  # the daemon is down
    r.tray = Tray(r.policy)
    r.tray.restore(saved, r.now)
    r.until(60 * MIN)
    assert r.told == [(10 * MIN, ["t1.high#1"])]
    after = Tray(r.policy)
    after.restore(r.tray.save(), r.now)
    assert not after.next(r.now).items


def test_news_that_was_taken_is_not_taken_again():
    r = rig(gather_ms=0)
    r.raised(priority=1)
    r.ask()
    r.n = 0  # the reader begins at an older place
    r.occurrences.clear()
    r.raised(priority=1)
    r.until(60 * MIN)
    assert len(r.told) == 1


def test_a_saved_state_that_is_none_is_named():
    with pytest.raises(BadSavedState, match="channel duty"):
        Tray(Policy("duty")).restore({"cases": []}, rig().now)


EVENTS = st.lists(
    st.tuples(
        st.sampled_from(["a.high", "b.low", "c.high_high"]),
        st.sampled_from(["raise", "return", "acknowledge", "fail", "restart", "wait"]),
        st.integers(0, 20 * MIN),
    ),
    max_size=40,
)


@given(EVENTS, st.sampled_from([0, 10 * S]), st.sampled_from([0, MIN]))
def test_whatever_happens_every_occurrence_is_told_exactly_once(events, gather_ms, same_alarm_ms):
    r = rig(gather_ms=gather_ms, same_alarm_ms=same_alarm_ms)
    standing: dict[str, bool] = {}
    for alarm, what, wait in events:
        if what == "raise" and not standing.get(alarm):
            r.raised(alarm, priority=1 if alarm == "c.high_high" else 2)
            standing[alarm] = True
        elif what == "return" and standing.get(alarm):
            r.returned(alarm)
            standing[alarm] = False
        elif what == "acknowledge" and alarm in standing:
            r.acknowledged(alarm, "acknowledged" if standing[alarm] else "normal")
        elif what == "fail":
            if r.tray.next(r.now).items:
                r.tray.failed(r.now, refused=False)
        elif what == "restart":
            saved = r.tray.save()
            r.tray = Tray(r.policy)
            r.tray.restore(saved, r.now)
        else:
            r.until(r.at + wait)
    r.until(r.at + 60 * MIN)
    told: dict[str, list[int]] = {}
    for _, marks in r.told:
        for mark in marks:
            alarm, _, numbers = mark.partition("#")
            first, _, last = numbers.partition("-")
            told.setdefault(alarm, []).extend(range(int(first), int(last or first) + 1))
    assert told == {alarm: list(range(1, last + 1)) for alarm, last in r.occurrences.items()}


def test_ten_thousand_alarms_on_a_channel_that_is_away_fill_no_memory_and_are_all_told_in_the_end():
    r = rig(gather_ms=0, same_alarm_ms=0)
    for k in range(10_000):
        r.at = k * 10
        r.raised(f"t{k % 40}.high", priority=1)
        r.returned(f"t{k % 40}.high")
    assert len(r.tray) == r.tray.untold == 40
    assert len(json.dumps(r.tray.save())) < 40 * 400
    r.until(r.at + MIN)
    assert sorted(mark for _, marks in r.told for mark in marks) == sorted(f"t{k}.high#1-250" for k in range(40))
    assert len(r.told) == 1
