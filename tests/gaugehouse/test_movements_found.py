"""The short form of tests/bench/bench_movements.py: what the long one measures holds in a few farms too.

Reference: the simulated farm's own pumps, and the typical year of Miami (NREL TMY2, open data, shipped by pvlib). Seeds
apart from those that the thresholds were made with. Aims are the house's own rules: detection limit at 95 % found,
unordered movements of 100 L/min within 10 min, of 20 L/min in 1 h.
"""

import pytest

from simulator.movement import RAMP_S, SLOW_FRAC
from tests.bench.bench_movements import LIMIT_M3, allowed_s, coverage, month, quiet, recall, timing, unordered

SEED = 8_000


def test_two_days_in_hot_and_in_mild_air_tell_no_movement() -> None:
    assert quiet(4, 2, SEED) == 0


@pytest.mark.parametrize("number", [3, 8])
def test_real_days_and_nights_tell_no_movement(number: int) -> None:
    """Three days of Miami in March, nearly empty below a long dry shell, and in August."""
    one = month(number, 3, SEED)
    assert one.false == 0
    assert one.most_mm > 0.5  # the level did go up and down


def test_at_the_limit_all_of_ten_are_found_and_at_half_of_it_hardly_any() -> None:
    assert recall(1.0, 10, 8101)[0] >= 9
    assert recall(0.5, 10, 8101)[0] <= 5  # else the limit is set too high to be one


@pytest.mark.parametrize(("litres_per_min", "within_s"), [(100, 600), (20, 3600)])
def test_a_movement_is_told_within_the_rule(litres_per_min: int, within_s: int) -> None:
    assert unordered(litres_per_min, 8201) <= within_s


@pytest.mark.parametrize("damping_s", [3.0, 30.0])
@pytest.mark.parametrize("litres_per_min", [1000, 100, 20])
def test_times_are_right_to_what_register_and_surface_allow(litres_per_min: int, damping_s: float) -> None:
    """max(2 polls + lag, 3 x noise / rate of rise); a receipt rises slowly at first, and by a ramp, which no level
    shows."""
    issue, receipt = timing(litres_per_min, 5, damping_s, 8301)
    most_s = allowed_s(litres_per_min, 5, damping_s)
    assert abs(issue[0]) <= most_s
    assert abs(issue[1]) <= most_s
    assert -most_s <= receipt[0] <= allowed_s(SLOW_FRAC * litres_per_min, 5, damping_s) + RAMP_S
    assert abs(receipt[1]) <= most_s


def test_the_told_uncertainty_holds_the_truth_and_is_not_far_wider() -> None:
    some = coverage(6, SEED)
    assert len(some) == 6
    for k in range(3):
        assert sum(abs(one.errors[k]) <= one.u95[k] for one in some) >= 5
        assert max(abs(one.errors[k]) / one.u95[k] for one in some) > 0.2
    assert LIMIT_M3 < 78.54 * 0.005
