import pytest
from hypothesis import given
from hypothesis import strategies as st

from collector.answer_times import ENOUGH, FACTOR, LEAST_MS, WINDOW, AnswerTimes, quantile

BOUND_MS = 500.0


def after(answers: list[float], failures: int = 0) -> AnswerTimes:
    times = AnswerTimes(BOUND_MS)
    for took_ms in answers:
        times.answered(took_ms)
    for _ in range(failures):
        times.failed()
    return times


def test_until_enough_answers_are_known_the_sites_time_out_holds() -> None:
    assert after([20.0] * (ENOUGH - 1)).timeout_ms == BOUND_MS
    assert after([20.0] * ENOUGH).timeout_ms < BOUND_MS


@pytest.mark.parametrize(
    ("answers", "timeout_ms"),
    [
        ([5.0] * 64, LEAST_MS),
        ([50.0] * 64, 50.0 * FACTOR),
        ([50.0] * 127 + [140.0], 50.0 * FACTOR),  # one in 128 is beyond "nearly all"
        ([50.0] * 120 + [140.0] * 8, 140.0 * FACTOR),
        ([400.0] * 64, BOUND_MS),
        ([400.0] * WINDOW + [40.0] * WINDOW, 40.0 * FACTOR),  # long ago counts no more
    ],
)
def test_what_is_learned_covers_nearly_all_answers_three_times(answers: list[float], timeout_ms: float) -> None:
    assert after(answers).timeout_ms == timeout_ms


@pytest.mark.parametrize(("failures", "timeout_ms"), [(0, 150), (1, 300), (2, 500), (3, 500), (1000, 500)])
def test_each_failure_in_a_row_doubles_it_up_to_the_sites(failures: int, timeout_ms: float) -> None:
    assert after([50.0] * 64, failures).timeout_ms == timeout_ms


def test_the_first_answer_after_failures_brings_what_was_learned_back() -> None:
    times = after([50.0] * 64, failures=5)
    times.answered(60.0)
    assert times.timeout_ms == 150.0
    assert times.last_ms == 60.0


def test_a_unit_that_became_slower_is_found_again_and_learned_anew() -> None:
    times = after([30.0] * 64)
    asked = 0
    while times.timeout_ms < 400.0:
        times.failed()
        asked += 1
    assert asked <= 3
    for _ in range(ENOUGH):
        times.answered(400.0)
    assert times.timeout_ms == BOUND_MS


@given(st.lists(st.one_of(st.none(), st.floats(0, 10_000)), max_size=300), st.floats(10, 60_000))
def test_it_is_never_beyond_the_sites_nor_below_the_least(history: list[float | None], bound_ms: float) -> None:
    times = AnswerTimes(bound_ms)
    for took_ms in history:
        if took_ms is None:
            times.failed()
        else:
            times.answered(took_ms)
        assert min(LEAST_MS, bound_ms) <= times.timeout_ms <= bound_ms


def test_quantiles_are_values_that_occurred() -> None:
    """Nearest rank, by hand: of 1 to 100, 50 % are below 51 and 95 % below 96; the last is the highest."""
    values = [float(n) for n in range(100, 0, -1)]
    assert [quantile(values, share) for share in (0.0, 0.5, 0.95, 1.0)] == [1.0, 51.0, 96.0, 100.0]
    assert quantile([], 0.5) is None
    assert after([10.0, 30.0, 20.0]).quantile_ms(0.5) == 20.0
