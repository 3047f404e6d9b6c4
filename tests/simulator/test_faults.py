"""Each kind of fault as it arrives on the wire."""

import statistics

import pytest

from simulator.errors import SimulatorError
from simulator.farm import Farm
from simulator.faults import DEFAULT_VALUE, FaultKind
from simulator.layout import Act, Indicates, Planned
from tests.simulator.farms import GAUGE, farm, loop_gauge

ISSUE = Planned(0, Act.ISSUE, "hill", 150.0, volume_m3=100.0)


def readings(one: Farm, seconds: int) -> list[dict[str, float | None] | None]:
    start, seen = one.now_ms, []
    for second in range(1, seconds + 1):
        one.advance(start + 1000 * second)
        seen.append(one.wire("hill_gauge"))
    return seen


def column(one: Farm, name: str, seconds: int) -> list[float]:
    values = [reading[name] for reading in readings(one, seconds) if reading is not None]
    assert len(values) == seconds
    return [value for value in values if value is not None]


@pytest.mark.parametrize(
    ("kind", "low", "high"),
    [
        # bands of NAMUR NE 43 (2003), by secondary texts
        (FaultKind.FAIL_LOW, 0.0, 3.6),
        (FaultKind.GAP_LOW, 3.6, 3.8),
        (FaultKind.GAP_HIGH, 20.5, 21.0),
        (FaultKind.FAIL_HIGH, 21.0, 23.0),
    ],
)
def test_a_forced_current_lies_inside_of_its_band(kind: FaultKind, low: float, high: float) -> None:
    one = farm()
    one.inject("hill_gauge", kind, 60)
    forced = column(one, "current", 59)
    assert low < min(forced)
    assert max(forced) < high
    assert statistics.fmean(forced) == pytest.approx(DEFAULT_VALUE[kind], abs=0.002)
    assert column(one, "current", 10)[-1] == pytest.approx(12.0, abs=0.1)  # mended by itself


def test_a_broken_wire_is_0_mA_and_minus_25_percent() -> None:
    one = farm(gauge=loop_gauge())
    one.inject("hill_gauge", "open_loop")
    seen = readings(one, 5)[-1]
    assert seen is not None
    assert seen["current"] == pytest.approx(0.0, abs=0.01)
    assert seen["percent"] == pytest.approx(-25.0, abs=0.11)
    assert seen["level"] == 0.0  # a register without a sign stands at its end


def test_a_loop_powered_indicator_falls_silent_with_its_loop() -> None:
    one = farm(gauge=loop_gauge(loop_powered=True))
    one.inject("hill_gauge", "open_loop", 30)
    assert readings(one, 29) == [None] * 29
    assert readings(one, 5)[-1] is not None


def test_saturation_is_flat_to_the_last_bit() -> None:
    one = farm()
    for value in (20.5, 3.8):
        one.inject("hill_gauge", "saturated", 20, value=value)
        flat = column(one, "current", 19)
        assert len(set(flat)) == 1
        assert flat[0] == pytest.approx(value, abs=1e-6)
        one.clear("hill_gauge")


def test_a_frozen_unit_keeps_every_bit_while_the_tank_empties() -> None:
    one = farm()
    one.start(ISSUE)
    one.advance(120_000)
    before = one.unit("hill_gauge").image()
    one.inject("hill_gauge", "frozen", 900)
    one.advance(1_000_000)
    assert dict(one.unit("hill_gauge").image()) == dict(before)
    one.advance(1_100_000)
    assert dict(one.unit("hill_gauge").image()) != dict(before)


def test_a_held_level_stands_while_the_loop_s_own_noise_goes_on() -> None:
    one = farm()
    one.start(ISSUE)
    one.advance(120_000)
    one.inject("hill_gauge", "held", 900)
    level, current = column(one, "level", 5), column(one, "current", 600)
    assert len(set(level)) == 1
    assert len(set(current)) > 300
    assert statistics.stdev(current) == pytest.approx(GAUGE.noise_mA, rel=0.12)


def test_a_false_echo_jumps_in_one_update() -> None:
    one = farm()
    before = column(one, "level", 1)[0]
    one.inject("hill_gauge", "echo", 30, value=1.5)
    assert column(one, "level", 1)[0] - before == pytest.approx(1500, abs=5)


def test_drift_grows_by_the_hour() -> None:
    one = farm()
    before = column(one, "level", 1)[0]
    one.inject("hill_gauge", "drift", value=0.3)
    one.advance(7_200_000)
    assert column(one, "level", 1)[0] - before == pytest.approx(600, abs=5)


def test_a_starved_loop_is_true_below_its_ceiling_and_flat_at_it() -> None:
    one = farm(gauge=loop_gauge())
    one.inject("hill_gauge", "ceiling", value=11.0)
    assert set(column(one, "current", 20)) == {11.0}
    one.start(ISSUE)
    one.advance(2_400_000)
    assert column(one, "current", 1)[0] == pytest.approx(4 + 16 * one.truth()["hill"].level_m / 12, abs=0.02)


def test_leakage_moves_the_loop_and_not_the_gauge_s_own_figure() -> None:
    one = farm()
    one.inject("hill_gauge", "offset", value=-0.8)
    seen = readings(one, 2)[-1]
    assert seen is not None
    assert seen["current"] == pytest.approx(11.2, abs=0.02)
    assert seen["level"] == pytest.approx(6000, abs=6)


def test_noise_is_as_large_as_injected() -> None:
    one = farm()
    one.inject("hill_gauge", "noisy", value=0.15)
    assert statistics.stdev(column(one, "current", 1500)) == pytest.approx(0.15, rel=0.055)


def test_a_gauge_that_reports_failure_keeps_its_last_figure_in_the_level_register() -> None:
    one = farm()
    one.start(ISSUE)
    one.advance(120_000)
    one.inject("hill_gauge", "fail_low", 600)
    assert len(set(column(one, "level", 300))) == 1
    looped = farm(gauge=loop_gauge())
    looped.inject("hill_gauge", "fail_low", 600)
    assert looped.unit("hill_gauge").layout.gauge is not None
    assert looped.unit("hill_gauge").layout.gauge.indicates is Indicates.LOOP
    assert column(looped, "level", 2)[-1] == 0.0  # below 4 mA: reckoned from the current, and no sign to say so


def test_faults_come_later_end_and_are_mended() -> None:
    one = farm()
    one.inject("hill_gauge", "silent", 10, after_s=20)
    assert [reading is None for reading in readings(one, 35)] == [20 <= second < 30 for second in range(1, 36)]
    one.inject("hill_gauge", "exception")
    assert one.wire("hill_gauge") is None
    assert one.unit("hill_gauge").refusal == 4
    one.clear("hill_gauge")
    assert one.wire("hill_gauge") is not None


def test_mistakes_in_a_call_are_answered_by_name() -> None:
    one = farm()
    with pytest.raises(SimulatorError, match="no instrument 'nobody'; it has hill_gauge"):
        one.inject("nobody", "silent")
    with pytest.raises(SimulatorError, match="no fault kind 'smoke'"):
        one.inject("hill_gauge", "smoke")
    with pytest.raises(SimulatorError, match="takes no value"):
        one.inject("hill_gauge", "silent", value=3.0)
    with pytest.raises(SimulatorError, match="above 0 s"):
        one.inject("hill_gauge", "silent", 0)
