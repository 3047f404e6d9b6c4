"""A movement: what it moves is the integral of its flow, it starts slowly, and the line drains back."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from simulator.movement import SLOW_FRAC, SLOW_START_S, Movement, Stage


@settings(max_examples=50, deadline=None)
@given(flow=st.floats(5e-4, 0.08), minutes=st.floats(3.0, 60.0), slow=st.booleans())
def test_it_moves_the_volume_it_was_given(flow: float, minutes: float, slow: bool) -> None:
    wanted = flow * 60 * minutes
    pump = Movement(flow, limit_m3=wanted, slow_start=slow)
    integral = 0.0
    while pump.stage in (Stage.RUNNING, Stage.STOPPING):
        before = pump.flow_m3ps
        moved = pump.step(0.5)
        integral += (before + pump.flow_m3ps) / 2 * 0.5
        assert moved >= 0
    assert pump.moved_m3 == pytest.approx(integral, rel=1e-9)
    assert pump.moved_m3 == pytest.approx(wanted, abs=flow * 1.0)  # a step at full flow, either way


def test_a_receipt_starts_slowly() -> None:
    pump = Movement(0.03, limit_m3=50.0, slow_start=True)
    flows = []
    for _ in range(round(SLOW_START_S / 0.5)):
        pump.step(0.5)
        flows.append(pump.flow_m3ps)
    assert max(flows) == pytest.approx(0.03 * SLOW_FRAC)
    for _ in range(60):
        pump.step(0.5)
    assert pump.flow_m3ps == pytest.approx(0.03)


def test_one_that_is_under_way_runs_at_full_flow_at_once() -> None:
    pump = Movement(0.03, limit_m3=50.0, slow_start=True, under_way=True)
    assert pump.step(0.5) == pytest.approx(0.015)


def test_the_line_drains_back_after_the_stop_and_not_before() -> None:
    pump = Movement(0.02, limit_m3=2.0, drain_back_m3=0.05)
    while pump.stage is not Stage.DRAINING:
        assert pump.drain(0.5) == 0.0
        pump.step(0.5)
    back = 0.0
    while pump.stage is not Stage.DONE:
        assert pump.step(0.5) == 0.0
        back += pump.drain(0.5)
    assert back == pytest.approx(0.05, rel=1e-3)


def test_a_stop_by_hand_closes_within_seconds() -> None:
    pump = Movement(0.02, limit_m3=500.0)
    for _ in range(60):
        pump.step(0.5)
    pump.stop()
    steps = 0
    while pump.stage is Stage.STOPPING:
        pump.step(0.5)
        steps += 1
    assert 2 <= steps * 0.5 <= 6
