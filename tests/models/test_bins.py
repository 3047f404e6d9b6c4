"""Means over equal stretches of time, against what the samples of each stretch add up to."""

from hypothesis import given
from hypothesis import strategies as st

from models.bins import Bins


def test_a_stretch_without_samples_has_no_mean_and_old_ones_fall_out() -> None:
    bins = Bins(10, 3)
    done = [bins.add(at, value) for at, value in ((0, 1.0), (9, 3.0), (10, 5.0), (35, 7.0), (42, 9.0))]
    assert done == [False, False, True, True, True]
    assert [tuple(mean) for mean in bins.means] == [(1, 5.0), (3, 7.0)]  # stretch 0 is more than three back
    assert bins.since(2) == [7.0]
    bins.clear()
    assert not bins.means
    assert not bins.add(50, 1.0)


@given(st.lists(st.tuples(st.integers(0, 40), st.floats(-1e3, 1e3)), max_size=80))
def test_every_mean_is_that_of_its_own_samples(steps: list[tuple[int, float]]) -> None:
    bins, at, samples = Bins(60, 1000), 0, {}  # type: ignore[var-annotated]  # filled below
    for step, value in steps:
        at += step
        bins.add(at, value)
        samples.setdefault(at // 60, []).append(value)
    samples.pop(at // 60, None)
    assert [mean.number for mean in bins.means] == sorted(samples)
    for mean in bins.means:
        own = samples[mean.number]
        assert min(own) - 1e-6 <= mean.value <= max(own) + 1e-6
        assert abs(mean.value - sum(own) / len(own)) < 1e-6
