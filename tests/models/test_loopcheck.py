"""The arithmetic of a five-point loop check against computed cases, a linear program and laws."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import linprog

from models.errors import OutOfRange
from models.loopcheck import POINTS_MA, SEQUENCE, Direction, Step, evaluate, steady, step_of
from tests.reference import rows

CASES = rows("signal/loop_calibration.csv")


def numbers(text: str) -> list[float]:
    return [float(part) for part in text.split(";")]


def run(up: list[float], down: list[float]) -> list[Step]:
    upward = [Step(p, Direction.UP, p, mA) for p, mA in zip(POINTS_MA, up, strict=True)]
    return upward + [Step(p, Direction.DOWN, p, mA) for p, mA in zip(POINTS_MA, down, strict=True)]


@pytest.mark.parametrize("row", CASES, ids=[row["id"] for row in CASES])
def test_the_computed_calibrations_come_out(row: dict[str, str]) -> None:
    """Source: in the row ("computed", with its formulae)."""
    steps = run(numbers(row["up_mA"]), numbers(row["down_mA"]))
    said = evaluate(steps, 0.25)
    errors = [step.error_percent for step in steps]
    assert errors[:5] == pytest.approx(numbers(row["err_up_pct_span"]), abs=6e-5)  # printed to 4 decimals
    assert errors[5:] == pytest.approx(numbers(row["err_down_pct_span"]), abs=6e-5)
    assert said.zero_percent == pytest.approx(float(row["zero_err_pct"]), abs=6e-5)
    assert said.span_percent == pytest.approx(float(row["span_err_pct"]), abs=6e-5)
    assert said.terminal_percent == pytest.approx(float(row["nonlin_terminal_pct"]), abs=6e-5)
    assert said.hysteresis_percent == pytest.approx(float(row["hysteresis_pct"]), abs=6e-5)
    assert said.largest_percent == pytest.approx(float(row["max_abs_err_pct"]), abs=6e-5)
    assert said.passes is (row["within_0.25pct"] == "1")


def test_a_published_example_of_errors_and_hysteresis() -> None:
    """Source: an example table of a public calibration calculator, 4-20 mA, 0 to 100 psi: five rows of ascending and
    descending outputs with errors of 0.02, 0.03, 0.01, -0.02 and 0.05 mA upward; percent of span computed (x / 16)."""
    steps = run([4.02, 8.03, 12.01, 15.98, 20.05], [4.01, 8.02, 12.0, 15.97, 20.03])
    assert [s.shown_mA - s.applied_mA for s in steps[:5]] == pytest.approx([0.02, 0.03, 0.01, -0.02, 0.05])
    said = evaluate(steps, 0.25)
    assert said.largest_percent == pytest.approx(100 * 0.05 / 16)
    assert said.hysteresis_percent == pytest.approx(100 * 0.02 / 16)
    assert said.passes is False


def test_the_sequence_goes_from_4_to_20_and_back() -> None:
    assert [point for point, _ in SEQUENCE] == [4, 8, 12, 16, 20, 20, 16, 12, 8, 4]


def test_an_error_is_against_what_was_applied_not_against_the_point() -> None:
    assert step_of(12.0, Direction.UP, 12.04, 12.04).error_percent == 0
    assert step_of(12.0, Direction.UP, 12.00, 12.04).error_percent == pytest.approx(0.25)


def test_a_run_that_is_not_whole_has_no_verdict_unless_it_failed_already() -> None:
    part = [Step(4.0, Direction.UP, 4.0, 4.0), Step(8.0, Direction.UP, 8.0, 8.01)]
    said = evaluate(part, 0.25)
    assert said.passes is None
    assert (said.span_percent, said.terminal_percent, said.hysteresis_percent) == (None, None, None)
    assert len(said.missing) == 8
    assert evaluate([*part, Step(12.0, Direction.UP, 12.0, 12.1)], 0.25).passes is False
    assert evaluate([], 0.25).largest_percent is None


def test_an_error_of_just_the_limit_passes() -> None:
    """Simple acceptance: |error| <= limit. 0.04 mA of 16 mA are 0.25 %."""
    assert evaluate(run([4.04, 8.04, 12.04, 16.04, 20.04], [4.04, 8.04, 12.04, 16.04, 20.04]), 0.25).passes is True


@pytest.mark.parametrize(
    ("point", "applied", "shown", "words"),
    [
        (5.0, 5.0, 5.0, "none of the five points"),
        (8.0, 8.6, 8.0, "more than 0.5 mA from the point"),
        (8.0, float("nan"), 8.0, "more than 0.5 mA"),
        (8.0, 8.0, 26.0, "allowed is 0 to 25 mA"),
        (8.0, 8.0, float("nan"), "allowed is 0 to 25 mA"),
    ],
)
def test_what_is_no_step_is_refused(point: float, applied: float, shown: float, words: str) -> None:
    with pytest.raises(OutOfRange, match=words):
        step_of(point, Direction.UP, applied, shown)


errors_mA = st.lists(st.floats(-0.5, 0.5), min_size=5, max_size=5)


@given(errors_mA, errors_mA)
def test_independent_linearity_is_the_best_line_that_a_linear_program_finds(up: list[float], down: list[float]) -> None:
    """Against scipy's HiGHS: least t with |mean error - a - b x| <= t at the five points."""
    steps = run(
        [p + e for p, e in zip(POINTS_MA, up, strict=True)], [p + e for p, e in zip(POINTS_MA, down, strict=True)]
    )
    x = np.array(POINTS_MA)
    y = (np.array([s.error_percent for s in steps[:5]]) + np.array([s.error_percent for s in steps[5:]])) / 2
    ones = np.ones(5)
    a_ub = np.vstack([np.column_stack([-ones, -x, -ones]), np.column_stack([ones, x, -ones])])
    found = linprog([0, 0, 1], A_ub=a_ub, b_ub=np.concatenate([-y, y]), bounds=[(None, None), (None, None), (0, None)])
    said = evaluate(steps, 1.0)
    assert said.independent_percent == pytest.approx(found.x[2], abs=1e-6)


@given(errors_mA, errors_mA, st.floats(-0.3, 0.3))
def test_laws_of_a_run(up: list[float], down: list[float], shift: float) -> None:
    steps = run(
        [p + e for p, e in zip(POINTS_MA, up, strict=True)], [p + e for p, e in zip(POINTS_MA, down, strict=True)]
    )
    said = evaluate(steps, 1.0)
    moved = evaluate([s._replace(shown_mA=s.shown_mA + shift) for s in steps], 1.0)
    assert said.independent_percent is not None
    assert said.terminal_percent is not None
    assert said.independent_percent <= said.terminal_percent + 1e-9
    assert moved.hysteresis_percent == pytest.approx(said.hysteresis_percent, abs=1e-9)
    assert moved.terminal_percent == pytest.approx(said.terminal_percent, abs=1e-9)
    assert moved.independent_percent == pytest.approx(said.independent_percent, abs=1e-9)
    assert moved.span_percent == pytest.approx(said.span_percent, abs=1e-9)
    assert moved.zero_percent == pytest.approx(said.zero_percent + 100 * shift / 16, abs=1e-9)


def test_steady_is_the_mean_of_the_newest_samples_when_they_lie_together() -> None:
    assert steady([12.0, 12.0], 3, 0.1) is None
    assert steady([4.0, 12.001, 12.003, 12.002], 3, 0.1) == pytest.approx((12.002, 0.002, 3))
    assert steady([12.0, 12.0, 12.02], 3, 0.1) is None  # 0.02 mA are 0.125 % of span
