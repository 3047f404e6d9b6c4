"""Receipts as arithmetic: will it fit, how far is it, which check is due, can the tank resolve a dispute.

Published and secondary figures stand in tests/data/stock/receipt_practice.csv with their sources; what is computed here
is marked so.
"""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.moved import Moved
from inventory.receiptcheck import Before, Bounds, Fits, forecast
from inventory.receiptmatch import Verdict, quantity_match, reconcile
from inventory.receiptprogress import Due, line_check, progress, prompt_of
from inventory.receiptrules import FIRST_CHECK_MS, GRACE_MS, ReceiptRules
from inventory.receipts import DeliveryPaper, DeliverySample, Receipt, receipt_of
from models.capacity import CapacityTable
from models.correction import ctl
from models.errors import OutOfRange
from models.quantity import Product
from tests.reference import rows

PRACTICE = {row["id"]: row for row in rows("stock/receipt_practice.csv")}
AREA_M2 = math.pi * 100 / 4
JET = Product("jet", 800.0)
TABLE = CapacityTable([0.0, 12.0], [0.0, 12 * AREA_M2])
RULES = ReceiptRules()
MINUTE = 60_000
LIMITS = {"high": 10.0, "high_high": 10.8, "critical_high": 11.2}


def bounds(**more: float) -> Bounds:
    return Bounds(LIMITS, ("high", 10.0), **more)


def before(level_m: float, temperature_degC: float | None = 25.0, u95_m3: float = 0.3) -> Before:
    tov = AREA_M2 * level_m
    gsv = None if temperature_degC is None else tov * ctl("jet", 800.0, temperature_degC)
    return Before(level_m, tov, gsv, temperature_degC, u95_m3)


def jet(observed_m3: float | None = 36.0, temperature_degC: float | None = 25.0, **more: float) -> DeliveryPaper:
    return DeliveryPaper(observed_m3, more.get("standard_m3"), temperature_degC, more.get("density_15_kgpm3", 800.0))


# Before


def test_a_load_at_the_tanks_own_temperature_ends_where_its_volume_says():
    found = forecast(TABLE, JET, before(8.0), jet(78.539816), 1 / 60, bounds(), 0.002)
    assert (found.fits, found.end_level_m) == (Fits.YES, pytest.approx(9.0, abs=1e-6))
    assert found.end_temperature_degC == pytest.approx(25.0)
    assert found.lasts_s == pytest.approx(78.539816 * 60)
    assert [(one.condition, one.passed) for one in found.passes] == [
        ("high", False), ("high_high", False), ("critical_high", False),
    ]  # fmt: skip


def test_a_load_that_passes_limits_says_when():
    found = forecast(TABLE, JET, before(9.0), jet(150.0), 1 / 60, bounds(largest_m3_per_s=2 / 60), 0.002)
    passed = {one.condition: one for one in found.passes}
    assert found.fits is Fits.NO
    assert found.rate_too_high is False
    assert passed["high"].after_s == pytest.approx(AREA_M2 * 60)
    assert passed["high_high"].after_s == pytest.approx(1.8 * AREA_M2 * 60)
    assert passed["critical_high"].after_s is None


def test_what_fits_only_within_its_uncertainty_does_not_surely_fit():
    found = forecast(TABLE, JET, before(9.0), jet(AREA_M2 - 0.1), None, bounds(), 0.002)
    assert (found.fits, found.lasts_s) == (Fits.NOT_SURELY, None)


def test_a_level_that_nobody_knows_is_judged_by_nobody():
    found = forecast(TABLE, JET, Before(None, None, None, None), jet(), 1 / 60, bounds(), 0.002)
    assert (found.fits, found.end_level_m, found.passes) == (Fits.NOT_JUDGED, None, ())


def test_warm_fuel_into_cold_warms_it_and_both_change_volume():
    found = forecast(TABLE, JET, before(5.0, 20.0), jet(100.0, 40.0), None, bounds(), 0.002)
    cold, warm = AREA_M2 * 5 * ctl("jet", 800.0, 20.0), 100 * ctl("jet", 800.0, 40.0)
    mixed = (cold * 20 + warm * 40) / (cold + warm)
    assert found.end_temperature_degC == pytest.approx(mixed)
    assert found.end_tov_m3 == pytest.approx((cold + warm) / ctl("jet", 800.0, mixed), rel=1e-9)


def test_response_is_the_rise_to_critical_high_at_the_agreed_rate():
    quick = forecast(TABLE, JET, before(5.0), jet(), 0.4 * AREA_M2 / 300, bounds(needed_s=301.0), 0.002)
    assert (quick.response.available_s, quick.response.enough) == (pytest.approx(300), False)
    slow = forecast(TABLE, JET, before(5.0), jet(), 0.4 * AREA_M2 / 302, bounds(needed_s=301.0), 0.002)
    assert slow.response.enough is True
    unknown = forecast(TABLE, JET, before(5.0), jet(), 0.01, bounds(), 0.002)
    assert unknown.response.enough is None


def test_a_density_of_no_jet_is_refused_with_the_reason():
    with pytest.raises(OutOfRange, match="density"):
        forecast(TABLE, JET, before(5.0), jet(density_15_kgpm3=3000.0), None, bounds(), 0.002)


@given(
    level=st.floats(0.5, 9.0), cold=st.floats(-5, 40), warm=st.floats(-5, 40), quantity=st.floats(0.5, 200),
    density=st.floats(776, 839),
)  # fmt: skip
def test_standard_volumes_add_up_whatever_is_mixed(level, cold, warm, quantity, density):
    paper = jet(quantity, warm, density_15_kgpm3=density)
    was = before(level, cold)
    found = forecast(TABLE, JET, was, paper, None, bounds(), 0.002)
    assert found.end_temperature_degC is not None
    assert found.end_tov_m3 is not None
    assert was.gsv_m3 is not None
    assert min(cold, warm) - 1e-9 <= found.end_temperature_degC <= max(cold, warm) + 1e-9
    part = was.gsv_m3 / ctl("jet", 800.0, found.end_temperature_degC)
    back = (found.end_tov_m3 - part) * ctl("jet", density, found.end_temperature_degC)
    assert back == pytest.approx(quantity * ctl("jet", density, warm), rel=1e-6, abs=1e-6)
    assert paper.at_m3(JET, warm) == pytest.approx(quantity)


def test_a_paper_whose_own_figures_disagree_is_seen():
    right = 36 * ctl("jet", 800.0, 30.0)
    paper = DeliveryPaper(36.0, right * 1.003, 30.0, 800.0)
    assert paper.own_error_percent(JET) == pytest.approx(0.3, abs=1e-6)
    assert DeliveryPaper(36.0, None, 30.0, 800.0).own_error_percent(JET) is None


# While it runs


def gained(m3: float, u95_m3: float = 0.3) -> Moved:
    factor = ctl("jet", 800.0, 25.0)
    return Moved(m3, u95_m3, m3, u95_m3, m3 * factor, u95_m3)


def test_more_than_the_paper_states_is_told_once_the_tank_can_tell_it():
    def found(m3: float, u95_m3: float) -> bool:
        return progress(gained(m3, u95_m3), jet(), JET, 25.0, 0.02, 0.001, 0.018, 30 * MINUTE, RULES).beyond_paper

    assert not found(36.0, 0.3)
    assert not found(36.25, 0.3)  # within what the tank leaves in doubt
    assert not found(36.15, 0.01)  # within the site's limit, 0.5 % of it
    assert found(36.4, 0.3)


def test_half_of_it_is_in():
    found = progress(gained(18.0), jet(), JET, 25.0, 0.02, 0.001, 0.018, 30 * MINUTE, RULES)
    assert (found.basis, found.share_frac) == ("standard", pytest.approx(0.5))
    assert found.left_m3 == pytest.approx(18.0)
    assert found.rate_off_frac == pytest.approx(0.02 / 0.018 - 1)
    assert found.finish is not None
    assert found.finish.expected_s == pytest.approx(900)
    assert found.finish.earliest_s == pytest.approx(18 / 0.022)


def test_a_slow_start_is_expected():
    found = progress(gained(1.0), jet(), JET, 25.0, 0.002, 0.0, 0.018, 5 * MINUTE, RULES)
    assert (found.slow_start, found.rate_off_frac) == (True, None)


def test_the_first_check_is_due_after_15_to_20_minutes_of_flow():
    assert float(PRACTICE["first_check_low"]["value"]) * MINUTE == FIRST_CHECK_MS
    assert float(PRACTICE["first_check_high"]["value"]) * MINUTE == FIRST_CHECK_MS + GRACE_MS
    states = [prompt_of(0, [], minute * MINUTE, True, RULES).state for minute in (0, 14, 15, 20, 21)]
    assert states == [Due.WAITS, Due.WAITS, Due.NOW, Due.NOW, Due.OVERDUE]
    assert prompt_of(None, [], 0, True, RULES).state is Due.NONE


def test_each_check_brings_the_next_and_what_was_not_done_in_time_is_counted():
    done = prompt_of(0, [16 * MINUTE], 17 * MINUTE, True, RULES)
    assert (done.state, done.due_ms, done.missed) == (Due.WAITS, 36 * MINUTE, 0)
    early = prompt_of(0, [3 * MINUTE], 16 * MINUTE, True, RULES)
    assert (early.state, early.done) == (Due.NOW, 1)
    late = prompt_of(0, [30 * MINUTE], 31 * MINUTE, True, RULES)
    assert (late.state, late.missed) == (Due.WAITS, 1)
    never = prompt_of(0, [], 61 * MINUTE, False, RULES)
    assert (never.state, never.missed) == (Due.NONE, 3)  # at 20, 40 and 60 min


@given(st.lists(st.integers(0, 200), max_size=8), st.integers(0, 240))
def test_more_checks_never_make_more_of_them_missed(minutes, now):
    times = [minute * MINUTE for minute in minutes if minute <= now]
    some = prompt_of(0, times, now * MINUTE, True, RULES)
    none = prompt_of(0, [], now * MINUTE, True, RULES)
    assert 0 <= some.missed <= none.missed + len(times)
    assert some.due_ms is not None
    regular = [15 * MINUTE + k * 20 * MINUTE for k in range(20) if 15 + 20 * k <= now]
    assert prompt_of(0, regular, now * MINUTE, True, RULES).missed == 0


def test_line_and_tank_are_compared_at_one_temperature():
    warm = jet(36.0, 35.0)
    check = line_check(0, "Ann", 10.0, gained(10 * ctl("jet", 800.0, 35.0) / ctl("jet", 800.0, 25.0)), warm, JET, RULES)
    assert check.basis == "standard"
    assert check.difference_m3 == pytest.approx(0.0, abs=1e-9)
    assert not check.beyond


def test_only_what_the_tank_can_see_is_a_divergence():
    lost = line_check(0, "Ann", 30.0, gained(29.0), jet(), JET, RULES)
    assert lost.beyond  # 1 m3 of 30, the limit being 2 %
    blurred = line_check(0, "Ann", 30.0, gained(29.0, 1.5), jet(), JET, RULES)
    assert not blurred.beyond
    blind = line_check(0, "Ann", 30.0, None, jet(), JET, RULES)
    assert (blind.tank_m3, blind.beyond) == (None, False)


# After


def test_a_truckload_cannot_be_policed_by_a_tall_tank():
    """Computed: 36 m3 into D = 10 m with 2 mm a dip is 0.87 % added up, 0.62 % as root sum of squares."""
    two_dips = 2 * 0.002 * AREA_M2
    assert two_dips == pytest.approx(float(PRACTICE["two_dips"]["value"]), abs=5e-4)
    assert 100 * two_dips / 36 == pytest.approx(float(PRACTICE["two_dips_percent"]["value"]), abs=5e-3)
    match = quantity_match("observed", 36.0, 35.9, two_dips, RULES)
    assert (match.resolves, match.verdict) == (False, Verdict.NOT_TOLD)
    assert "cannot resolve" in match.said
    assert "322 L (0.90 %)" in match.said  # with the paper's own 0.2 %


def test_a_difference_that_the_tank_does_tell_is_not_called_one_that_it_cannot():
    match = quantity_match("observed", 36.0, 34.3, 0.31, RULES)
    assert (match.resolves, match.verdict) == (False, Verdict.BEYOND)
    assert "cannot resolve" not in match.said
    assert "The difference is real" in match.said


def test_what_a_large_delivery_lacks_is_told():
    match = quantity_match("standard", 500.0, 490.0, 1.0, RULES)
    assert (match.resolves, match.verdict) == (True, Verdict.BEYOND)
    assert (match.difference_m3, match.percent) == (pytest.approx(-10), pytest.approx(-2))
    assert quantity_match("standard", 500.0, 499.0, 1.0, RULES).verdict is Verdict.WITHIN


def test_the_papers_uncertainty_is_what_a_proved_meter_may_be_off():
    assert float(PRACTICE["meter_proving"]["value"]) / 100 == RULES.paper_u95_frac
    assert quantity_match("standard", 500.0, 500.0, 0.0, RULES).u95_m3 == pytest.approx(1.0)


def test_density_and_temperature_are_held_against_the_paper():
    assert float(PRACTICE["density_limit"]["value"]) == RULES.density_limit_kgpm3
    sample = DeliverySample("Ann", 0, 803.0, 28.5)
    found = reconcile(jet(), JET, gained(36.0), sample, RULES)
    assert (found.density.verdict, found.density.difference) == (Verdict.WITHIN, pytest.approx(3.0))
    assert (found.temperature.verdict, found.temperature.difference) == (Verdict.BEYOND, pytest.approx(3.5))
    none = reconcile(jet(), JET, None, None, RULES)
    assert (none.quantity, none.observed) == (None, None)
    assert (none.density.verdict, none.temperature.verdict) == (Verdict.NOT_DONE, Verdict.NOT_DONE)


@given(st.floats(1, 1000), st.floats(-1000, 1000), st.floats(0, 50))
def test_a_verdict_never_holds_against_the_delivery_what_the_tank_cannot_see(paper, off, u95):
    match = quantity_match("standard", paper, paper + off, u95, RULES)
    if match.verdict is Verdict.BEYOND:
        assert abs(match.difference_m3) > match.u95_m3
        assert abs(match.difference_m3) > match.limit_m3
    if match.verdict is Verdict.WITHIN:
        assert match.resolves
        assert abs(match.difference_m3) <= match.limit_m3


def test_a_receipt_is_kept_whole():
    receipt = Receipt(3, "palm", "jet", jet(), 0.016, "Ann", 5)
    receipt.line.append(line_check(7, "Ann", 10.0, gained(10.0), jet(), JET, RULES))
    receipt.sample = DeliverySample("Bo", 8, 801.0, None)
    assert receipt_of(receipt.json()) == receipt
