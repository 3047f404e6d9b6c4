"""The demo's farm: its site file says what the farm is, something happens at once, and a day shows every fault."""

from pathlib import Path

import pytest

from gaugehouse.site import Site, load_site
from modbus.codecs import decode
from simulator.chance import stream
from simulator.demo import write_demo
from simulator.demo.layout import DEMO, PROGRAMME
from simulator.errors import SimulatorError
from simulator.farm import Farm
from simulator.faults import FaultKind
from simulator.geometry import Shell

START_MS = 1_785_542_400_000
MINUTE_MS = 60_000


@pytest.fixture
def site(tmp_path: Path) -> Site:
    return load_site(write_demo(tmp_path / "demo", (50_001, 50_002), "2 s"))


def test_the_site_file_loads_with_no_warning_but_the_two_intended(site: Site) -> None:
    assert [(w.key, w.found) for w in site.warnings] == [("tank[dune].water", "none"), ("tank[slop].water", "none")]
    assert [(bus.port, bus.period_ms) for bus in site.buses] == [(50_001, 2000), (50_002, 2000)]


def test_the_site_file_describes_the_units_that_the_farm_has(site: Site) -> None:
    described = {
        (bus.id, instrument.unit): (instrument.id, instrument.signals)
        for bus in site.buses
        for instrument in bus.instruments
    }
    layout = {(unit.gateway, unit.unit): (unit.id, unit.signals) for unit in DEMO.units}
    assert described == layout


def test_the_site_file_describes_the_tanks_that_the_farm_has(site: Site) -> None:
    assert [(tank.id, tank.name, tank.product) for tank in site.tanks] == [
        (tank.id, tank.name, tank.product.id if tank.id != "slop" else "slop") for tank in DEMO.tanks
    ]
    gauges = {unit.id: unit.gauge for unit in DEMO.units}
    for tank, built in zip(site.tanks, DEMO.tanks, strict=True):
        gauge = gauges[tank.instrument]
        assert gauge is not None
        assert (tank.at_4mA_m, tank.at_20mA_m) == (gauge.at_4mA_m, gauge.at_20mA_m)
        assert (tank.measures == "distance") == gauge.distance
        assert tank.reference_height_m == built.reference_height_m
        assert site.product(tank.product).base_density_kgpm3 == built.product.density15_kgpm3
        assert site.extras[tank.id].blocking_m == gauge.reach_m


def test_registers_read_by_the_site_file_say_what_is_in_the_tanks(site: Site) -> None:
    one = Farm(1, START_MS)
    one.advance(START_MS + 5000)
    for tank in site.tanks:
        signal = site.signals[tank.instrument, tank.level.signal]
        image = one.unit(tank.instrument).image()
        value = decode(signal, [image[signal.function, signal.address + k] for k in range(signal.words)])
        assert value is not None
        ours = value * tank.level.factor + tank.level.constant
        ends = tank.range_m
        assert ends is not None
        level_m = {
            "current": ends[0] + (ours - 4) / 16 * (ends[1] - ends[0]),
            "percent": ends[0] + ours / 100 * (ends[1] - ends[0]),
            "level": ours,
        }[signal.name]
        assert level_m == pytest.approx(one.truth()[tank.id].level_m, abs=0.02)


@pytest.mark.parametrize("seed", range(1, 9))
def test_an_alarm_stands_within_45_seconds_whatever_the_farm(site: Site, seed: int) -> None:
    one = Farm(seed, START_MS)
    high = next(limit for limit in site.alarms_of("north").limits if limit.condition == "high")
    above_since = None
    for second in range(46):
        one.advance(START_MS + 1000 * second)
        gauge, loop = one.wire("north_gauge"), one.wire("finch_loop")
        assert gauge is not None
        assert loop is not None
        if (gauge["level"] or 0) < 1000 * high.at:
            above_since = None
        elif above_since is None:
            above_since = second
        if second == 2:
            assert 14 < (loop["current"] or 0) < 15
            assert above_since is None
        if second == 14:
            assert (loop["current"] or 0) < 3.6  # a fault that has lasted longer than NE 43's 4 s by then
    assert above_since is not None
    assert 45 - above_since >= high.on_delay_ms / 1000


def test_a_day_shows_every_fault_of_its_timetable_and_ends_about_where_it_began() -> None:
    one = Farm(2, START_MS)
    kinds_seen: set[FaultKind] = set()
    bands: set[str] = set()
    highest = dict.fromkeys(one.tanks, 0.0)
    for minute in range(0, 24 * 60 + 1, 5):
        one.advance(START_MS + minute * MINUTE_MS)
        for unit in one.units:
            kinds_seen |= set(unit.faults.now)
            reading = one.wire(unit.layout.id)
            if reading is None:
                bands.add("exception" if unit.refusal else "silent")
            elif (current := reading.get("current")) is not None:
                bands.add(band(current))
        for name, truth in one.truth().items():
            highest[name] = max(highest[name], truth.level_m)
    assert kinds_seen == {fault.kind for fault in PROGRAMME.faults}
    assert bands >= {"open", "fail_low", "gap_low", "low end", "normal", "high end", "gap_high", "fail_high"}
    assert {"silent", "exception"} <= bands
    assert 12.82 < highest["ridge"] < 12.90  # approached, not crossed
    end = one.truth()
    for tank in DEMO.tanks:
        assert end[tank.id].level_m == pytest.approx(tank.level_m, abs=0.4)


def band(current_mA: float) -> str:
    """NAMUR NE 43 (2003) by secondary texts; "open" and the ends told apart for this test only."""
    if current_mA < 0.5:
        return "open"
    if current_mA <= 3.6:
        return "fail_low"
    if current_mA >= 21.0:
        return "fail_high"
    if current_mA < 3.799:
        return "gap_low"
    if current_mA > 20.501:
        return "gap_high"
    if current_mA < 3.801:
        return "low end"
    return "high end" if current_mA == 20.5 else "normal"


def test_each_planned_fault_lasts_long_enough_to_be_polled_a_few_times_at_300_times_speed() -> None:
    # 12 min at 300 x are 2.4 s on the wire: three polls even with a time-out between each
    assert min(fault.minutes for fault in PROGRAMME.faults) >= 12


def test_the_printed_table_is_whole_litres_and_a_little_off_the_true_shell(site: Site, tmp_path: Path) -> None:
    for tank in DEMO.tanks:
        printed = site.tank(tank.id).table
        true = Shell(tank.shape.flawed(stream(5, tank.id, "shell")))
        level = 0.7 * tank.shape.height_m
        off = printed.volume_m3(level) / true.volume_m3(level) - 1
        assert 0 < abs(off) < 0.01
    rows = (tmp_path / "demo" / "north.csv").read_text(encoding="utf-8").splitlines()
    assert rows[0].startswith("# Simulated farm")
    assert rows[1] == "level [mm],volume [L]"
    assert all(cell.isdigit() for row in rows[2:] for cell in row.split(","))


def test_the_site_file_says_first_that_all_is_invented(tmp_path: Path) -> None:
    text = write_demo(tmp_path, (1, 2)).read_text(encoding="utf-8")
    assert text.startswith("# Simulated farm, all names invented.\n")


def test_a_port_for_each_gateway_is_asked_for(tmp_path: Path) -> None:
    with pytest.raises(SimulatorError, match="2 gateways, but 1 ports"):
        write_demo(tmp_path, (1,))
