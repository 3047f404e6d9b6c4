"""Units at the edge against published conversion factors (NIST SP 811, NIST Handbook 44 Appendix C)."""

import pytest

from gaugehouse.sitefile.quantities import convert, parse
from models.strapping import GRAVITY
from tests.reference import rows

SPELLED = {
    "inch": "inch",
    "foot": "ft",
    "pound avoirdupois": "lb",
    "US gallon": "gal",
    "barrel (42 US gal)": "bbl",
    "barrel": "bbl",
    "imperial gallon": "imperial_gallon",
    "imp gal": "imperial_gallon",
    "cubic foot": "ft3",
    "short ton": "short_ton",
    "long ton": "long_ton",
    "psi": "psi",
    "lb/US gal": "lb/gal",
    "US gal": "gal",
}
USED = [row for row in rows("stock/units.csv") if row["unit"] in {*SPELLED, "m3"} and row["in"]]


@pytest.mark.parametrize("row", USED, ids=lambda row: f"{row['unit']} in {row['in']}")
def test_a_unit_is_as_large_as_nist_says(row: dict[str, str]) -> None:
    unit, to = (SPELLED.get(name, name) for name in (row["unit"], row["in"]))
    digits = len(row["value"].replace(".", "").lstrip("0"))
    assert convert(1.0, unit, to) == pytest.approx(float(row["value"]), rel=10 ** -(digits - 1)), row["source"]


@pytest.mark.parametrize(
    "row", [r for r in rows("stock/rounding_unit_checks.csv") if r["quantity"] == "F_to_C"], ids=lambda row: row["id"]
)
def test_degrees_fahrenheit_are_those_of_the_volume_correction(row: dict[str, str]) -> None:
    """Published: API MPMS 11.1-2004, 11.1.5.1, as API's test code has it."""
    assert parse(f"{row['input']} degF", "degC", "") == pytest.approx(float(row["expected"]), rel=1e-9), row["source"]


def test_the_standard_fall_is_that_of_the_liquid_head() -> None:
    """Exact, NIST SP 811: 9.80665 m/s2."""
    row = next(r for r in rows("stock/units.csv") if r["unit"] == "g_n")
    assert float(row["value"]) == GRAVITY


def test_all_rows_that_a_fuel_farm_meets_are_checked() -> None:
    assert len(USED) >= 13


@pytest.mark.parametrize(
    ("text", "degC"), [("59 degF", 15.0), ("60 degF", 140 / 9), ("288.15 K", 15.0), ("-40 degF", -40)]
)
def test_offset_scales_of_temperature_are_scales(text: str, degC: float) -> None:
    """Exact: t/degC = (t/degF - 32) / 1.8; T/K = t/degC + 273.15. Source: NIST SP 811, B.8."""
    assert parse(text, "degC", "15 degC") == pytest.approx(degC, abs=1e-9)
