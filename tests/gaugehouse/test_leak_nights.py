"""Leak tests in real weather, a short form of tests/bench/bench_leak.py: what is promised holds within its interval.

The tank, its gauge and its weather are the simulator's and Miami's, harder than the model; seeds are fixed.
"""

import pytest

from inventory.leak import Refusal, Verdict
from tests.bench.bench_leak import Count, Tally
from tests.bench.leaknights import Nights

pytestmark = pytest.mark.timeout(600)  # nights in real weather, before the first test

SHARES = (0.0, 1.0, 0.0, 2.0, 0.0, 1.0)


@pytest.fixture(scope="module")
def tally() -> Tally:
    return Tally(Nights(40_001, several=True).days(9, 9, lambda k: SHARES[k % len(SHARES)]))


def test_false_alarms_and_leaks_found_are_as_stated_within_their_interval(tally: Tally) -> None:
    assert tally.count(0.0).n >= 3
    assert tally.count(0.0).interval[0] <= 0.05
    assert tally.count(1.0).n >= 1
    assert tally.count(1.0).interval[1] >= 0.95
    twice = tally.count(2.0)
    assert twice.hits == twice.n > 0


def test_days_with_a_movement_and_within_the_wait_are_refused_and_counted(tally: Tally) -> None:
    assert tally.refused[Refusal.DISTURBED.value] >= 2
    assert tally.undisturbed == tally.days - tally.refused[Refusal.DISTURBED.value]
    assert sum(tally.refused.values()) + len(tally.detectable) == tally.days


def test_what_is_stated_is_of_the_size_that_a_tank_can_know(tally: Tally) -> None:
    """A tank of 8 m with several spots sees litres an hour, not tenths of one, nor tens."""
    assert all(1.0 < stated < 7.6 for stated in tally.detectable)


# Exact limits: 0 of 59 reaches just below 5 % from one side (59 of 59 for 95 %: the usual rule of three); 2 of 3 is
# above 5 % for sure. Clopper and Pearson's 95 % limits of 5 of 100: 1.64 to 11.28 % (usual table, from memory).
@pytest.mark.parametrize(("hits", "n", "low", "high"), [(5, 100, 0.0164, 0.1128), (0, 10, 0.0, 0.3085)])
def test_the_intervals_are_those_of_the_table(hits: int, n: int, low: float, high: float) -> None:
    assert Count(hits, n).interval == pytest.approx((low, high), abs=2e-4)


def test_a_bad_test_would_fail_here() -> None:
    assert Count(2, 3).interval[0] > 0.05
    assert Count(1, 3).interval[1] < 0.95
    assert Verdict.LOSS.value == "loss"
