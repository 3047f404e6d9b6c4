"""One tank's status over time: receipts, issues, blindness, restarts, people; and a second, plainer account of it."""

import json

import pytest
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, precondition, rule

from inventory.settling import MS_PER_H, SettlingRule, SettlingRules
from inventory.status import MAY_ISSUE, E, NoMove, S
from inventory.tankstate import CLEAR, FAILED, GAUGE, NOT_CLEAR, PASSED, SampleResult, Seen, TankState

MINUTE = 60_000
HOUR = MS_PER_H
BASE = 1_700_000_000_000
GOOD = SampleResult(CLEAR, PASSED, 801.2, None, "C-1")
NEEDED = ("appearance", "water test")
RULES = SettlingRules(SettlingRule("house rule 7", per_m_ms=HOUR, words="1 h/m of depth"))


class Tank:
    """A tank under test: a clock, and what flows."""

    def __init__(self, rules: SettlingRules = RULES) -> None:
        self.rules = rules
        self.state = TankState(12.0, rules, 5 * MINUTE)
        self.elapsed_ms, self.time_ms, self.level_m = 0, BASE, 4.0
        self.told: list[tuple[str, str, str]] = []

    def tick(self, minutes: float = 1.0, way: str = "", *, trusted: bool = True, **seen: object) -> None:
        self.elapsed_ms += round(minutes * MINUTE)
        self.time_ms += round(minutes * MINUTE)
        ins = (GAUGE,) if "in" in way else ()
        outs = (GAUGE,) if "out" in way else ()
        told = {"flow_in": ins, "flow_out": outs} | seen
        level = self.level_m if trusted else None
        for change in self.state.see(Seen(self.elapsed_ms, self.time_ms, level, trusted, **told)):
            self.told.append((change.event.value, change.before.value, change.after.value))

    def wait(self, hours: float, **seen: object) -> None:
        for _ in range(round(hours * 60)):
            self.tick(**seen)

    def receive(self, level_m: float, minutes: int = 60) -> None:
        for _ in range(minutes):
            self.tick(way="in")
        self.level_m = level_m
        self.tick(final=True)

    def restart(self, down_hours: float) -> None:
        saved = json.loads(json.dumps(self.state.save()))
        self.state = TankState(12.0, self.rules, 5 * MINUTE)
        self.state.restore(saved)
        self.time_ms += round(down_hours * HOUR)  # elapsed time stands still

    def release(
        self, by: str = "A. Person", result: SampleResult = GOOD, comment: str = "", early: bool = False
    ) -> str:
        why = self.state.why_not(result, NEEDED, comment, early=early)
        if not why:
            self.state.let_go(result, by, self.time_ms, comment, early=early)
        return why

    @property
    def status(self) -> S:
        return self.state.status


def test_a_receipt_goes_through_every_state_until_it_is_in_use():
    tank = Tank()
    tank.tick()
    assert tank.status is S.AWAITING_TEST
    tank.receive(8.0)
    assert tank.status is S.SETTLING
    assert tank.state.countdown.left_ms == 8 * HOUR  # 1 h per m of 8 m
    tank.wait(7.9)
    assert tank.status is S.SETTLING
    tank.wait(0.2)
    assert tank.status is S.AWAITING_TEST
    assert tank.release() == ""
    assert tank.status is S.RELEASED
    tank.tick(way="out")
    tank.tick()
    assert tank.status is S.IN_USE
    tank.tick(way="in")
    assert (tank.status, tank.state.release) == (S.RECEIVING, None)


def test_an_issue_before_the_release_restarts_the_settling_and_nothing_counts_meanwhile():
    tank = Tank()
    tank.receive(8.0)
    tank.wait(6)
    tank.wait(1, way="out")
    tank.level_m = 6.0
    tank.tick()
    countdown = tank.state.countdown
    assert (tank.status, countdown.restarts, countdown.held) == (S.SETTLING, 1, False)
    assert countdown.left_ms == 6 * HOUR
    tank.wait(6.1)
    tank.wait(0.5, way="out")  # after the settling, still before the release
    assert tank.status is S.SETTLING


def test_a_site_may_say_that_issues_disturb_nothing():
    tank = Tank(SettlingRules(SettlingRule("house", time_ms=2 * HOUR), issues_restart=False))
    tank.receive(8.0)
    tank.wait(1)
    tank.wait(1.1, way="out")
    assert tank.status is S.AWAITING_TEST


def test_a_receipt_on_top_restarts_it_by_the_new_depth():
    tank = Tank()
    tank.receive(5.0)
    tank.wait(4)
    tank.receive(9.0)
    assert tank.state.countdown.left_ms == 9 * HOUR


def test_a_small_receipt_on_top_never_shortens_what_had_to_settle_before():
    rule = SettlingRule("house", per_m_ms=HOUR, small_rise_m=0.3, small_ms=HOUR)
    tank = Tank(SettlingRules(rule))
    tank.receive(8.0)
    tank.wait(2)
    tank.receive(8.2)
    assert tank.state.countdown.left_ms == 6 * HOUR - MINUTE  # up to the tick in which the flow is first seen
    tank.wait(6.1)
    tank.release()
    tank.receive(8.4)
    assert tank.state.countdown.left_ms == HOUR


def test_blind_time_does_not_count_and_is_told():
    tank = Tank()
    tank.receive(8.0)
    tank.wait(5, trusted=False)
    assert (tank.state.countdown.counted_ms, tank.state.countdown.blind_ms) == (0, 5 * HOUR)
    tank.wait(8)
    assert tank.status is S.AWAITING_TEST


def test_a_hole_in_the_readings_is_blind_time():
    tank = Tank()
    tank.receive(8.0)
    tank.tick(minutes=120)
    assert (tank.state.countdown.counted_ms, tank.state.countdown.blind_ms) == (0, 2 * HOUR)


@pytest.mark.parametrize(("down_hours", "left_hours"), [(2.0, 4.0), (-2.0, 6.0), (30.0, 0.0)])
def test_a_restart_goes_on_by_the_clock_and_a_clock_set_back_counts_nothing(down_hours, left_hours):
    tank = Tank()
    tank.receive(8.0)
    tank.wait(2)
    tank.restart(down_hours)
    tank.tick(minutes=0)
    assert tank.state.countdown.left_ms == left_hours * HOUR
    assert tank.state.countdown.down_ms == max(0.0, down_hours) * HOUR


def test_time_without_the_program_counts_only_when_the_level_is_seen_again():
    tank = Tank()
    tank.receive(8.0)
    tank.restart(3.0)
    tank.wait(1, trusted=False)
    assert tank.state.countdown.counted_ms == 0
    tank.tick(minutes=0)
    assert tank.state.countdown.counted_ms == 3 * HOUR + MINUTE  # up to the first tick after the start
    assert tank.state.countdown.blind_ms == HOUR - MINUTE


def test_a_flow_that_was_none_gives_back_the_release():
    tank = Tank()
    tank.release()
    tank.tick(way="in")
    assert (tank.status, tank.state.release) == (S.RECEIVING, None)
    tank.tick()  # the surface settles
    assert tank.status is S.SETTLING
    tank.tick(withdrawn=True)
    assert tank.status is S.RELEASED
    assert tank.state.release.by == "A. Person"


def test_a_flow_that_a_meter_has_seen_too_is_never_taken_back():
    tank = Tank()
    tank.release()
    tank.tick(flow_in=(GAUGE, "meter m1"))
    tank.tick()
    tank.tick(withdrawn=True)
    assert tank.status is S.SETTLING


def test_what_is_wrong_with_a_release_is_said_with_the_mend():
    tank = Tank()
    tank.receive(8.0)
    assert "not settled yet" in tank.release()
    assert "write why" in tank.release(early=True)
    assert tank.release(early=True, comment="two tests passed, flight waits") == ""
    assert tank.state.release.early
    again = Tank()
    assert "water test" in again.release(result=SampleResult(CLEAR))
    assert "quarantine" in again.release(result=SampleResult(NOT_CLEAR, PASSED))
    assert "quarantine" in again.release(result=SampleResult(CLEAR, FAILED))


def test_a_release_lists_what_was_not_done():
    tank = Tank()
    tank.release(result=SampleResult(CLEAR, PASSED))
    assert tank.state.release.not_done == (
        "density", "conductivity", "certificate", "settling (nobody watched it)",
    )  # fmt: skip


def test_a_quarantine_keeps_the_countdown_and_its_end_never_releases():
    tank = Tank()
    tank.receive(8.0)
    assert not isinstance(tank.state.say(E.QUARANTINE, "B", "odd smell", tank.time_ms), NoMove)
    tank.wait(3)
    tank.state.say(E.LIFT, "B", "second sample is fine", tank.time_ms)
    assert (tank.status, tank.state.countdown.left_ms) == (S.SETTLING, 5 * HOUR)
    tank.state.say(E.REMOVE, "B", "cleaning", tank.time_ms)
    tank.wait(6)
    tank.state.say(E.RETURN, "B", "cleaned", tank.time_ms)
    assert tank.status is S.AWAITING_TEST


class Life(RuleBasedStateMachine):
    """Random flows, people, faults of the level and restarts; beside it the plainest account of what may be."""

    def __init__(self) -> None:
        super().__init__()
        self.tank = Tank()
        self.way = ""
        self.clean = True  # by our own account: nothing has flowed in since the release
        self.last_change = self.undisturbed_ms = 0

    def _tick(self, minutes: int, *, trusted: bool = True, way: str | None = None, **seen: object) -> None:
        if way is not None:
            self.way = way
        self.tank.tick(minutes, self.way, trusted=trusted, **seen)
        if "in" in self.way:
            self.clean = False

    @rule(minutes=st.integers(1, 5), trusted=st.booleans())
    def time_goes_by(self, minutes: int, trusted: bool) -> None:
        self._tick(minutes, trusted=trusted)

    @rule(way=st.sampled_from(["", "in", "out", "in out"]), level=st.floats(0.1, 12.0))
    def flow_changes(self, way: str, level: float) -> None:
        self.tank.level_m = level
        self._tick(1, way=way, final=way != self.way)

    @precondition(lambda self: self.way == "")
    @rule(way=st.sampled_from(["in", "out"]))
    def the_gauge_tells_of_a_flow_that_was_none(self, way: str) -> None:
        before, release = self.tank.status, self.tank.state.release
        for told in (way, ""):
            self.tank.tick(1, told)
        self.tank.tick(1, withdrawn=True)
        after = self.tank.status
        assert after is before or (before, after) == (S.SETTLING, S.AWAITING_TEST)
        assert self.tank.state.release == release

    @rule(hours=st.integers(1, 14))
    def stands(self, hours: int) -> None:
        for _ in range(12 * hours):
            self._tick(5)

    @rule(hours=st.floats(-3.0, 20.0))
    def restarts(self, hours: float) -> None:
        self.tank.restart(hours)

    @rule(early=st.booleans(), result=st.sampled_from([GOOD, SampleResult(), SampleResult(CLEAR, FAILED)]))
    def releases(self, early: bool, result: SampleResult) -> None:
        before = self.tank.status
        counting = self.tank.state.countdown
        why = self.tank.release(result=result, comment="because", early=early)
        if not why:
            assert result is GOOD
            assert "in" not in self.way
            assert before not in (S.RECEIVING, S.QUARANTINED, S.OUT_OF_SERVICE)
            assert early or before is not S.SETTLING
            assert early or counting is None or counting.counted_ms >= counting.need_ms
            self.clean = True

    @rule(event=st.sampled_from([E.QUARANTINE, E.LIFT, E.REMOVE, E.RETURN]))
    def says(self, event: E) -> None:
        before = self.tank.status
        said = self.tank.state.say(event, "B", "because", self.tank.time_ms)
        assert isinstance(said, NoMove) == (before is self.tank.status)

    @invariant()
    def nothing_that_flowed_in_is_released(self) -> None:
        if self.tank.status in MAY_ISSUE:
            assert self.clean
            assert self.tank.state.release is not None

    @invariant()
    def a_release_is_there_only_while_it_holds(self) -> None:
        assert (self.tank.state.release is not None) == (self.tank.status in MAY_ISSUE)

    @invariant()
    def what_flows_in_is_receiving_unless_a_person_has_set_the_tank_aside(self) -> None:
        if self.tank.state.flow_in:
            assert self.tank.status in (S.RECEIVING, S.QUARANTINED, S.OUT_OF_SERVICE)
        else:
            assert self.tank.status is not S.RECEIVING

    @invariant()
    def a_settling_tank_has_a_countdown_that_is_not_over(self) -> None:
        if self.tank.status is S.SETTLING:
            assert self.tank.state.countdown is not None
            assert not self.tank.state.countdown.over

    @invariant()
    def it_is_saved_and_restored_whole(self) -> None:
        saved = json.loads(json.dumps(self.tank.state.save()))
        other = TankState(12.0, RULES, 5 * MINUTE)
        other.restore(saved)
        assert other.save() == self.tank.state.save()

    @precondition(lambda self: self.tank.state.countdown is not None)
    @invariant()
    def a_countdown_never_counts_more_than_has_gone_by(self) -> None:
        countdown = self.tank.state.countdown
        gone = self.tank.elapsed_ms + countdown.down_ms
        assert 0 <= countdown.counted_ms <= gone


TestLife = Life.TestCase
TestLife.settings = settings(max_examples=60, stateful_step_count=40, deadline=None)
