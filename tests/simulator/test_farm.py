"""The farm as a whole: deterministic, conserves what it holds, follows its programme."""

import statistics
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from simulator.chance import stream
from simulator.errors import SimulatorError
from simulator.farm import Farm
from simulator.faults import FaultKind
from simulator.layout import Act, FarmLayout, Planned, PlannedFault, Programme
from simulator.liquid import Product
from simulator.weather import DAY_MS, Weather, still
from tests.simulator.farms import GAUGE, TANK, farm

START_MS = 1_785_542_400_000


def images(one: Farm) -> dict[str, dict[tuple[int, int], int]]:
    return {unit.layout.id: dict(unit.image()) for unit in one.units}


def test_one_seed_is_one_farm_and_another_seed_another() -> None:
    first, again, other = Farm(7, START_MS), Farm(7, START_MS), Farm(8, START_MS)
    for one in (first, again, other):
        one.advance(START_MS + 900_000)
    assert images(first) == images(again)
    assert first.truth() == again.truth()
    assert images(first) != images(other)


@settings(max_examples=8, deadline=None)
@given(cuts=st.lists(st.integers(0, 600_000), max_size=12))
def test_it_does_not_matter_how_time_is_cut_up(cuts: list[int]) -> None:
    whole, pieces = Farm(3, START_MS), Farm(3, START_MS)
    whole.advance(START_MS + 600_000)
    for cut in [*cuts, 600_000]:  # unsorted on purpose: a clock that falls back changes nothing
        pieces.advance(START_MS + cut)
    pieces.advance(START_MS + 600_000)
    assert images(pieces) == images(whole)
    assert pieces.truth() == whole.truth()


@pytest.mark.parametrize("act", [Act.RECEIVE, Act.ISSUE])
def test_the_change_of_volume_is_the_integral_of_the_flow(act: Act) -> None:
    inert = Product("inert", 800.0, 0.0, 0.0)  # no expansion, so nothing but the pump changes the volume
    one = farm(tank=replace(TANK, product=inert))
    start = one.truth()["hill"]
    one.start(Planned(0, act, "hill", 90.0, volume_m3=40.0, drain_back_m3=0.0))
    integral, before = 0.0, 0.0
    for step in range(1, 4001):
        one.advance(500 * step)
        now = one.truth()["hill"]
        flow = now.inflow_m3_per_h - now.outflow_m3_per_h
        integral += (before + flow) / 2 * 0.5 / 3600  # the trapezoid rule on what truth says of the flow
        before = flow
    end = one.truth()["hill"]
    assert end.volume_m3 - start.volume_m3 == pytest.approx(integral, abs=1e-6)
    assert abs(integral) == pytest.approx(40.0, abs=0.05)
    assert end.level_m - start.level_m == pytest.approx(integral / 78.54, rel=2e-3)


def test_what_the_transfer_takes_from_one_tank_the_other_gets() -> None:
    one = Farm(1, START_MS, replace_programme(Programme()), weather=still(26.0))
    before = one.truth()
    one.start(Planned(0, Act.TRANSFER, "ridge", 90.0, volume_m3=20.0, into="palm", drain_back_m3=0.0))
    one.advance(START_MS + 1_800_000)
    after = one.truth()
    given_away = before["ridge"].standard_m3 - after["ridge"].standard_m3
    taken_in = after["palm"].standard_m3 - before["palm"].standard_m3
    assert given_away == pytest.approx(20.0 / 1.0103, rel=2e-3)
    assert taken_in == pytest.approx(given_away, abs=2e-3)  # 25 ppm of it settles out as water


def replace_programme(programme: Programme) -> FarmLayout:
    return replace(Farm(1, 0).layout, programme=programme)


def test_a_warmer_liquid_stands_higher_though_nothing_was_pumped() -> None:
    one = farm(weather=still(35.0))
    start = one.truth()["hill"]
    one.advance(2 * DAY_MS)
    end = one.truth()["hill"]
    warmer = end.temperature_degC - start.temperature_degC
    assert warmer > 1
    assert end.standard_m3 == pytest.approx(start.standard_m3, rel=1e-12)
    assert end.expanded_m3 == pytest.approx(end.volume_m3 - start.volume_m3, abs=1e-9)
    # alpha from the published constants for 800 kg/m3 is 9.29e-4 (computed); the shell swells by 2 x 12e-6 with it
    assert (end.level_m - start.level_m) / 6.0 == pytest.approx(warmer * (9.29e-4 - 24e-6), rel=0.03)


def test_a_summer_day_moves_a_quiet_tall_tank_by_millimetres() -> None:
    one = farm(tank=replace(TANK, level_m=10.0), weather=Weather(stream(1, "weather"), mean_degC=20.0))
    levels = []
    for hour in range(49):
        one.advance(3_600_000 * hour)
        levels.append(one.truth()["hill"].level_m)
    assert 0.001 < max(levels) - min(levels) < 0.02


def test_an_issue_stops_before_the_tank_runs_dry() -> None:
    one = farm(tank=replace(TANK, level_m=0.8))
    one.start(Planned(0, Act.ISSUE, "hill", 200.0, volume_m3=500.0))
    one.advance(3_600_000)
    assert 0.25 < one.truth()["hill"].level_m < 0.3
    assert one.truth()["hill"].outflow_m3_per_h == 0


def test_a_receipt_runs_to_its_level_and_can_be_stopped_by_hand() -> None:
    one = farm()
    one.start(Planned(0, Act.RECEIVE, "hill", 120.0, to_level_m=6.5))
    one.advance(3_600_000)
    assert one.truth()["hill"].level_m == pytest.approx(6.5, abs=0.005)
    one.start(Planned(0, Act.RECEIVE, "hill", 120.0, to_level_m=9.0))
    one.advance(4_000_000)
    one.stop("hill")
    one.advance(5_000_000)
    assert one.truth()["hill"].inflow_m3_per_h == 0
    assert 6.5 < one.truth()["hill"].level_m < 7.0


def test_water_is_drawn_before_fuel() -> None:
    one = farm(tank=replace(TANK, water_m=0.05))
    before = one.truth()["hill"]
    one.start(Planned(0, Act.DRAW_WATER, "hill", 1.2, volume_m3=0.05))
    one.advance(600_000)
    after = one.truth()["hill"]
    assert before.water_m3 - after.water_m3 == pytest.approx(0.05, abs=1e-3)
    assert after.standard_m3 == pytest.approx(before.standard_m3, rel=1e-9)


def test_the_programme_comes_again_the_next_day() -> None:
    programme = Programme(
        movements=(
            Planned(60, Act.ISSUE, "hill", 60, volume_m3=30, drain_back_m3=0),
            Planned(120, Act.RECEIVE, "hill", 60, to_level_m=6.0, drain_back_m3=0),
        ),
        faults=(PlannedFault(30, 10, "hill_gauge", FaultKind.SILENT),),
        generator=((300, 310),),
    )
    one = farm(programme=programme, tank=replace(TANK, vibration_m=0.003))
    for day in (0, 1):
        base = day * DAY_MS
        one.advance(base + 25 * 60_000)
        assert one.wire("hill_gauge") is not None
        one.advance(base + 35 * 60_000)
        assert one.wire("hill_gauge") is None
        one.advance(base + 100 * 60_000)
        assert one.truth()["hill"].level_m == pytest.approx(6.0 - 30 / 78.54, abs=0.01)
        one.advance(base + 200 * 60_000)
        assert one.truth()["hill"].level_m == pytest.approx(6.0, abs=0.01)
        shaken = [spread(one, base + minute * 60_000) for minute in (295, 301, 315)]
        assert shaken[1] > 2 * max(shaken[0], shaken[2])


def spread(one: Farm, from_ms: int) -> float:
    values = []
    for second in range(60):
        one.advance(from_ms + 1000 * second)
        reading = one.wire("hill_gauge")
        assert reading is not None
        values.append(reading["current"] or 0.0)
    return statistics.stdev(values)


def test_calls_that_the_farm_cannot_follow_are_refused_with_the_mend() -> None:
    one = farm()
    with pytest.raises(SimulatorError, match="no tank 'lake'; it has hill"):
        one.start(Planned(0, Act.ISSUE, "lake", 60, volume_m3=1))
    with pytest.raises(SimulatorError, match="no tank ''; it has hill"):
        one.start(Planned(0, Act.TRANSFER, "hill", 60, volume_m3=1))
    with pytest.raises(SimulatorError, match="give one above 0"):
        one.start(Planned(0, Act.ISSUE, "hill", 0, volume_m3=1))
    with pytest.raises(SimulatorError, match="needs an end"):
        one.start(Planned(0, Act.ISSUE, "hill", 60))
    with pytest.raises(SimulatorError, match="give volume_m3"):
        one.start(Planned(0, Act.ISSUE, "hill", 60, to_level_m=1.0))
    one.start(Planned(0, Act.RECEIVE, "hill", 9000, volume_m3=900))
    with pytest.raises(SimulatorError, match="ran over or dry"):
        one.advance(3_600_000)


def test_a_layout_whose_parts_do_not_fit_is_refused() -> None:
    good = farm().layout
    unit = good.units[0]
    for bad, words in [
        (replace(good, units=(unit, unit)), "share an id"),
        (replace(good, units=(unit, replace(unit, id="other"))), "share a unit id"),
        (replace(good, units=(replace(unit, tank="lake"),)), "no tank 'lake'"),
        (replace(good, units=(replace(unit, gauge=None),)), "nothing measures 'current'"),
        (replace(good, units=(replace(unit, gauge=replace(GAUGE, update_ms=750)),)), "multiple of 500"),
        (replace(good, programme=Programme((Planned(0, Act.ISSUE, "lake", 1, volume_m3=1),))), "unknown tank"),
        (replace(good, programme=Programme(faults=(PlannedFault(1, 1, "nobody", FaultKind.HELD),))), "no instrument"),
    ]:
        with pytest.raises(SimulatorError, match=words):
            Farm(1, 0, bad)


def test_the_physics_share_no_code_with_the_models_that_they_test() -> None:
    script = "import sys, simulator.server; print([name for name in sys.modules if name.split('.')[0] == 'models'])"
    root = str(Path(__file__).parents[2])
    done = subprocess.run([sys.executable, "-c", script], cwd=root, capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
