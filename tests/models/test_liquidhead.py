"""Liquid head: a table's volume brought to the density in the tank, against the strapping that made the table."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad

from models.chain import chain
from models.correction import ctl
from models.errors import OutOfRange
from models.geometry import UprightCylinder
from models.geometry_tables import table_of
from models.liquidhead import LiquidHeadCorrection, Plates
from models.quantity import Gauging, Product, Shell, Vessel, quantities
from models.strapping import GRAVITY, STEEL_PA, Course, LiquidHead, Strapping, rings_of, table_of_strapping
from tests.reference import rows

COURSES = (Course((47.2001,), 0.008, 1.5), Course((47.1940,), 0.007, 1.5), Course((47.1880,), 0.006, 1.5))
PLATES = tuple(Plates(course.plate_m, course.height_m) for course in COURSES)
DIAMETER = 2 * rings_of(Strapping(COURSES))[1].radius_m
JET = Product("jet", 804.0)


@pytest.mark.parametrize(("key", "course"), [("lh01", 0), ("lh03", 2)])
def test_the_growth_of_one_course_is_the_computed_one(key: str, course: int) -> None:
    """Computed: thin-wall hoop strain at the mean pressure of a course, liquid 4.5 m of 800 kg/m3."""
    row = next(r for r in rows("stock/tank_geometry.csv") if r["id"] == key)
    ring = rings_of(Strapping(COURSES))[course]
    whole = LiquidHeadCorrection(2 * ring.radius_m, PLATES)
    thicker = tuple(p._replace(plate_m=0.1) if k == course else p for k, p in enumerate(PLATES))
    stiff = LiquidHeadCorrection(2 * ring.radius_m, thicker)
    part = whole.correction_m3(4.5, 800.0) - stiff.correction_m3(4.5, 800.0)
    assert part / (1 - ring.plate_m / 0.1) == pytest.approx(float(row["expected"]), abs=float(row["tolerance"]))


@pytest.mark.parametrize("level", [0.4, 1.5, 3.7, 4.5])
def test_the_correction_agrees_with_quadrature(level: float) -> None:
    head = LiquidHeadCorrection(15.0, PLATES, included_kgpm3=1000.0)

    def growth(z: float) -> float:
        plate = PLATES[min(2, int(z / 1.5))].plate_m
        return 2 * math.pi * 7.5 * (790.0 - 1000.0) * GRAVITY * (level - z) * 7.5**2 / (STEEL_PA * plate)

    expected = quad(growth, 0, level, points=[b for b in (1.5, 3.0) if b < level] or None)[0]
    assert head.correction_m3(level, 790.0) == pytest.approx(expected, rel=1e-9)


@pytest.mark.parametrize("level", [0.5, 2.0, 4.4])
def test_a_table_for_one_density_becomes_the_table_for_another(level: float) -> None:
    """A strapping's tables with no head, for 700 and for 900 kg/m3: the correction leads from each to each."""
    tables = {
        rho: table_of_strapping(Strapping(COURSES, head=None if rho == 0 else LiquidHead(rho))) for rho in (0, 700, 900)
    }
    for of, table in tables.items():
        for to, other in tables.items():
            if to:
                head = LiquidHeadCorrection(DIAMETER, PLATES, of or None)
                more = head.correction_m3(level, to)
                # one diameter for three courses of slightly other radii: 5e-4 of the correction
                found, expected = table.volume_m3(level) + more, other.volume_m3(level)
                assert found == pytest.approx(expected, abs=2e-3 * abs(more) + 1e-9)


def vessel(included: float | None) -> Vessel:
    head = LiquidHeadCorrection(10.0, (Plates(0.008, 6.0), Plates(0.006, 6.0), Plates(0.006, 1.0)), included)
    return Vessel(table_of(UprightCylinder(10, 13)), 13.5, Shell(1.12e-5), head=head)


def test_the_chain_shows_the_head_and_takes_it_in_before_the_shell() -> None:
    found = chain(vessel(None), JET, Gauging(12.0, 30.0, 0.1))
    value = {step.symbol: step.value for step in found.steps}
    assert value["LHC"] == pytest.approx(
        vessel(None).head.correction_m3(12.0, 804.0 * ctl("jet", 804.0, 30.0))  # type: ignore[union-attr]
    )
    assert 0.1 < value["LHC"] < 1.0
    assert value["GOV"] == pytest.approx((value["TOV"] + value["LHC"] - value["FW"]) * value["CTSh"])
    rules = {step.symbol: step.rule for step in found.steps}
    assert rules["LHC"].startswith("growth of the shell under rho_b x CTL, table without liquid head")
    assert rules["GOV"] == "(TOV + LHC - FW) x CTSh, API MPMS 12.1.1"


def test_a_table_made_for_the_density_in_the_tank_needs_no_correction() -> None:
    observed = 804.0 * ctl("jet", 804.0, 30.0)
    assert quantities(vessel(observed), JET, Gauging(12.0, 30.0, 0.0)).head_m3 == pytest.approx(0.0, abs=1e-12)
    assert quantities(vessel(1000.0), JET, Gauging(12.0, 30.0, 0.0)).head_m3 < 0


def test_without_a_temperature_there_is_no_density_and_so_no_gov() -> None:
    q = quantities(vessel(None), JET, Gauging(12.0, None, 0.0))
    assert (q.tov_m3 is None, q.head_m3, q.gov_m3) == (False, None, None)


@given(st.floats(0, 13), st.floats(0, 13), st.floats(620, 1100))
def test_more_liquid_bulges_more(a: float, b: float, density: float) -> None:
    head = vessel(None).head
    assert head is not None
    low, high = sorted((a, b))
    assert 0 <= head.correction_m3(low, density) <= head.correction_m3(high, density)


@pytest.mark.parametrize("courses", [(), (Plates(0.0005, 1.8),), (Plates(0.008, 9.0),)])
def test_a_shell_that_cannot_be_is_refused(courses: tuple[Plates, ...]) -> None:
    with pytest.raises(OutOfRange, match="course"):
        LiquidHeadCorrection(10.0, courses)
