"""The short form of tests/bench/bench_movements.py: what the long one measures holds in a few farms too.

Reference: the simulated farm's own pumps. Seeds apart from those that the thresholds were made with. Aims are the
house's own rules: detection limit at 95 % found, unordered movements of 100 L/min within 10 min, of 20 L/min in 1 h.
"""

import pytest

from tests.bench.bench_movements import LIMIT_M3, coverage, quiet, recall, timing, unordered


def test_two_days_in_hot_and_in_mild_air_tell_no_movement() -> None:
    assert quiet(4, 2) == 0


def test_at_the_limit_all_of_ten_are_found_and_at_half_of_it_hardly_any() -> None:
    assert recall(1.0, 10, 8101)[0] >= 9
    assert recall(0.5, 10, 8101)[0] <= 5  # else the limit is set too high to be one


@pytest.mark.parametrize(("litres_per_min", "within_s"), [(100, 600), (20, 3600)])
def test_a_movement_is_told_within_the_rule(litres_per_min: int, within_s: int) -> None:
    assert unordered(litres_per_min, 8201) <= within_s


@pytest.mark.parametrize("litres_per_min", [1000, 100, 20])
def test_times_are_right_to_what_register_and_surface_allow(litres_per_min: int) -> None:
    """max(2 polls + lag, 3 x noise / rate of rise), and the farm's slow start and ramp (57 s), which no level shows."""
    allowed_s = max(2 * 5 + 3, 3 * 0.00042 / (litres_per_min / 60_000 / 78.54))
    errors = list(timing(litres_per_min, 5, 3.0, 8301))
    assert len(errors) == 2
    for start_s, end_s in errors:
        assert -allowed_s <= start_s <= allowed_s + 57
        assert abs(end_s) <= allowed_s


def test_the_told_uncertainty_holds_the_truth() -> None:
    errors, told, _ = coverage(6)
    assert len(errors) == 6
    assert sum(abs(error) <= u95 for error, u95 in zip(errors, told, strict=True)) >= 5
    assert LIMIT_M3 < 78.54 * 0.005
