"""The water account: each term against arithmetic done elsewhere, the laws of its sums, and its verdict."""

from dataclasses import replace

import psychrolib
import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.wateraccount import (
    Found,
    Received,
    Source,
    TankDay,
    Verdict,
    WaterRules,
    account,
    breathing,
    carried,
    drawn,
    fuel_cooling,
    issue_air,
    judged,
    rain,
    receipts_cooling,
)
from models.bounds import NONE, Bounds
from models.moistair import vapour_density_kgpm3

psychrolib.SetUnitSystem(psychrolib.SI)
RULES = WaterRules()


def day(date: str = "2026-03-01", **known: float) -> TankDay:
    usual = dict.fromkeys(("fuel_degC", "fuel_low_degC", "fuel_high_degC"), 28.0) | {
        "fuel_m3": 570.0,
        "vapour_m3": 570.0,
    }
    return TankDay(date, **(usual | known))


def test_receipts_carry_free_water_up_to_what_civil_practice_accepts() -> None:
    """30 ppm: a public answer quoting IATA and FAA AC 20-125 (secondary)."""
    term = carried([Received(36.0, None, None), Received(64.0, 31.0, 28.0)], RULES)
    assert term.water_m3.low == 0
    assert term.water_m3.high == pytest.approx(0.003)
    assert "100.0 m3 received" in term.note


def test_a_hundred_cubic_metres_issued_leave_a_quarter_to_half_a_litre() -> None:
    """Computed elsewhere: air of 30 degC and 80 % leaves 0.25 kg of 100 m3 at 24 degC, 0.5 kg at 22 degC."""
    vapour = vapour_density_kgpm3(30, 80)
    for coldest, kilograms in ((24.0, 0.25), (22.0, 0.49)):
        air = {"air_low_degC": coldest, "air_high_degC": 30.0, "vapour_kgpm3": vapour}
        term = issue_air([day(issued_m3=100.0, **air)], replace(RULES, roof_below_air_K=0.0))
        assert 998 * term.water_m3.high == pytest.approx(kilograms, abs=0.02)
        assert term.water_m3.low == 0


def test_what_condenses_is_psychrolibs_difference_of_two_humidities() -> None:
    """General reference library: vapour of the day's air less vapour of saturated air at the coldest roof."""

    def kgpm3(t: float, humidity: float) -> float:
        ratio = psychrolib.GetHumRatioFromRelHum(t, humidity, 101325.0)
        return float(ratio / psychrolib.GetMoistAirVolume(t, ratio, 101325.0))

    air = {"air_low_degC": 23.0, "air_high_degC": 33.0, "vapour_kgpm3": vapour_density_kgpm3(33, 75)}
    term = issue_air([day(issued_m3=50.0, **air)], RULES)
    expected = 50 * (kgpm3(33, 0.75) - kgpm3(20, 1.0)) / 998
    assert term.water_m3.high == pytest.approx(expected, rel=5e-3)


def test_a_day_of_breathing_brings_less_than_a_litre_to_a_half_full_tank() -> None:
    """Computed elsewhere: 15 K of swing of 570 m3 are 28 m3 of air, which carry 0.69 kg saturated at 26 degC."""
    air = {"air_low_degC": 20.0, "air_high_degC": 26.0, "vapour_kgpm3": vapour_density_kgpm3(26, 100)}
    rules = replace(
        RULES, roof_below_air_K=40.0, insolation_Jpm2=Bounds(0, (15 - 0.7 * 6) / (0.02 * 5 / 9 / 11356.53 * 0.34))
    )
    term = breathing([day(fuel_degC=30.0, **air)], rules)
    assert "28 m3 of air" in term.note
    assert 998 * term.water_m3.high == pytest.approx(0.69, abs=0.05)


def test_a_vent_with_a_wide_set_keeps_the_damp_out() -> None:
    air = {"air_low_degC": 24.0, "air_high_degC": 30.0, "vapour_kgpm3": vapour_density_kgpm3(30, 90)}
    free = breathing([day(**air)], RULES)
    held = breathing([day(**air)], replace(RULES, vent_range_Pa=2000.0))
    shut = breathing([day(**air)], replace(RULES, vent_range_Pa=20_000.0))
    assert free.water_m3.high > held.water_m3.high > shut.water_m3.high == 0


def test_unmeasured_air_is_taken_as_saturated_and_told() -> None:
    term = issue_air([day(issued_m3=10.0, fuel_high_degC=33.0, fuel_low_degC=27.0)], RULES)
    measured = issue_air(
        [day(issued_m3=10.0, air_low_degC=21.0, air_high_degC=33.0, vapour_kgpm3=vapour_density_kgpm3(33, 70))], RULES
    )
    assert term.water_m3.high > measured.water_m3.high
    assert "taken as saturated" in term.note
    assert "taken as saturated" not in measured.note


def test_a_warm_receipt_sheds_in_a_cool_tank() -> None:
    """By the forum's rows 36 m3 from 40 to 20 degC shed (82 - 45) ppm (secondary), by the rule of thumb 36 ppm."""
    term = receipts_cooling(
        [Received(36.0, 40.0, 20.0), Received(5.0, None, 20.0)], replace(RULES, saturation=Bounds(1, 1))
    )
    assert term.water_m3.high == pytest.approx(36e-6 * 37)
    assert term.water_m3.low == pytest.approx(36e-6 * 36)
    assert "1 without and left out" in term.note


def test_the_fuel_sheds_at_most_with_each_fall_and_at_least_over_the_whole() -> None:
    days = [day(fuel_degC=t) for t in (30.0, 28.0, 30.0, 27.0)]
    saturated = replace(RULES, saturation=Bounds(1, 1))
    term = fuel_cooling(days, saturated)
    down = fuel_cooling([days[0], days[3]], saturated)
    assert term.water_m3.high > down.water_m3.high
    assert term.water_m3.low == pytest.approx(down.water_m3.low)
    assert fuel_cooling(days, RULES).water_m3.low == 0  # it may have been drier than saturated
    assert fuel_cooling(days[:1], RULES).water_m3 == NONE


def test_rain_counts_only_by_the_sites_word() -> None:
    assert rain(30, RULES).water_m3 == NONE
    assert "sound roof" in rain(30, RULES).note
    assert rain(30, replace(RULES, rain_m3_per_day=0.002)).water_m3 == Bounds(0, 0.06)


@pytest.mark.parametrize(
    ("found", "verdict"),
    [
        (Found(Bounds(0.012, 0.014), Bounds(0, 0.001)), Verdict.MORE),
        (Found(Bounds(0.011, 0.014), None), Verdict.MORE),
        (Found(Bounds(0.002, 0.003), Bounds(0, 0.004)), Verdict.WITHIN),
        (Found(Bounds(0.002, 0.003), None), Verdict.CANNOT_TELL),
        (Found(Bounds(0.002, 0.003), Bounds(-0.02, 0.2)), Verdict.CANNOT_TELL),
        (Found(Bounds(0.0, 0.0001), Bounds(0, 0.0002)), Verdict.CANNOT_TELL),
    ],
)
def test_the_verdict(found: Found, verdict: Verdict) -> None:
    expected = Bounds(0.001, 0.010)
    assert judged(expected, found, 30, 0)[0] is verdict
    assert judged(expected, found, 30, 7)[0] is Verdict.CANNOT_TELL
    assert judged(expected, found, 0, 0)[0] is Verdict.CANNOT_TELL


amount = st.floats(0, 0.05)


@given(
    st.lists(st.tuples(st.floats(10, 40), st.floats(0, 900), st.floats(0, 120), st.floats(15, 38)), max_size=12),
    st.lists(st.tuples(st.floats(0, 120), st.floats(10, 40), st.floats(10, 40)), max_size=5),
    st.lists(amount, max_size=4),
)
def test_every_account_adds_up_and_no_term_turns_round(
    raw: list[tuple[float, float, float, float]], got: list[tuple[float, float, float]], drains: list[float]
) -> None:
    days = [
        TankDay("2026-03-01", m3, 1000 - m3, t, t - 1, t + 1, out, air - 8, air, vapour_density_kgpm3(air, 80))
        for t, m3, out, air in raw
    ]
    made = account(days, [Received(*one) for one in got], Found(drawn(drains), NONE), RULES)
    assert {term.source for term in made.terms} == set(Source)
    assert all(0 <= term.water_m3.low <= term.water_m3.high for term in made.terms)
    assert made.expected_m3.high == pytest.approx(sum(term.water_m3.high for term in made.terms))
    more = account(days, [Received(*one) for one in got], Found(drawn([*drains, 100.0]), NONE), RULES)
    assert more.verdict is (Verdict.MORE if days else Verdict.CANNOT_TELL)


parts = st.floats(0, 1)


@given(st.lists(st.tuples(*[parts] * 6), min_size=5, max_size=5), st.floats(-0.1, 0.1), st.floats(0.05, 2.0))
def test_no_sound_tank_is_accused_and_a_leak_beyond_the_bounds_is_found(
    shares: list[tuple[float, ...]], misread: float, leak_m3: float
) -> None:
    """Whatever part of each way in really came, a bucket misread by up to a tenth never makes it more than expected."""
    air = {"air_low_degC": 23.0, "air_high_degC": 32.0, "vapour_kgpm3": vapour_density_kgpm3(32, 75)}
    days = [day(date=f"2026-03-{k + 1:02d}", fuel_degC=30.0 - k % 3, issued_m3=40.0, **air) for k in range(20)]
    received = [Received(60.0, 33.0, 28.0)] * 6
    terms = account(days, received, Found(NONE, NONE), RULES).terms
    share = [sum(one) / len(shares) for one in zip(*shares, strict=True)]
    came = sum(
        term.water_m3.low + part * (term.water_m3.high - term.water_m3.low)
        for term, part in zip(terms, share, strict=True)
    )
    sound = account(days, received, Found(drawn([came * (1 + misread)]), NONE), RULES)
    assert sound.verdict is not Verdict.MORE
    leaking = account(days, received, Found(drawn([(sound.expected_m3.high + leak_m3) / 0.9]), NONE), RULES)
    assert leaking.verdict is Verdict.MORE
