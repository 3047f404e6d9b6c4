"""Repeat readings, tape, reference height, gauge against dip, and when the next dip is due."""

import json
import math
import random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.dips import (
    DAY_MS,
    REFERENCE_RULE,
    VERIFY_RULE,
    DensitySample,
    Dip,
    DipRules,
    Method,
    Purpose,
    compared,
    dip_from,
    dip_json,
    dip_standard_m,
    innage_m,
    next_due,
    repeated,
    sample_from,
    sample_json,
    tape_factor,
)
from tests.reference import rows

RULES = {"stock": DipRules().repeats(Purpose.STOCK), "verify": VERIFY_RULE, "reference": REFERENCE_RULE}


@pytest.mark.parametrize("row", rows("stock/dip_rules.csv"), ids=lambda row: row["id"])
def test_repeat_readings_agree_as_the_standards_say(row):
    readings = [float(text) / 1000 for text in row["readings_mm"].split()]
    found = repeated(readings, RULES[row["rule"]])
    if not row["value_mm"]:
        assert found.value_m is None
        assert "take" in found.words
    else:
        assert found.value_m == pytest.approx(float(row["value_mm"]) / 1000, abs=1e-9)


def test_a_site_may_tighten_the_rule():
    readings = [9.214, 9.216, 9.217]
    assert repeated(readings, DipRules().repeats(Purpose.STOCK)).value_m is not None
    assert repeated(readings, DipRules(three_within_m=0.002).repeats(Purpose.STOCK)).value_m is None
    assert DipRules().repeats(Purpose.VERIFY) == VERIFY_RULE


@given(st.lists(st.integers(0, 13_000), max_size=8))
def test_the_value_lies_among_the_readings_it_is_made_of(millimetres):
    readings = [mm / 1000 for mm in millimetres]
    found = repeated(readings, RULES["stock"])
    two = len(readings) >= 2 and readings[-1] == readings[-2]
    three = len(readings) >= 3 and max(millimetres[-3:]) - min(millimetres[-3:]) <= 3
    assert (found.value_m is not None) == (two or three)
    if found.value_m is not None:
        last = readings[-2:] if two else readings[-3:]
        assert min(last) - 1e-12 <= found.value_m <= max(last) + 1e-12
        assert found.spread_m <= 0.003 + 1e-9


def test_an_ullage_is_taken_from_the_reference_height():
    assert innage_m(4.286, Method.ULLAGE, 13.5) == pytest.approx(9.214)
    assert innage_m(9.214, Method.INNAGE, 13.5) == 9.214


def test_a_warm_tape_is_longer_than_it_says():
    """10 m of steel, 15 degC warmer, at 11.2e-6 /degC: 1.68 mm (computed)."""
    factor = tape_factor(35.0, 20.0)
    assert innage_m(10.0, Method.INNAGE, 13.5, factor) - 10.0 == pytest.approx(0.00168)
    assert innage_m(10.0, Method.ULLAGE, 13.5, factor) == pytest.approx(3.5 - 0.00168)
    assert tape_factor(None, 20.0) == 1.0


def test_the_doubt_of_a_dip_is_its_limits_and_what_its_readings_lie_apart():
    """Rectangular: a / sqrt 3 (JCGM 100, 4.3.7, from memory)."""
    assert dip_standard_m(0.002, 0.0) == pytest.approx(0.002 / math.sqrt(3))
    assert dip_standard_m(0.002, 0.003) == pytest.approx(math.sqrt((0.002**2 + 0.0015**2) / 3))


def test_a_gauge_is_held_against_the_dip_with_both_uncertainties():
    told = compared(9.221, 0.0025, 9.214, 0.0012, 0.008)
    assert told.difference_m == pytest.approx(0.007)
    assert told.u95_m == pytest.approx(2 * math.hypot(0.0025, 0.0012))
    assert told.within
    assert not told.explained
    assert not compared(9.223, 0.0025, 9.214, 0.0012, 0.008).within
    assert compared(9.2219999999, 0.01, 9.214, 0.0012, 0.008).within


def test_the_next_dip_is_due_by_the_comparison_or_by_the_water():
    rules = DipRules(every_ms=31 * DAY_MS, water_max_age_ms=2 * DAY_MS)
    assert next_due(None, None, rules, water_from_dips=False).time_ms is None
    assert next_due(5, None, rules, water_from_dips=False) == (5 + 31 * DAY_MS, "gauge against dip")
    assert next_due(5, None, rules, water_from_dips=True) == (None, "water")
    assert next_due(5, 7, rules, water_from_dips=True) == (7 + 2 * DAY_MS, "water")
    assert next_due(5, 7 + 40 * DAY_MS, rules, water_from_dips=True) == (5 + 31 * DAY_MS, "gauge against dip")


def test_a_dip_and_a_sample_come_back_from_json_as_they_were():
    some = random.Random(3)
    dip = Dip(
        7, "palm", 1, 2, "Ann", Purpose.VERIFY, Method.ULLAGE, (some.random(), 4.3), 9.2, 0.001, 0.0, 28.5, "spot",
        31.0, 13.5, 9.21, True, "Bo", "calm",
    )  # fmt: skip
    assert dip_from(json.loads(json.dumps(dip_json(dip)))) == dip
    sample = DensitySample(
        3, "palm", "jet", 1, 2, "Ann", 793.5, 31.0, "hydrometer", 804.1, 15.0, why="x", accepted=False
    )
    assert sample_from(json.loads(json.dumps(sample_json(sample)))) == sample
