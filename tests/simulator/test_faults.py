"""Each kind of fault as it arrives on the wire."""

import statistics
from collections.abc import Iterator
from dataclasses import replace
from itertools import pairwise

import psychrolib
import pytest

from simulator.cabinet import Cabinet
from simulator.chance import stream
from simulator.errors import SimulatorError
from simulator.farm import Farm
from simulator.faults import DEFAULT_VALUE, FaultKind
from simulator.gauge import LevelGauge
from simulator.layout import Act, FarmLayout, GatewayLayout, Indicates, Planned
from simulator.source import GatewaySource
from simulator.weather import Weather, still
from tests.simulator.farms import GAUGE, TANK, UNIT, farm, loop_gauge

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


def gauge_of(one: Farm) -> LevelGauge:
    gauge = one.unit("hill_gauge").gauge
    assert gauge is not None
    return gauge


def cabinet(one: Farm) -> Cabinet:
    return gauge_of(one).cabinet


def test_a_lost_supply_takes_current_volts_and_heater_and_a_bypass_only_the_panel() -> None:
    one = farm(gauge=loop_gauge())
    one.inject("hill_gauge", "supply_lost")
    assert max(column(one, "current", 5)) < 0.01
    assert cabinet(one).supply_V < 1
    assert cabinet(one).heater_mA == 0
    one.clear("hill_gauge")
    one.inject("hill_gauge", "bypassed")
    assert max(column(one, "current", 5)) < 0.01
    assert gauge_of(one).field_mA == pytest.approx(12.0, abs=0.1)
    assert cabinet(one).supply_V > 20


def test_a_starved_loop_has_the_top_that_ohm_s_law_gives_it_and_moves_with_the_heater() -> None:
    """Source: Ohm's law (computed): (V - 10.5 V) / R, with V as the simulated supply stands."""
    one = farm(gauge=loop_gauge())
    one.inject("hill_gauge", "starved", value=1500.0)
    tops = {}
    for current in (column(one, "current", 1)[0] for _ in range(450)):
        tops.setdefault(cabinet(one).heater_on, []).append((current, cabinet(one).supply_V))
    for seen in tops.values():
        fits = [abs(current - 1000 * (volts - 10.5) / 1500) < 0.05 for current, volts in seen]
        assert sum(fits) > 0.9 * len(fits)  # all but the second in which the heater switches
    assert statistics.fmean(c for c, _ in tops[False]) - statistics.fmean(c for c, _ in tops[True]) > 0.2


def test_a_gauge_that_resets_starts_anew_each_time() -> None:
    one = farm(gauge=loop_gauge())
    one.inject("hill_gauge", "resetting", value=30.0)
    currents = column(one, "current", 120)
    dead = [i for i, mA in enumerate(currents) if mA < 1]
    assert {b - a for a, b in pairwise(dead) if b - a > 5} <= {28, 29, 30}
    assert len(dead) >= 4
    assert max(currents) == pytest.approx(12.0, abs=0.1)


def test_a_leak_follows_the_damp_and_only_the_panel_sees_it() -> None:
    damp = Weather(stream(1, "damp"), mean_degC=20, swing_degC=5, slow_degC=0, dew_below_degC=4.0)
    one = farm(gauge=loop_gauge(update_ms=5000), weather=damp, step_ms=5000)
    one.inject("hill_gauge", "leak", value=-1.0)
    gauge = gauge_of(one)
    apart = {}
    for hour in range(1, 25):
        one.advance(hour * 3_600_000)
        apart[hour] = gauge.current_mA - gauge.field_mA
    assert apart[6] < -0.4
    assert abs(apart[16]) < 0.1


def each_ten_seconds(one: Farm) -> Iterator[float]:
    """An hour of the current."""
    for _ in range(360):
        one.advance(one.now_ms + 10_000)
        yield gauge_of(one).current_mA


def test_a_wet_window_fails_towards_dawn_and_a_dead_heater_makes_it_worse() -> None:
    counts = {}
    for kind in ("fouled", "heater_dead"):
        damp = Weather(stream(1, "damp"), mean_degC=20, swing_degC=5, slow_degC=0, dew_below_degC=4.5)
        one = farm(gauge=loop_gauge(update_ms=5000), weather=damp, step_ms=5000)
        one.inject("hill_gauge", kind, value=1.0)
        wrong = [hour for hour in range(24) for mA in each_ten_seconds(one) if abs(mA - 12) > 0.2]
        assert wrong
        assert not [hour for hour in wrong if 11 <= hour < 18]
        counts[kind] = len(wrong)
    assert counts["heater_dead"] > counts["fouled"]


def test_another_unit_answers_in_its_place() -> None:
    layout = FarmLayout(
        (TANK, replace(TANK, id="dale", level_m=3.0)),
        (GatewayLayout("row", latency_ms=0),),
        (UNIT, replace(UNIT, id="dale_gauge", unit=6, tank="dale")),
    )
    one = Farm(1, 0, layout, still(20.0))
    one.inject("hill_gauge", "wrong_unit", value=6)
    one.advance(2000)
    assert one.wire("hill_gauge") == one.wire("dale_gauge")
    asked = GatewaySource(one, "row", lambda: 2000)
    assert asked.registers(5, 4, 0, 2) == asked.registers(6, 4, 0, 2)
    one.inject("dale_gauge", "wrong_unit", value=99)  # nobody there: it speaks for itself
    one.advance(3000)
    assert one.wire("dale_gauge") is not None


@pytest.mark.parametrize(
    ("kind", "value", "level_m", "off_m"),
    [
        ("zero_shift", 0.03, 6.0, 0.03),
        ("span_error", 0.01, 6.0, 0.06),
        ("span_error", 0.01, 3.0, 0.03),
    ],
)
def test_a_shift_is_constant_and_a_scale_error_grows_with_the_level(
    kind: str, value: float, level_m: float, off_m: float
) -> None:
    one = farm(tank=replace(TANK, level_m=level_m))
    healthy = statistics.fmean(column(one, "level", 20))
    one.inject("hill_gauge", kind, value=value)
    assert statistics.fmean(column(one, "level", 20)) - healthy == pytest.approx(1000 * off_m, abs=1.5)


def test_humidity_follows_temperature_and_dew_point() -> None:
    """Check: psychrolib (ASHRAE Handbook of Fundamentals) for the same dry bulb and dew point."""
    air = Weather(stream(1, "damp"), mean_degC=20, swing_degC=5, slow_degC=0, dew_below_degC=5.0)
    psychrolib.SetUnitSystem(psychrolib.SI)
    for hour in range(0, 24, 3):
        dry = air.at(hour * 3_600_000).ambient_degC
        expected = 100 * psychrolib.GetRelHumFromTDewPoint(dry, min(dry, 15.0))
        assert air.humidity_percent(hour * 3_600_000) == pytest.approx(expected, abs=0.7)
