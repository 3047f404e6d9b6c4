"""Breathing against the published coefficients, a published worked example and the gas law."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from models.breathing import (
    BTU_PER_FT2,
    COEFFICIENTS,
    J_PER_CM2,
    PAINTS,
    Edition,
    breathed_m3,
    bulk_degC,
    expansion,
    surface_degC,
    vapour_range_K,
)
from models.errors import OutOfRange
from tests.models.stock_cases import cases
from tests.reference import rows

PSI = 6894.757
WH_M2 = 3600.0


def degC(fahrenheit: float) -> float:
    return (fahrenheit - 32) / 1.8


def coefficient(name: str) -> float:
    return next(float(row["value"]) for row in rows("stock/breathing_coeffs.csv") if row["name"] == name)


EXAMPLE = {row["quantity"]: float(row["value"]) for row in rows("stock/breathing_example.csv")}


@pytest.mark.parametrize(
    ("edition", "names"),
    [
        (Edition.Y2006, ("dTV: coefficient of dTA (2006 edition)", "dTV: coefficient of alpha*I (2006)")),
        (Edition.Y2020, ("dTV: dTA (current)", "dTV: alpha*I (current)")),
    ],
)
def test_the_range_of_the_vapour_space_has_the_published_coefficients(edition: Edition, names: tuple[str, str]) -> None:
    """Source: AP-42 7.1, as the rows name it; degR per Btu/ft2 turned into K per J/m2."""
    per_air, per_sun = COEFFICIENTS[edition][:2]
    assert per_air == coefficient(names[0])
    assert per_sun * BTU_PER_FT2 * 9 / 5 == pytest.approx(coefficient(names[1]), rel=1e-12)


@pytest.mark.parametrize(
    ("edition", "air", "bulk", "sun"),
    [
        (Edition.Y2006, "TLA: TAA", "TLA: TB", "TLA: alpha*I"),
        (Edition.Y2020, "TLA: TAA (current)", "TLA: TB (current)", "TLA: alpha*I (current)"),
    ],
)
def test_the_surface_has_the_published_coefficients(edition: Edition, air: str, bulk: str, sun: str) -> None:
    """Source: AP-42 7.1, as the rows name it."""
    by = COEFFICIENTS[edition]
    assert by.air_surface == coefficient(air)
    assert 1 - by.air_surface == pytest.approx(coefficient(bulk), rel=1e-12)
    assert by.sun_surface * BTU_PER_FT2 * 9 / 5 == pytest.approx(coefficient(sun), rel=1e-12)


@pytest.mark.parametrize(
    ("name", "index"), [("metric dTV: alpha*I", 1), ("metric TLS: alpha*I", 3)], ids=["range", "surface"]
)
def test_the_metric_law_says_the_same_to_its_printed_digits(name: str, index: int) -> None:
    """Source: arrete of 3 October 2010, annex III, K per J/cm2, three digits."""
    per_sun = COEFFICIENTS[Edition.Y2006][index] * J_PER_CM2
    assert per_sun == pytest.approx(coefficient(name), rel=3e-3)


def test_the_metric_law_has_the_same_parts_of_air_and_bulk() -> None:
    """Source: arrete of 3 October 2010, annex III; it is the metric form of the 2006 edition."""
    by = COEFFICIENTS[Edition.Y2006]
    assert by.air_range == coefficient("metric dTV: dTA")
    assert by.air_surface == coefficient("metric TLS: TAM")
    assert 1 - by.air_surface == pytest.approx(coefficient("metric TLS: TLM"), rel=1e-12)


@pytest.mark.parametrize(
    ("name", "index"),
    [("check: 0.028 degR/(Btu/ft2) in K/(J/cm2)", 1), ("check: 0.0079 degR/(Btu/ft2) in K/(J/cm2)", 3)],
)
def test_the_coefficients_turned_into_metric_units(name: str, index: int) -> None:
    """Computed rows: a conversion of units, to their printed digits."""
    assert COEFFICIENTS[Edition.Y2006][index] * J_PER_CM2 == pytest.approx(coefficient(name), rel=2e-4)


@pytest.mark.parametrize("absorptance", [0.17, 0.34, 0.68, 0.97])
def test_the_metric_law_warms_a_bulk_that_nobody_measures_as_much(absorptance: float) -> None:
    """Source: arrete of 3 October 2010, annex III: TLM - TAM = 3.33 alpha - 0.55 K, printed to two digits."""
    row = next(row for row in rows("stock/breathing_coeffs.csv") if row["name"] == "metric TLM - TAM")
    slope, _, offset = row["value"].partition("*alpha-")
    assert bulk_degC(20.0, absorptance) - 20.0 == pytest.approx(float(slope) * absorptance - float(offset), abs=0.01)


@pytest.mark.parametrize("row", cases("breathing_coeffs", lambda row: row["name"].startswith("alpha_solar")))
def test_every_printed_paint_is_there_with_its_two_states(row: dict[str, str]) -> None:
    """Source: arrete of 3 October 2010, annex III."""
    name = row["name"].removeprefix("alpha_solar ").replace(" (brun)", "").replace(" (marron)", "")
    assert PAINTS[name] == (float(row["value"]), float(row["value2"]))


def test_the_worked_example_at_newark_comes_out() -> None:
    """Secondary: a public form after AP-42 7.1 of January 1996; tests/data/stock/breathing_example.csv."""
    sun = EXAMPLE["insolation"] * BTU_PER_FT2
    alpha, air = EXAMPLE["absorptance"], degC(EXAMPLE["air_mean"])
    bulk = bulk_degC(air, alpha)
    assert bulk == pytest.approx(degC(EXAMPLE["bulk"]), abs=0.01)
    range_K = vapour_range_K(EXAMPLE["air_range"] / 1.8, alpha, sun, Edition.Y2006)
    assert range_K * 1.8 == pytest.approx(EXAMPLE["vapour_range"], abs=0.02)
    surface = surface_degC(air, bulk, alpha, sun, Edition.Y2006)
    assert surface == pytest.approx(degC(EXAMPLE["surface_mean"]), abs=0.01)
    assert surface + range_K / 4 == pytest.approx(degC(EXAMPLE["surface_max"]), abs=0.01)
    assert surface - range_K / 4 == pytest.approx(degC(EXAMPLE["surface_min"]), abs=0.01)
    frac = expansion(range_K, surface, vent_range_Pa=EXAMPLE["vent_range"] * PSI, pressure_Pa=14.7 * PSI)
    assert frac == pytest.approx(EXAMPLE["expansion"], abs=8e-5)


MIAMI = rows("stock/breathing_miami_computed.csv")


@pytest.mark.parametrize("row", MIAMI, ids=[f"computed-{row['month']}" for row in MIAMI])
def test_the_miami_months_come_out(row: dict[str, str]) -> None:
    """Computed elsewhere from the open TMY2 file that pvlib ships, by the current edition; no published result."""
    air = float(row["mean_daily_tmax_C"]) - float(row["mean_daily_tmin_C"])
    for alpha in (0.17, 0.68):
        found = vapour_range_K(air, alpha, float(row["I_Wh_m2_d"]) * WH_M2)
        assert found == pytest.approx(float(row[f"dTV_K_alpha{alpha}"]), abs=0.011)


def test_a_breath_is_what_the_gas_law_says() -> None:
    """Computed: 570 m3 that cool by 15 K at 30 degC draw in 28 m3."""
    assert breathed_m3(570, expansion(15, 30)) == pytest.approx(28.2, abs=0.05)
    assert breathed_m3(-1, 0.05) == 0


@given(st.floats(0, 40), st.floats(-20, 60), st.floats(0, 60_000))
def test_a_vent_that_holds_lets_nothing_through_and_none_breathes_less_than_nothing(
    range_K: float, at: float, vent: float
) -> None:
    free, held = expansion(range_K, at), expansion(range_K, at, vent_range_Pa=vent)
    assert 0 <= held <= free


@pytest.mark.parametrize(
    ("air", "alpha", "sun", "told"),
    [(-1, 0.2, 0, "range of a day"), (5, 1.2, 0, "absorptance"), (5, 0.2, 9e9, "insolation")],
)
def test_what_no_day_can_be_is_refused(air: float, alpha: float, sun: float, told: str) -> None:
    with pytest.raises(OutOfRange, match=told):
        vapour_range_K(air, alpha, sun)


def test_a_vapour_heavier_than_the_air_is_refused() -> None:
    with pytest.raises(OutOfRange, match="vapour pressure"):
        expansion(10, 30, vapour_Pa=2e5)
