"""Loops and their supplies, against the arithmetic rows of tests/data/signal and published rows of copper wire."""

import itertools
import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from models.copper import (
    AREA_OHM_PER_KM,
    AWG_OHM_PER_KFT,
    KFT_M,
    Cable,
    area_ohm_per_km,
    at_temperature,
    awg_ohm_per_km,
    thicker,
)
from models.errors import OutOfRange
from models.loopadvice import Weight, fits, objections
from models.loopbudget import Circuit, Load, Supply, SupplyBudget, supply_budget
from tests.reference import rows

FOOT_M = 0.3048


def by_id(row: dict[str, str]) -> str:
    return row["id"]


@pytest.mark.parametrize("row", rows("signal/awg_resistance.csv"), ids=by_id)
def test_a_wire_has_the_resistance_of_its_row(row):
    awg = int(row["awg"])
    assert AWG_OHM_PER_KFT[awg] == float(row["ohm_per_1000ft"])
    assert awg_ohm_per_km(awg) == pytest.approx(float(row["ohm_per_km_computed"]), abs=0.0005)


@pytest.mark.parametrize("awg", AWG_OHM_PER_KFT)
def test_the_rows_agree_with_the_gauge_and_the_resistivity_of_the_standards(awg):
    # computed: ASTM B258 diameter 0.127 mm x 92^((36 - n)/39), IEC 60028 resistivity 1/58 ohm mm2/m (both from memory)
    area_mm2 = math.pi / 4 * (0.127 * 92 ** ((36 - awg) / 39)) ** 2
    assert awg_ohm_per_km(awg) == pytest.approx(1000 / 58 / area_mm2, rel=6e-4)


# Source: IEC 60228 kt, as a cable maker's page prints it (20 degC over t); rounded to 3 digits by 250 / (230 + t).
CORRECTIONS = [(5, 1.064), (10, 1.042), (15, 1.020), (25, 0.980), (30, 0.962), (40, 0.926), (50, 0.893), (60, 0.862)]


@pytest.mark.parametrize(("degC", "kt"), CORRECTIONS)
def test_copper_warms_as_the_standard_says(degC, kt):
    assert 1 / at_temperature(1.0, degC) == pytest.approx(kt, abs=0.004)


def test_the_worked_example_of_a_resistance_meter_comes_out():
    # Source: a resistance meter's handbook, appendix "temperature correction": 100 ohm at 30 degC are 96.22 at 20 degC.
    assert at_temperature(96.22, 30) == pytest.approx(100, abs=0.005)


def test_a_size_without_a_row_is_refused_with_those_that_there_are():
    with pytest.raises(OutOfRange, match="AWG 19 has no row here; there are 14, 16"):
        awg_ohm_per_km(19)
    with pytest.raises(OutOfRange, match=r"0\.6 mm2 has no row here; there are 0\.5, 0\.75"):
        area_ohm_per_km(0.6)


def test_thicker_sizes_come_thinnest_first():
    sizes = [cable.size for cable in thicker(Cable(awg_ohm_per_km(20), 100, size="AWG 20"))]
    assert sizes == ["AWG 18", "AWG 16", "AWG 14"]
    areas = [cable.size for cable in thicker(Cable(area_ohm_per_km(1.5), 100, size="1.5 mm2"))]
    assert areas == ["2.5 mm2", "4 mm2", "6 mm2"]
    assert list(AREA_OHM_PER_KM.values()) == sorted(AREA_OHM_PER_KM.values(), reverse=True)


@pytest.mark.parametrize("row", rows("signal/loop_power.csv"), ids=by_id)
def test_the_rows_of_loop_power_come_out(row):
    number = {key: float(value) for key, value in row.items() if key not in ("id", "source")}
    awg, length_m = int(row["awg"]), number["one_way_ft"] * FOOT_M
    circuit = Circuit(
        "loop",
        number["liftoff_V"],
        highest_mA=number["worst_case_mA"],
        burdens_ohm=(number["burden_ohm"],),
        cable=Cable(AWG_OHM_PER_KFT[awg] / KFT_M * 1000, length_m),
    )
    (loop,) = supply_budget(Supply("psu", number["supply_V"], 1000), [circuit]).circuits
    assert circuit.cable_ohm == pytest.approx(number["wire_ohm_both_legs"], abs=5e-5)
    assert circuit.ohm == pytest.approx(number["loop_ohm"], abs=5e-5)
    assert loop.terminal_V == pytest.approx(number["terminal_V_at_worst"], abs=5e-5)
    assert loop.most_ohm == pytest.approx(number["max_loop_ohm_at_worst"], abs=5e-4)
    assert loop.ceiling_V_mA == pytest.approx(number["max_current_before_starved_mA"], abs=5e-5)
    assert (loop.spare_highest_V >= 0) is (row["sufficient"] == "1")


@pytest.mark.parametrize("row", rows("signal/burden_voltage.csv"), ids=by_id)
def test_a_burden_takes_its_volts(row):
    circuit = Circuit("loop", 0.0, burdens_ohm=(float(row["burden_ohm"]),))
    taken = 24 - circuit.terminal_V(24, float(row["current_mA"]))
    assert taken == pytest.approx(float(row["voltage_V"]), abs=5e-5)


def budget(supply_mA: float, *circuits: Circuit, loads: tuple[Load, ...] = (), **supply: float) -> SupplyBudget:
    return supply_budget(Supply("psu", 24.0, supply_mA, **supply), circuits, loads)


LOOP = Circuit("loop 1", 12.0, highest_mA=25.0)


@pytest.mark.parametrize(
    ("limit_mA", "loops", "loads", "percent", "fine"),
    [  # common practice, no source
        (200, 1, (Load("heater", 100),), 62.5, True),
        (40, 1, (), 62.5, True),
        (40, 2, (), 125.0, False),
    ],
)
def test_the_supplies_of_common_practice_are_judged_so(limit_mA, loops, loads, percent, fine):
    found = budget(limit_mA, *itertools.repeat(LOOP, loops), loads=loads)
    assert found.load_percent == pytest.approx(percent)
    assert fits(found) is fine


def test_one_loop_of_two_on_a_small_supply_is_to_be_moved():
    texts = [o.text for o in objections(budget(40, LOOP, LOOP)) if o.weight is Weight.FAULT and o.about == "psu"]
    assert texts == [
        "50 mA are drawn from 40 mA: 125.0 %; move a load or a loop to another supply; one supply for all needs "
        "65 mA or more"
    ]


def worst(found: SupplyBudget, about: str = "loop 1") -> list[str]:
    return [o.text for o in objections(found) if o.weight is not Weight.NOTE and o.about == about]


def test_a_hot_enclosure_takes_from_the_supply():
    # computed: 200 mA less 2.5 % for each of 20 degC is 100 mA
    found = budget(200, LOOP, loads=(Load("heater", 100),), derates_above_degC=50, derating_frac_per_degC=0.025)
    assert found.supply.derated_mA == 200  # the temperature is not known, and that is said
    assert any("the temperature around it is not known" in o.text for o in objections(found))
    hot = supply_budget(found.supply._replace(enclosure_degC=70), [LOOP], found.loads)
    assert hot.supply.derated_mA == pytest.approx(100)
    assert hot.load_percent == pytest.approx(125)
    assert any("from 100 mA at 70 degC in its enclosure" in o.text for o in objections(hot))
    molten = supply_budget(found.supply._replace(enclosure_degC=95), [LOOP], ())
    assert (molten.load_percent, fits(molten)) == (None, False)


def test_a_cold_heater_takes_the_volts_of_all():
    cold = (Load("heater", 100, 250),)
    assert not fits(budget(200, LOOP, loads=cold))
    assert fits(budget(200, LOOP, loads=cold, surge_mA=300))


def test_a_device_that_needs_more_volts_at_its_lowest_current_is_found():
    # computed: 15 V less 3.6 mA x 250 ohm are 14.1 V at the terminals
    circuit = Circuit("loop 1", 9.0, liftoff_low_V=14.5, burdens_ohm=(250.0,))
    found = supply_budget(Supply("psu", 15.0, 200), [circuit])
    (loop,) = found.circuits
    assert (loop.spare_20_V, loop.spare_lowest_V) == (pytest.approx(1.0), pytest.approx(-0.4))
    assert worst(found) == [
        "0.40 V are missing at 3.6 mA: the device may not start; take 112 ohm off the burdens (to 138 ohm), or use a "
        "supply that gives at least 15.4 V"
    ]
    silent = supply_budget(found.supply, [circuit._replace(liftoff_low_V=None)])
    assert any("lift-off voltage at 3.6 mA is not given" in o.text for o in objections(silent))


def test_a_ceiling_between_20_and_20_5_mA_makes_a_failure_look_like_a_full_tank():
    # The seventh row of loop_power.csv: 20.11 mA at the most.
    circuit = Circuit("loop 1", 12.0, burdens_ohm=(500.0,), cable=Cable(awg_ohm_per_km(22), 914.4, size="AWG 22"))
    (text,) = worst(budget(200, circuit))
    assert text == (
        "1.13 V are missing at 22 mA: its current stops at 20.1 mA, and a fail-high looks like a full tank; take "
        "52 ohm off the burdens (to 448 ohm), or lay AWG 18 instead of AWG 22, or use a supply that gives at least "
        "25.2 V"
    )


def test_a_starved_loop_reads_low():
    (text,) = worst(budget(200, Circuit("loop 1", 12.0, burdens_ohm=(700.0,))))
    assert text.startswith("2.00 V are missing at 20 mA: its current stops at 17.1 mA and reads low; take 100 ohm off")


def test_a_ceiling_from_21_mA_on_still_signals_a_failure_and_is_only_a_caution():
    # computed: 12 V over 560 ohm are 21.4 mA
    found = budget(200, Circuit("loop 1", 12.0, burdens_ohm=(560.0,)))
    (loop,) = found.circuits
    assert (loop.fail_high, fits(found)) == (True, True)
    assert worst(found)[0].startswith("0.32 V are missing at 22 mA; take 15 ohm off")


def test_a_passive_output_and_a_second_supply_are_reckoned_apart():
    output = Circuit("loop 1 output", 9.0, burdens_ohm=(250.0,))
    both = budget(40, LOOP, output)
    apart = (budget(40, LOOP), supply_budget(Supply("second", 24.0, 40), [output]))
    assert not fits(both)
    assert all(map(fits, apart))


def test_a_limiter_in_each_loop_keeps_a_short_from_its_neighbours():
    bare, limited = budget(200, LOOP, LOOP), budget(200, *itertools.repeat(LOOP._replace(limiter_mA=30), 2))
    assert any("drags its neighbours down" in text for text in worst(bare, "psu"))
    assert worst(limited, "psu") == []
    assert "its limiter stops the current at 20.5 mA" in worst(budget(200, LOOP._replace(limiter_mA=20.5)))[0]


def test_fixed_drops_and_the_lowest_volts_of_the_supply_count():
    circuit = Circuit("loop 1", 12.0, drops_V=(3.5, 0.7), burdens_ohm=(250.0,))
    (loop,) = budget(200, circuit, lowest_V=23.0).circuits
    # computed: 23 - 4.2 - 20 mA x 250 ohm - 12
    assert loop.spare_20_V == pytest.approx(1.8)


@given(
    volts=st.floats(5, 60),
    ohm=st.floats(1, 2000),
    liftoff=st.floats(0, 30),
    length=st.floats(0, 3000),
    degC=st.floats(-40, 90),
)
def test_at_its_ceiling_the_volts_are_used_up_and_warmer_wire_never_helps(volts, ohm, liftoff, length, degC):
    cable = Cable(awg_ohm_per_km(18), length, degC)
    circuit = Circuit("loop", liftoff, burdens_ohm=(ohm,), cable=cable)
    (loop,) = supply_budget(Supply("psu", volts, 1e6), [circuit]).circuits
    assert loop.ceiling_V_mA is not None
    if loop.ceiling_V_mA > 0:
        assert circuit.terminal_V(volts, loop.ceiling_V_mA) == pytest.approx(liftoff, abs=1e-6)
    else:
        assert volts <= liftoff + 1e-9
    warmer = circuit._replace(cable=cable._replace(temperature_degC=degC + 10))
    assert warmer.ohm >= circuit.ohm
