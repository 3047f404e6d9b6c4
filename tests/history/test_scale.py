"""Figures as whole numbers: what is stored is what is printed."""

import math
from decimal import ROUND_HALF_EVEN, Decimal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from history.scale import BOUNDS, LARGEST, QUALITIES, REASONS, reading_of, rounded, row_of, scaled
from models.reading import QUANTITIES, Bound, Quality, Reading, Reason
from tests.history.samples import NOON_MS, reading


def test_every_word_of_a_reading_has_a_code() -> None:
    assert set(REASONS) == set(Reason)
    assert set(BOUNDS) == set(Bound)
    assert tuple(int(q) for q in QUALITIES) == tuple(range(len(Quality)))


def test_the_codes_in_files_have_not_moved() -> None:
    """A code is a format. Source: this list is the format 1 of the files; it may only grow at its end."""
    assert [str(reason) for reason in REASONS] == [
        "", "BadNoCommunication", "BadCommunicationError", "BadSensorFailure", "BadOutOfRange", "BadDeviceFailure",
        "BadOutOfService", "BadConfigurationError", "UncertainEngineeringUnitsExceeded", "UncertainSubNormal",
    ]  # fmt: skip
    assert [str(bound) for bound in BOUNDS] == ["", "ge", "le"]


def test_the_quantities_are_the_figures_of_a_reading_in_their_order() -> None:
    figures = [name for name in Reading._fields if name in {q.column for q in QUANTITIES}]
    assert figures == [q.column for q in QUANTITIES]


@settings(max_examples=300)
@given(st.floats(-1e6, 1e6), st.sampled_from(QUANTITIES))
def test_a_figure_is_rounded_as_exact_decimal_arithmetic_rounds_it(value: float, quantity) -> None:
    """Source: Python's decimal module (General Decimal Arithmetic), on the exact binary value."""
    exact = Decimal(value).quantize(Decimal(1).scaleb(-quantity.decimals), ROUND_HALF_EVEN)
    assert scaled(value, quantity.decimals) == int(exact.scaleb(quantity.decimals))


def test_a_tie_that_multiplying_first_would_shift_is_rounded_right() -> None:
    assert 7.77335 * 10**4 == 77733.5  # seems a tie and would go up to the even 77734
    assert Decimal.from_float(7.77335) < Decimal("7.77335")  # but the float lies below
    assert scaled(7.77335, 4) == 77733


@settings(max_examples=300)
@given(st.floats(-1e5, 1e5))
def test_what_comes_back_is_the_float_of_the_printed_decimals(value: float) -> None:
    back = rounded(reading(1, NOON_MS, level_m=value))
    for quantity in QUANTITIES:
        given_in = getattr(reading(1, NOON_MS, level_m=value), quantity.column)
        assert getattr(back, quantity.column) == float(f"{given_in:.{quantity.decimals}f}")
    assert rounded(back) == back


@settings(max_examples=300)
@given(st.integers(-(2**39), 2**39), st.sampled_from(QUANTITIES), st.integers(-2, 2))
def test_a_row_rounds_ties_and_their_neighbours_as_a_single_figure_is_rounded(whole: int, quantity, ulps: int) -> None:
    value = (whole + 0.5) / 10**quantity.decimals
    for _ in range(abs(ulps)):
        value = math.nextafter(value, math.inf if ulps > 0 else -math.inf)
    row = row_of(reading(1, NOON_MS)._replace(**{quantity.column: value}))
    assert row[6 + QUANTITIES.index(quantity)] == scaled(value, quantity.decimals)


@pytest.mark.parametrize("value", [float("nan"), float("inf"), -float("inf"), 1e300, LARGEST / 1e5 + 1])
def test_a_figure_of_no_tank_is_refused_by_its_name(value: float) -> None:
    with pytest.raises(ValueError, match="tank T-1, seq 3: water_m"):
        row_of(reading(3, NOON_MS)._replace(water_m=value))


def test_an_unknown_code_is_not_read_as_something_else() -> None:
    row = list(row_of(reading(1, NOON_MS)))
    row[3] = len(REASONS)
    with pytest.raises(IndexError):
        reading_of("T-1", row)
