"""The stock of one tank put together: what a bad input leaves, how quick and full uncertainty agree."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from models.certificate import CapacityCertificate, TankForm
from models.errors import OutOfRange
from models.geometry import LyingCylinder, UprightCylinder
from models.geometry_tables import table_of
from models.quantity import Calculation, Gauging, Product, Shell, Vessel, quantities
from models.roof import FloatingRoof
from models.stock import StockModel
from models.stock_budget import Rest, accuracy_of, stock_budget
from models.uncertainty import COVERAGE, Budget, Term, leading

TABLE = table_of(UprightCylinder(10, 13))
LYING = table_of(LyingCylinder(2.5, 8))
JET = Product("jet", 800.0)
PAPER = CapacityCertificate(
    "SIM-17", "simulated laboratory", "2020-05-04", TankForm.UPRIGHT, 13.5, "datum plate", expanded_frac=0.0015
)
UPRIGHT = Vessel(TABLE, 13.5, Shell(1.12e-5))
ROOFED = Vessel(TABLE, 13.5, Shell(1.12e-5), FloatingRoof(20_000, 1.6, 1.8, 800.0))


def model(vessel: Vessel, paper: CapacityCertificate | None = PAPER) -> StockModel:
    return StockModel(vessel, JET, {rest: accuracy_of(paper, rest) for rest in Rest})


@pytest.mark.parametrize(
    ("vessel", "gauging", "symbol", "words", "given"),
    [
        (UPRIGHT, Gauging(13.2, 20, 0.0), "TOV", "above the top of the capacity table", set()),
        (UPRIGHT, Gauging(-0.1, 20, 0.0), "TOV", "below the datum plate", set()),
        (UPRIGHT, Gauging(9.0, 200, 0.0), "CTL", "outside of the -50 to 150 degC", {"tov_m3", "gov_m3"}),
        (UPRIGHT, Gauging(1.0, 20, 2.0), "FW", "above the product's innage", {"tov_m3", "gov_m3", "gsv_m3"}),
        (UPRIGHT, Gauging(1.0, 20, -0.01), "FW", "below the datum plate", {"tov_m3", "gov_m3", "gsv_m3"}),
        (UPRIGHT, Gauging(1.0, 20, 14.0), "FW", "above the product's innage", {"tov_m3"}),
        (ROOFED, Gauging(1.7, 20, 0.0), "FRA", "critical zone", {"tov_m3"}),
    ],
)
def test_a_daemon_gets_what_a_bad_input_leaves_and_a_person_the_reason(
    vessel: Vessel, gauging: Gauging, symbol: str, words: str, given: set[str]
) -> None:
    q = Calculation(vessel, JET)(gauging)
    (refusal,) = q.refusals
    assert refusal.symbol == symbol
    assert words in refusal.reason
    assert {name for name in ("tov_m3", "gov_m3", "gsv_m3") if getattr(q, name) is not None} == given
    steps = {step.symbol: step for step in model(vessel).steps(q, gauging, None)}
    assert steps[symbol].rule == refusal.reason
    with pytest.raises(OutOfRange, match=words):
        quantities(vessel, JET, gauging)


def test_water_above_the_level_leaves_no_product() -> None:
    assert Calculation(UPRIGHT, JET)(Gauging(1.0, 20, 2.0)).gsv_m3 == 0.0


@pytest.mark.parametrize(
    ("water_m", "quality"), [(1.0, "Good"), (1.003, "Good"), (1.004, "Uncertain"), (2.0, "Uncertain")]
)
def test_water_above_the_level_by_more_than_it_is_known_to_makes_the_stock_uncertain(
    water_m: float, quality: str
) -> None:
    gauging = Gauging(1.0, 20, water_m)
    q = Calculation(UPRIGHT, JET)(gauging)
    steps = {step.symbol: step.quality for step in model(UPRIGHT).steps(q, gauging, None)}
    assert (steps["TOV"], steps["FW"], steps["GSV"]) == ("Good", quality, quality)


def test_a_density_that_no_table_takes_is_refused_at_once() -> None:
    with pytest.raises(OutOfRange, match="610"):
        StockModel(UPRIGHT, Product("jet", 500.0), {rest: accuracy_of(None, rest) for rest in Rest})


@settings(max_examples=80, deadline=None)
@given(
    st.sampled_from([UPRIGHT, Vessel(TABLE, 13.5, water_measured=False), Vessel(LYING, 2.7), ROOFED]),
    st.floats(0.8, 1.0),
    st.floats(-20, 60),
    st.floats(0, 0.2),
    st.one_of(st.none(), st.floats(-20, 40)),
    st.sampled_from(list(Rest)),
)
def test_the_figure_beside_each_reading_is_that_of_the_full_budget(
    vessel: Vessel, part: float, t: float, water: float, ambient: float | None, rest: Rest
) -> None:
    gauging = Gauging(part * vessel.table.top_m, t, water, ambient_degC=ambient)
    found = model(vessel)
    q = found.calculate(gauging)
    u95, budget = found.u95_m3(q, gauging, rest), found.budget(q, gauging, rest)
    assert budget is not None
    assert u95 == pytest.approx(budget.expanded, rel=1e-12)
    assert budget == stock_budget(vessel, JET, gauging, accuracy_of(PAPER, rest))
    assert q == quantities(vessel, JET, gauging)


def test_where_there_is_no_stock_there_is_no_uncertainty_of_it() -> None:
    found = model(UPRIGHT)
    gauging = Gauging(9.0, None, 0.0)
    q = found.calculate(gauging)
    assert found.u95_m3(q, gauging, Rest.AT_REST) is None
    assert found.budget(q, gauging, Rest.AT_REST) is None
    assert found.steps(q, gauging, None)[-1].symbol == "W"


def test_a_tank_at_rest_is_known_better_than_one_just_filled() -> None:
    found = model(UPRIGHT)
    gauging = Gauging(9.0, 25.0, 0.0)
    q = found.calculate(gauging)
    moving, resting = (found.u95_m3(q, gauging, rest) for rest in (Rest.AFTER_RECEIPT, Rest.AT_REST))
    assert moving is not None
    assert resting is not None
    assert resting < moving


def test_the_last_step_names_what_weighs_most_and_by_whose_word() -> None:
    gauging = Gauging(9.0, 25.0, 0.0)
    for paper, words in ((PAPER, "largest: temperature profile"), (None, "from drawing dimensions")):
        found = model(UPRIGHT, paper)
        q = found.calculate(gauging)
        last = found.steps(q, gauging, found.budget(q, gauging, Rest.AFTER_RECEIPT))[-1]
        assert last.symbol == "U95"
        assert words in last.rule
        assert "k = 2" in last.rule


def test_an_input_in_two_parts_weighs_as_one() -> None:
    def term(name: str, contribution: float) -> Term:
        return Term(name, contribution, "m3", 1.0, 0.0, "example")

    budget = Budget("GSV", 100.0, "m3", (term("table, scale", 3.0), term("level", 4.0), term("table, local", 4.0)))
    assert budget.largest.name == "level"
    assert leading(budget) == ("table", 5.0, "example")
    assert budget.expanded == pytest.approx(COVERAGE * 41**0.5)


def test_steps_before_any_reading_are_empty_and_bad() -> None:
    gauging = Gauging()
    found = model(UPRIGHT)
    steps = {step.symbol: step for step in found.steps(found.calculate(gauging), gauging, None)}
    assert {step.quality for symbol, step in steps.items() if symbol in ("h", "TOV", "GOV", "GSV", "m")} == {"Bad"}
    assert all(steps[symbol].value is None for symbol in ("h", "%L", "U", "TOV", "%V", "t", "GOV", "CTL", "GSV", "W"))
