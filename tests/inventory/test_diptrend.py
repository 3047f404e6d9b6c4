"""Zero and span out of a row of dips, the drift test and its run lengths."""

import itertools
import math
import random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from inventory import cusum
from inventory.diptrend import CHECK, T95, Point, Split, drift, fitted, split, t95, to_check, verified
from tests.reference import rows

DAY = 86_400_000


def test_a_straight_line_is_that_of_the_statistical_reference_datasets():
    """NIST StRD, Norris: certified values and their standard deviations, 15 digits."""
    data = rows("stock/straight_line.csv")
    line = fitted([float(row["x"]) for row in data], [float(row["y"]) for row in data])
    assert line.at == pytest.approx(-0.262323073774029, rel=1e-11)
    assert line.slope == pytest.approx(1.00211681802045, rel=1e-13)
    assert line.at_error == pytest.approx(0.232818234301152, rel=1e-11)
    assert line.slope_error == pytest.approx(0.429796848199937e-03, rel=1e-11)
    assert line.left == pytest.approx(0.884796396144373, rel=1e-11)
    assert line.freedom == 34


def test_students_t_is_that_of_a_general_library():
    for freedom, value in enumerate(T95, 1):
        assert value == pytest.approx(stats.t.ppf(0.975, freedom), abs=6e-4)
    assert t95(60) == pytest.approx(stats.t.ppf(0.975, 60), abs=5e-3)


@pytest.mark.parametrize(
    "row", rows("stock/cusum_run_lengths.csv"), ids=lambda row: f"h{row['interval']}-{row['shift']}"
)
def test_run_lengths_are_those_of_the_textbook(row):
    found = cusum.run_length(float(row["shift"]), 0.5, float(row["interval"]))
    printed = row["run_length"]
    decimals = len(printed.partition(".")[2])
    assert found == pytest.approx(float(printed), abs=0.6 * 10**-decimals)


def points(differences, levels, standard=0.0015):
    return [
        Point(k * DAY, level, off, standard) for k, (off, level) in enumerate(zip(differences, levels, strict=True))
    ]


def test_zero_and_span_are_told_apart():
    levels = [1.0, 4.0, 7.0, 10.0, 2.5]
    constant = split(points([0.006, 0.0061, 0.0058, 0.0062, 0.0059], levels), 0.0, 12.0)
    assert isinstance(constant, Split)
    assert constant.zero_m == pytest.approx(0.006, abs=3e-4)
    assert constant.zero_off
    assert not constant.span_off
    scale = split(points([0.001 * h for h in levels], levels), 0.0, 12.0)
    assert isinstance(scale, Split)
    assert scale.span_m_per_m == pytest.approx(0.001)
    assert scale.full_m == pytest.approx(0.012)
    assert scale.span_off
    assert not scale.zero_off


def test_levels_that_do_not_spread_tell_nothing_and_say_what_would():
    told = split(points([0.006] * 6, [5.0, 5.1, 5.2, 5.3, 5.4, 5.5]), 0.0, 12.0)
    assert isinstance(told, str)
    assert "2.40 m" in told
    assert "4 are needed" in str(split(points([0.006] * 3, [1.0, 5.0, 9.0]), 0.0, 12.0))
    assert isinstance(split(points([0.006] * 4, [9.0, 6.6, 7.0, 8.0]), 12.0, 0.0), Split)  # a loop in reverse


@settings(deadline=None)
@given(
    st.floats(-0.02, 0.02), st.floats(-0.002, 0.002),
    st.lists(st.floats(0.5, 12.0), min_size=4, max_size=12), st.sampled_from([(0.0, 12.0), (12.0, 0.0)]),
)  # fmt: skip
def test_a_gauge_without_scatter_gives_back_its_own_zero_and_span(zero, span, levels, ends):
    found = split(points([zero + span * (h - ends[0]) for h in levels], levels), *ends)
    if isinstance(found, str):
        assert max(levels) - min(levels) < 2.4
    else:
        assert found.zero_m == pytest.approx(zero, abs=1e-9)
        assert found.span_m_per_m == pytest.approx(span, abs=1e-9)
        assert found.left_m < 1e-9


def test_the_interval_of_zero_and_span_covers_as_it_says():
    """1000 invented gauges of known error, dips that scatter as they say: 95 % within its binomial interval."""
    some, hit = random.Random(11), {"zero": 0, "span": 0}
    for _ in range(1000):
        zero, span = some.gauss(0, 0.005), some.gauss(0, 0.0005)
        levels = [some.uniform(1, 11) for _ in range(8)]
        found = split(points([zero + span * h + some.gauss(0, 0.0015) for h in levels], levels, 1e-9), 0.0, 12.0)
        assert isinstance(found, Split)
        hit["zero"] += abs(found.zero_m - zero) <= found.zero_u95_m
        hit["span"] += abs(found.span_m_per_m - span) <= found.span_u95_m_per_m
    low, high = stats.binom.interval(0.999, 1000, 0.95)
    assert low <= hit["zero"] <= high
    assert low <= hit["span"] <= high


def walk(some, zero, span, *, shift=0.0, after=0, dips):
    levels = [some.uniform(1, 11) for _ in range(dips)]
    off = [zero + span * h + some.gauss(0, 0.0015) + (shift if k >= after else 0.0) for k, h in enumerate(levels)]
    return points(off, levels)


def test_a_gauge_that_stands_where_it_stood_cries_wolf_as_seldom_as_stated():
    """Zero and span wrong as far as the site says, levels all over: the run length of the textbook must hold."""
    some, lengths = random.Random(5), []
    for _ in range(400):
        row = walk(some, some.gauss(0, 0.01), some.gauss(0, 0.001), dips=1200)
        found = drift(row, 0.01, 0.001, 0.0)
        lengths.append(1200 if found.told_at is None else found.told_at + 1)
    mean = sum(lengths) / len(lengths)
    spread = math.sqrt(sum((one - mean) ** 2 for one in lengths) / len(lengths) ** 2)
    assert abs(mean - 168) < 4 * spread
    assert drift(row, 0.01, 0.001, 0.0).run_length == pytest.approx(168, abs=0.5)


def test_a_gauge_that_moves_is_found_with_about_when_it_did():
    some, found = random.Random(6), []
    for _ in range(200):
        row = walk(some, 0.004, 0.0005, shift=-0.006, after=20, dips=40)
        told = drift(row, 0.01, 0.001, 0.0)
        if told.told_at is not None and told.told_at >= 20:
            found.append((told.way, told.told_at - 20, abs(told.since - 20)))
    assert len(found) > 150
    assert all(way == -1 for way, *_ in found) or sum(way == -1 for way, *_ in found) > 0.97 * len(found)
    assert sum(late for _, late, _ in found) / len(found) < 4
    assert sorted(off for *_, off in found)[len(found) // 2] <= 2


def test_a_steady_gauge_at_other_levels_is_no_drift():
    """A span error that shows as the tank fills is none: the earlier dips foretell it."""
    levels = [2, 2, 2, 2, 10, 10, 10, 10, 2, 2]
    assert drift(points([0.001 * h for h in levels], levels), 0.01, 0.001, 0.0).way == 0


def test_what_was_verified_is_told_by_thirds():
    row = [Point(0, 1.0, 0.002, 0.001, True), Point(0, 2.0, -0.004, 0.001, True), Point(0, 6.0, 0.001, 0.001)]
    assert dict(verified(row, 0.0, 12.0)) == {"lower third": -0.004, "middle third": None, "upper third": None}
    assert verified([Point(0, 12.0, 0.0, 0.001, True)], 0.0, 12.0)["upper third"] == 0.0


def test_what_is_to_be_checked_has_words():
    scale = split(points([0.001 * h for h in (1.0, 4.0, 7.0, 10.0)], [1.0, 4.0, 7.0, 10.0]), 0.0, 12.0)
    asked = [to_check(*args) for args in itertools.product((None, True, False), (scale, "no"), (None,))]
    assert ["limit", "span"] in asked
    assert ["none"] in asked
    assert {name for one in asked for name in one} <= set(CHECK)
