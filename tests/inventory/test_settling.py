"""Settling times by the rules that are published, and a countdown that counts only what counts."""

import pytest

from inventory.settling import MS_PER_H, Countdown, SettlingRule, SettlingRules

HOUR = MS_PER_H
PER_FT = 1 / 0.3048


@pytest.mark.parametrize(
    ("rule", "depth_m", "hours"),
    [
        # Computed by hand from each rule's own words, 14.0 m deep; none of the results is a published figure.
        # 3 h per ft (JP-5): US Navy training manual 14003, "Settling Period".
        (SettlingRule("US Navy 14003", per_m_ms=3 * PER_FT * HOUR), 14.0, 137.8),
        # 1 h per ft: OGP land-seismic helicopter guideline D.6.1(2), a delivery tanker.
        (SettlingRule("OGP D.6.1(2)", per_m_ms=1 * PER_FT * HOUR), 14.0, 45.9),
        # 3 h per m, or 24 h if that is shorter: from memory, text not seen.
        (SettlingRule("from memory", per_m_ms=3 * HOUR, at_most_ms=24 * HOUR), 14.0, 24.0),
        (SettlingRule("from memory", per_m_ms=3 * HOUR, at_most_ms=24 * HOUR), 6.0, 18.0),
        (SettlingRule("computed", per_m_ms=3 * HOUR, at_least_ms=2 * HOUR), 0.2, 2.0),
        # 3 h for drums: OGP D.7.2(5).
        (SettlingRule("OGP D.7.2(5)", time_ms=3 * HOUR), 0.9, 3.0),
    ],
)
def test_a_rule_asks_for_its_time(rule, depth_m, hours):
    assert rule.need_ms(depth_m) / HOUR == pytest.approx(hours, abs=0.05)


def test_a_small_receipt_asks_for_its_own_time_only_where_the_site_says_so():
    """1 h where less than 1 ft was received: USAF T.O. 42B-1-1 (study cards)."""
    rule = SettlingRule("T.O. 42B-1-1", per_m_ms=3 * HOUR, small_rise_m=0.3048, small_ms=HOUR)
    assert rule.need_ms(10.0, 0.2) == HOUR
    assert rule.need_ms(10.0, 0.4) == rule.need_ms(10.0) == 30 * HOUR


def test_a_rule_fits_product_and_suction():
    rule = SettlingRule("house", time_ms=HOUR, product="jet", suction="floating")
    assert rule.fits("jet", "floating")
    assert not rule.fits("jet", "fixed")
    assert not rule.fits("avgas", "floating")
    assert SettlingRule("house", time_ms=HOUR).fits("avgas", "fixed")


@pytest.mark.parametrize(("blind_counts", "counted"), [(False, 1000), (True, 1600)])
def test_time_without_a_trusted_level_is_told_and_counts_only_by_the_sites_word(blind_counts, counted):
    rules = SettlingRules(SettlingRule("house", time_ms=HOUR), blind_counts=blind_counts)
    countdown = Countdown(HOUR, 0, 5.0)
    countdown.pass_by(1000, trusted=True, rules=rules)
    countdown.pass_by(600, trusted=False, rules=rules)
    assert (countdown.counted_ms, countdown.blind_ms) == (counted, 600)


@pytest.mark.parametrize(("down_ms", "counts", "counted"), [(5000, True, 5000), (5000, False, 0), (-5000, True, 0)])
def test_time_without_the_program_goes_by_the_clock_and_a_clock_set_back_has_told_none(down_ms, counts, counted):
    rules = SettlingRules(SettlingRule("house", time_ms=HOUR), down_counts=counts)
    countdown = Countdown(HOUR, 0, 5.0)
    countdown.stood(down_ms, rules)
    assert (countdown.counted_ms, countdown.down_ms) == (counted, max(0, down_ms))


def test_nothing_counts_while_fuel_flows_out():
    rules = SettlingRules(SettlingRule("house", time_ms=HOUR))
    countdown = Countdown(HOUR, 0, 5.0, held=True)
    countdown.pass_by(2 * HOUR, trusted=True, rules=rules)
    countdown.stood(2 * HOUR, rules)
    assert countdown.counted_ms == 0
    assert not countdown.over
