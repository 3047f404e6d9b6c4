"""The chain from the surface to the registers, healthy: noise, damping, steps, clamps, mount, probe."""

import statistics
from dataclasses import replace

import pytest

from simulator.farm import Farm
from simulator.layout import Act, Planned, ProbeLayout
from simulator.weather import still
from tests.simulator.farms import GAUGE, TANK, farm, loop_gauge

RECEIPT = Planned(0, Act.RECEIVE, "hill", 120.0, volume_m3=60.0, drain_back_m3=0.0)


def currents(one: Farm, seconds: int) -> list[float]:
    """What the wire says each second from now on."""
    start, seen = one.now_ms, []
    for second in range(1, seconds + 1):
        one.advance(start + 1000 * second)
        reading = one.wire("hill_gauge")
        assert reading is not None
        seen.append(reading["current"] or 0.0)
    return seen


@pytest.mark.parametrize("noise_mA", [0.0005, 0.002, 0.01])
def test_the_noise_on_the_loop_is_as_large_as_it_was_set(noise_mA: float) -> None:
    seen = currents(farm(gauge=replace(GAUGE, noise_mA=noise_mA)), 1500)
    # the sample standard deviation of 1500 normal values is within 5.5 % of the true one in 99.7 % of draws (computed)
    assert statistics.stdev(seen) == pytest.approx(noise_mA, rel=0.055)


def test_ripple_on_the_surface_is_damped_by_the_gauge() -> None:
    rough = replace(TANK, ripple_m=0.003)
    quick = statistics.stdev(currents(farm(tank=rough, gauge=replace(GAUGE, noise_mA=0.0)), 600))
    slow = statistics.stdev(currents(farm(tank=rough, gauge=replace(GAUGE, noise_mA=0.0, damping_s=10.0)), 600))
    # a first-order filter leaves sqrt(a / (2 - a)) of white noise, a = 1 - exp(-1/10): 0.224 (computed)
    assert slow / quick == pytest.approx(0.224, rel=0.3)


def test_a_step_is_63_percent_through_after_one_time_constant() -> None:
    one = farm(gauge=loop_gauge(noise_mA=0.0, damping_s=20.0))
    before = currents(one, 1)[0]
    one.inject("hill_gauge", "held", 1799)
    one.start(Planned(0, Act.RECEIVE, "hill", 400.0, volume_m3=40.0, drain_back_m3=0.0))
    one.advance(1_800_000)  # the surface is calm again, and the gauge lets go of the held figure
    seen = currents(one, 200)
    assert seen[-1] - before == pytest.approx(16 * 40.0 / 78.54 / 12.0, rel=0.01)
    assert (seen[19] - before) / (seen[-1] - before) == pytest.approx(0.65, abs=0.02)  # 21 updates: 1 - exp(-21/20)


def test_damping_lags_behind_a_rise_by_rate_times_time_constant() -> None:
    def ahead_m(damping_s: float) -> float:
        one = farm(gauge=replace(GAUGE, noise_mA=0.0, damping_s=damping_s))
        one.start(RECEIPT)
        one.advance(600_000)
        ahead = []
        for _ in range(300):
            current = currents(one, 1)[0]
            ahead.append((current - 4) * 12 / 16 - one.truth()["hill"].level_m)
        return statistics.fmean(ahead)

    rate_mps = 120 / 3600 / 78.54
    assert ahead_m(0.0) - ahead_m(30.0) == pytest.approx(30 * rate_mps, rel=0.1)


def test_registers_move_in_their_own_steps() -> None:
    one = farm()
    one.start(RECEIPT)
    one.advance(400_000)
    for second in range(400, 700):
        one.advance(1000 * second)
        reading = one.wire("hill_gauge")
        assert reading is not None
        level, percent = reading["level"], reading["percent"]
        assert level is not None
        assert percent is not None
        assert level == int(level)
        assert percent == pytest.approx(round(10 * percent) / 10, abs=1e-9)
        assert level == pytest.approx(1000 * one.truth()["hill"].level_m, abs=15)  # slosh, setting and one step


def test_a_measuring_loop_never_leaves_3p8_to_20p5() -> None:
    # NAMUR NE 43 (2003) by secondary texts: measuring information is 3.8 to 20.5 mA
    above = farm(gauge=replace(GAUGE, at_20mA_m=5.0))
    assert set(currents(above, 20)) == {20.5}
    below = farm(gauge=replace(GAUGE, at_4mA_m=8.0, at_20mA_m=12.0))
    assert currents(below, 20) == [pytest.approx(3.8, abs=1e-6)] * 20


def test_above_its_reach_the_gauge_stands_still_while_the_tank_fills() -> None:
    one = farm(gauge=replace(GAUGE, reach_m=6.2, noise_mA=0.0))
    one.start(RECEIPT)
    one.advance(1_500_000)
    assert one.truth()["hill"].level_m > 6.5
    assert len(set(currents(one, 60))) == 1


def test_a_gauge_on_the_roof_moves_with_the_shell_and_another_one_does_not() -> None:
    seen = {}
    for roof in (True, False):
        tank = replace(TANK, roof_mounted=roof, temperature_degC=35.0)
        seen[roof] = statistics.fmean(currents(farm(tank=tank, gauge=replace(GAUGE, noise_mA=0)), 5))
    rise_m = (seen[False] - seen[True]) * 12 / 16
    # computed: 12 um/m/K x 12.4 m x 20 K upwards, less 1.4e-5 per m x 6^2 of sag
    assert rise_m == pytest.approx(12e-6 * 12.4 * 20 - 1.4e-5 * 36, rel=0.02)


def test_a_distance_loop_says_the_same_innage_the_other_way_round() -> None:
    up = currents(farm(gauge=replace(GAUGE, noise_mA=0.0)), 1)[0]
    down = currents(farm(gauge=replace(GAUGE, noise_mA=0.0, distance=True, at_4mA_m=12.4, at_20mA_m=0.4)), 1)[0]
    assert down == pytest.approx(up, abs=1e-6)


def test_the_probe_is_late_and_a_little_wrong() -> None:
    tank = replace(TANK, supply_degC=35.0, water_m=0.03)
    one = farm(tank=tank, probe=ProbeLayout(height_m=0.5, lag_s=1200, noise_degC=0.0), weather=still(20.0))
    first = one.wire("hill_probe")
    assert first is not None
    assert first["water"] == pytest.approx(30, abs=3)
    bias = (first["temperature"] or 0) - 20
    assert abs(bias) < 1.0
    one.start(Planned(0, Act.RECEIVE, "hill", 400.0, volume_m3=300.0))
    one.advance(2_000_000)
    soon = one.wire("hill_probe")
    one.advance(30_000_000)
    late = one.wire("hill_probe")
    assert soon is not None
    assert late is not None
    assert (soon["temperature"] or 0) < (late["temperature"] or 0) - 0.5


def test_two_farms_have_gauges_with_settings_of_their_own() -> None:
    readings = {currents(farm(seed=seed, gauge=replace(GAUGE, noise_mA=0.0)), 1)[0] for seed in range(12)}
    assert len(readings) == 12
    assert 0.0005 < statistics.stdev(readings) * 12 / 16 < 0.006
