"""Budgets of stock and of movements: a computed example, and Monte Carlo (JCGM 101) as the independent check."""

import math

import numpy as np
import pytest

from models.arrays import FastTable
from models.arrays import ctl as ctl_of_rows
from models.certificate import CapacityCertificate, TankForm
from models.correction import Edition
from models.errors import OutOfRange
from models.geometry import LyingCylinder, UprightCylinder
from models.geometry_tables import table_of
from models.quantity import Gauging, Product, Shell, Vessel, quantities
from models.roof import FloatingRoof
from models.stock_budget import TABLE_FADES, Accuracy, Figure, Rest, accuracy_of, stock_budget
from models.uncertainty import Budget, Known, Term, difference, expanded, from_dips, rectangular
from tests.reference import rows

NONE = Known(0.0, "left out")
PAPER = CapacityCertificate("SIM-17", "simulated laboratory", "2020-05-04", TankForm.UPRIGHT, 13.5, "datum plate")
UPRIGHT = Vessel(table_of(UprightCylinder(10, 13)), 13.5, Shell(1.12e-5))
JET = Product("jet", 804.0)


def only(**known: Known) -> Accuracy:
    """An accuracy in which all is exact but what is named."""
    fields = {name: NONE for name in Accuracy.__dataclass_fields__}
    return Accuracy(**(fields | known))


EXAMPLE = {row["term"]: row for row in rows("stock/uncertainty_example_computed.csv")}
VESSEL15 = Vessel(table_of(UprightCylinder(15, 12)), 12.5, water_measured=False)
GIVEN = only(
    level_zero_m=rectangular(0.004, "example"),
    table_frac=expanded(0.002, 2, "example"),
    temperature_probe_degC=rectangular(0.5, "example"),
    density_kgpm3=rectangular(0.5, "example"),
)
AT = Gauging(6.0, 25.0)


def test_defaults_are_the_figures_of_the_standards() -> None:
    """API MPMS 3.1B (factory +-1 mm; installed +-4 mm from memory), OIML R 85 class 2 (from memory), JCGM 100 4.3.7 and
    6.3 (from memory: half-width by sqrt 3, k = 2)."""
    of = {row["quantity"]: row["value"] for row in rows("stock/tolerances.csv")}
    known = accuracy_of(None)
    half_mm = {name: float(of[name].removeprefix("+-")) for name in of if of[name].startswith("+-")}
    assert known.level_zero_m.standard == pytest.approx(half_mm["level installed, custody"] / 1000 / math.sqrt(3))
    factory = half_mm["level, automatic gauge, custody, factory"]
    assert known.level_repeat_m.standard == pytest.approx(factory / 1000 / math.sqrt(3))
    class_2 = float(of["level OIML class 2 / 3 uninstalled"].split()[0])
    assert known.level_span_frac.standard == pytest.approx(class_2 / 100 / math.sqrt(3))
    assert of["rectangular half-width to standard uncertainty"] == "a/sqrt(3)"
    assert of["expanded uncertainty"] == f"k={Budget('x', 1.0, 'm3', ()).coverage:g} approx 95 %"


def test_the_computed_example_comes_out() -> None:
    """Computed, not published: D 15 m, h 6 m, 25 degC, 800 kg/m3, 1980 tables unrounded."""
    product = Product("jet", 800.0, edition=Edition.TABLES_1980)
    budget = stock_budget(VESSEL15, product, AT, GIVEN)
    gsv = next(float(r["value"]) for k, r in EXAMPLE.items() if k.startswith("GSV (D 15"))
    assert budget.value == pytest.approx(gsv, abs=2e-6)
    relative = {term.name: abs(term.contribution) / budget.value for term in budget.terms}
    assert relative["level zero"] == pytest.approx(float(EXAMPLE["level"]["value"]), rel=2e-4)
    assert relative["temperature probe"] == pytest.approx(float(EXAMPLE["temperature"]["value"]), rel=1e-4)
    assert relative["density"] == pytest.approx(float(EXAMPLE["density term in VCF"]["value"]), abs=1e-7)
    table = math.hypot(relative["capacity table, scale"], relative["capacity table, local"])
    assert table == pytest.approx(float(EXAMPLE["relative std uncertainty, tank table"]["value"]))
    combined = float(EXAMPLE["combined u_c(V15)/V15"]["value"])
    assert budget.standard / budget.value == pytest.approx(combined, rel=1e-4)
    assert budget.expanded / budget.value == pytest.approx(float(EXAMPLE["expanded, k=2"]["value"]), rel=1e-4)
    mass = stock_budget(VESSEL15, product, AT, GIVEN, Figure.MASS)
    # the file adds the density's own 0.0003608 to the whole budget; here the two parts of one error are one input, and
    # as VCF rises with density they add up instead: 0.0003608 + 0.0000068
    expected = float(EXAMPLE["combined u_c(mass)/mass"]["value"])
    assert mass.standard / mass.value == pytest.approx(expected, rel=3e-3)


def test_the_edition_of_2004_gives_its_own_figure() -> None:
    """Computed."""
    found = quantities(VESSEL15, Product("jet", 800.0), AT).gsv_m3
    assert found == pytest.approx(float(EXAMPLE["GSV with 2004 method"]["value"]), abs=2e-6)


DRAWS = 200_000


def draws(vessel: Vessel, product: Product, at: Gauging, accuracy: Accuracy, seed: int) -> tuple[float, float]:
    """Mean and standard deviation of GSV by Monte Carlo (JCGM 101), from the array forms, all errors normal."""
    rng = np.random.default_rng(seed)

    def error(known: Known) -> np.ndarray:
        return rng.normal(0.0, 1.0, DRAWS) * known.standard

    assert at.innage_m is not None
    assert at.liquid_degC is not None
    level = at.innage_m * (1 + error(accuracy.level_span_frac))
    level += error(accuracy.level_zero_m) + error(accuracy.level_repeat_m)
    t = at.liquid_degC + error(accuracy.temperature_probe_degC) + error(accuracy.temperature_profile_degC)
    table = FastTable(vessel.table)
    volume = table.volume_m3(level)
    if vessel.water_measured:
        volume -= table.volume_m3((at.water_m or 0.0) + error(accuracy.water_m))
    volume *= 1 + error(accuracy.table_frac)
    if vessel.shell is not None:
        a = vessel.shell.expansion_per_degC * (1 + error(accuracy.shell_expansion_frac))
        ambient = t if at.ambient_degC is None else at.ambient_degC
        shell = (t if at.ambient_degC is None else (7 * t + ambient) / 8) + error(accuracy.shell_degC)
        volume *= (1 + a * (shell - vessel.shell.reference_degC)) ** 2
    rho = product.base_density_kgpm3 + error(accuracy.density_kgpm3)
    gsv = volume * ctl_of_rows(product.group, rho, t)
    return float(gsv.mean()), float(gsv.std())


LYING = Vessel(table_of(LyingCylinder(2.5, 10)), 2.7)


@pytest.mark.parametrize(
    ("vessel", "at"),
    [
        (UPRIGHT, Gauging(9.2, 32.0, 0.05, ambient_degC=20.0)),
        (UPRIGHT, Gauging(0.8, -5.0, 0.05)),
        (LYING, Gauging(1.3, 28.0, 0.08)),
    ],
    ids=["upright warm", "upright nearly empty", "lying"],
)
@pytest.mark.parametrize("paper", [PAPER, None], ids=["certificate", "drawing"])
def test_monte_carlo_finds_the_same_spread(vessel: Vessel, at: Gauging, paper: CapacityCertificate | None) -> None:
    """Independent check (JCGM 101): 200 000 draws know a standard deviation to about 0.2 %."""
    accuracy = accuracy_of(paper)
    budget = stock_budget(vessel, JET, at, accuracy)
    mean, spread = draws(vessel, JET, at, accuracy, 20)
    assert budget.standard == pytest.approx(spread, rel=0.015)
    assert budget.value == pytest.approx(mean, abs=0.02 * spread + 3e-5 * budget.value)


def test_monte_carlo_finds_the_same_spread_of_a_movement() -> None:
    """Two readings share zero, span, scale, probe and density errors; the local table error fades with height."""
    accuracy = accuracy_of(PAPER)
    first, second = Gauging(4.0, 25.0, 0.0), Gauging(5.5, 27.0, 0.0)
    vessel = Vessel(UPRIGHT.table, 13.5, water_measured=False)
    found = difference(stock_budget(vessel, JET, first, accuracy), stock_budget(vessel, JET, second, accuracy))
    rng = np.random.default_rng(7)
    n = DRAWS

    def error(known: Known) -> np.ndarray:
        return rng.normal(0.0, 1.0, n) * known.standard

    zero, span, probe = (
        error(k) for k in (accuracy.level_zero_m, accuracy.level_span_frac, accuracy.temperature_probe_degC)
    )
    rho = 804.0 + error(accuracy.density_kgpm3)
    half = Known(accuracy.table_frac.standard / math.sqrt(2), "half of the variance")
    scale, one, other = error(half), error(half), error(half)
    r = math.exp(-((math.log(5.5 / 4.0) / TABLE_FADES) ** 2) / 2)
    locals_ = (one, r * one + math.sqrt(1 - r * r) * other)
    table = FastTable(vessel.table)
    gsv = []
    for at, local in zip((first, second), locals_, strict=True):
        assert at.innage_m is not None
        assert at.liquid_degC is not None
        level = at.innage_m * (1 + span) + zero + error(accuracy.level_repeat_m)
        t = at.liquid_degC + probe + error(accuracy.temperature_profile_degC)
        gsv.append(table.volume_m3(level) * (1 + scale + local) * ctl_of_rows("jet", rho, t))
    assert found.standard == pytest.approx(float((gsv[1] - gsv[0]).std()), rel=0.015)
    assert found.value == pytest.approx(float((gsv[1] - gsv[0]).mean()), abs=0.01)


def test_what_two_readings_share_cancels_in_a_movement() -> None:
    """A zero offset of the gauge cancels in an upright tank; repeatability does not."""
    vessel = Vessel(UPRIGHT.table, 13.5, water_measured=False)
    zero = only(level_zero_m=Known(0.004, "x"))
    low, high = (stock_budget(vessel, JET, Gauging(h, 15.0), zero) for h in (3.0, 9.0))
    assert low.standard == pytest.approx(0.004 * 78.54, rel=1e-4)
    assert difference(low, high).standard == pytest.approx(0.0, abs=1e-9)
    repeat = only(level_repeat_m=Known(0.001, "x"))
    low, high = (stock_budget(vessel, JET, Gauging(h, 15.0), repeat) for h in (3.0, 9.0))
    assert difference(low, high).standard == pytest.approx(math.sqrt(2) * 0.001 * 78.54, rel=1e-4)
    span = only(level_span_frac=Known(0.001, "x"))
    low, high = (stock_budget(vessel, JET, Gauging(h, 15.0), span) for h in (3.0, 9.0))
    assert difference(low, high).standard == pytest.approx(0.001 * 6.0 * 78.54, rel=1e-4)


def test_the_tables_error_in_a_small_movement_grows_with_what_moved() -> None:
    vessel = Vessel(UPRIGHT.table, 13.5, water_measured=False)
    table = only(table_frac=Known(0.001, "x"))
    opening = stock_budget(vessel, JET, Gauging(5.0, 15.0), table)
    moved = [difference(opening, stock_budget(vessel, JET, Gauging(5 + d, 15.0), table)).standard for d in (0.01, 0.1)]
    assert moved[1] / moved[0] == pytest.approx(10, rel=0.02)
    assert moved[0] < 0.01 * opening.standard


@pytest.mark.parametrize("top_m", [3.0, 7.0, 12.0])
def test_a_delivery_of_two_metres_is_known_by_the_table_about_as_well_as_the_certificate_says(top_m: float) -> None:
    """French order of 16 April 1999: an upright tank's table holds its share for deliveries of 2 m on (secondary)."""
    vessel = Vessel(UPRIGHT.table, 13.5, water_measured=False)
    table = only(table_frac=Known(0.0015, "0.3 % at k = 2"))
    low, high = (stock_budget(vessel, JET, Gauging(h, 15.0), table) for h in (top_m - 2.0, top_m))
    change = difference(low, high)
    assert 1.0 <= change.standard / change.value / 0.0015 <= 1.3


def test_a_new_sample_between_the_readings_undoes_the_shared_density() -> None:
    vessel = Vessel(UPRIGHT.table, 13.5, water_measured=False)
    density = only(density_kgpm3=Known(0.5, "x"))
    a, b = (stock_budget(vessel, JET, Gauging(5.0, 30.0), density, Figure.MASS) for _ in range(2))
    assert difference(a, b).standard == pytest.approx(0.0, abs=1e-6)
    assert difference(a, b, {"density": 0.0}).standard == pytest.approx(math.sqrt(2) * a.standard)


def test_the_largest_term_is_named_with_its_source() -> None:
    drawing = stock_budget(UPRIGHT, JET, Gauging(9.2, 25.0, 0.0), accuracy_of(None, Rest.AT_REST))
    assert drawing.largest.name.startswith("capacity table")
    assert "from drawing dimensions" in drawing.largest.source
    assert drawing.expanded / drawing.value >= 0.01
    sure = stock_budget(UPRIGHT, JET, Gauging(9.2, 25.0, 0.0), accuracy_of(PAPER, Rest.AFTER_RECEIPT))
    assert sure.largest.name == "temperature profile"
    assert "after a receipt" in sure.largest.source
    assert all(term.source for term in sure.terms)


def test_water_that_nobody_measures_is_said_not_hidden() -> None:
    vessel = Vessel(UPRIGHT.table, 13.5, water_measured=False)
    budget = stock_budget(vessel, JET, Gauging(9.2, 25.0), accuracy_of(PAPER))
    water = next(term for term in budget.terms if term.name == "free water")
    assert (water.contribution, water.source) == (0.0, "not measured: not in this budget")


def test_a_roofs_weight_has_its_place() -> None:
    vessel = Vessel(UPRIGHT.table, 13.5, None, FloatingRoof(20_000, 1.0, 1.2))
    budget = stock_budget(vessel, JET, Gauging(9.2, 15.0, 0.0), only(roof_weight_frac=Known(0.01, "x")))
    assert budget.standard == pytest.approx(0.01 * 20_000 / 802.9, rel=1e-3)


def test_the_sites_own_dips_take_the_place_of_the_defaults() -> None:
    found = from_dips([0.002, 0.004, 0.003, 0.003], 0.0005)
    assert found.bias_m == pytest.approx(0.003)
    assert found.repeat.standard == pytest.approx(0.000816, abs=1e-6)  # computed: sqrt(2e-6 / 3)
    assert found.zero.standard == pytest.approx(math.sqrt(2e-6 / 3 / 4 + 0.0005**2 + 0.003**2))
    accuracy = accuracy_of(PAPER, level_zero_m=found.zero, level_repeat_m=found.repeat)
    assert "4 dip comparisons" in accuracy.level_zero_m.source
    with pytest.raises(OutOfRange, match="at least 3"):
        from_dips([0.002, 0.004], 0.0005)


def test_no_figure_no_budget() -> None:
    with pytest.raises(OutOfRange, match="no budget"):
        stock_budget(UPRIGHT, JET, Gauging(9.2, None, 0.0), accuracy_of(PAPER))


def test_only_like_figures_subtract() -> None:
    gsv, mass = (
        stock_budget(UPRIGHT, JET, Gauging(9.2, 20.0, 0.0), accuracy_of(PAPER), figure) for figure in Figure
    )  # fmt: skip
    with pytest.raises(OutOfRange, match="no difference"):
        difference(gsv, mass)


def test_an_input_on_one_side_only_is_independent() -> None:
    a = Budget("GSV", 10.0, "m3", (Term("gauge", 0.3, "m3", 1.0, 1.0, "x"),))
    b = Budget("GSV", 12.0, "m3", (Term("dip", 0.4, "m3", 1.0, 1.0, "y"),))
    assert difference(a, b).standard == pytest.approx(0.5)
