"""Densities of samples, products and water."""

import pytest

from models import vcf
from models.density import (
    DENSITY_RANGES,
    DensityMeter,
    DensityRange,
    base_density_of_sample,
    certificate_objection,
    degapi_of_kgpm3,
    density_objection,
    kgpm3_of_degapi,
    rebased_kgpm3,
    water_kgpm3,
)
from models.errors import OutOfRange
from tests.models.stock_cases import cases
from tests.reference import rows


@pytest.mark.parametrize("row", cases("water_density", lambda r: "CIPM" in r["source"] or "regulation" in r["source"]))
def test_water_agrees_with_published_and_computed_densities(row: dict[str, str]) -> None:
    """The published annex is 3 to 4e-3 lower than CIPM (older scale, air in the water): its tolerance covers that."""
    assert water_kgpm3(float(row["t_degC"])) == pytest.approx(float(row["rho_kgm3"]), abs=float(row["tolerance"]))


def test_water_at_60_degF_lies_beside_the_figure_of_the_volume_correction() -> None:
    """Published: 999.016 kg/m3 in API MPMS 11.1-2004; CIPM 2001 gives 999.017."""
    assert water_kgpm3(vcf.SIXTY_DEGF) == pytest.approx(vcf.WATER_60_KGPM3, abs=1.5e-3)


@pytest.mark.parametrize("row", cases("rounding_unit_checks", lambda r: r["quantity"] == "kgm3_to_API"))
def test_api_gravity_agrees_with_the_standards_own_figures(row: dict[str, str]) -> None:
    """Published: API MPMS 11.1-2004, 11.1.5.1, as API's test code has it."""
    density, expected = float(row["input"]), float(row["expected"])
    assert degapi_of_kgpm3(density) == pytest.approx(expected, rel=1e-9)
    assert kgpm3_of_degapi(expected) == pytest.approx(density, rel=1e-8)


@pytest.mark.parametrize("row", cases("rounding_unit_checks", lambda r: r["quantity"] == "kgm3_to_RD60"))
def test_relative_density_is_by_the_standards_own_water(row: dict[str, str]) -> None:
    """Published: API MPMS 11.1-2004, 11.1.5.1, as API's test code has it."""
    assert float(row["input"]) / vcf.WATER_60_KGPM3 == pytest.approx(float(row["expected"]), rel=1e-9)


@pytest.mark.parametrize("row", cases("water_density", lambda r: r["tolerance"] == "" or "11.1" in r["source"]))
def test_water_lies_beside_the_figures_of_volume_correction(row: dict[str, str]) -> None:
    """Published, rounded and of several years: 999.016 (2004) and 999.012 (1980) at 60 degF, 999.102 at 15 degC (API
    MPMS 11.5); the CIPM formula of 2001 lies within 0.006 kg/m3 of all three, and within 0.0015 of the two newer."""
    found = water_kgpm3(float(row["t_degC"]))
    assert found == pytest.approx(float(row["rho_kgm3"]), abs=0.006 if "1980" in row["source"] else 0.0015)


def test_jet_fuel_is_held_to_its_range() -> None:
    """Secondary: ASTM D1655 Table 1."""
    low, high = next(r["value"] for r in rows("stock/jetfuel.csv") if r["quantity"].startswith("Jet A / A-1")).split(
        ".."
    )
    assert DENSITY_RANGES["jet"][:2] == (float(low), float(high))
    assert density_objection("jet", 775.0) is None
    assert density_objection("jet", 840.0) is None
    assert "774.9" in str(density_objection("jet", 774.9))
    assert "840.1" in str(density_objection("jet", 840.1))
    assert density_objection("gasoline", 700.0) is None


def test_a_site_may_have_a_range_of_its_own() -> None:
    own = DensityRange(820.0, 845.0, "site file")
    assert density_objection("fuel oil", 830.0, limits=own) is None
    assert "819.9 kg/m3 at 15 degC is outside of 820 to 845" in str(density_objection("fuel oil", 819.9, limits=own))
    assert "(site file)" in str(density_objection("jet", 800.0, limits=own))
    assert "840" in str(density_objection("special", 840.0, limits=DensityRange(600, 610, "x"), alpha60_per_degF=5e-4))
    assert density_objection("fuel oil", 300.0, 20.0, own) is None  # the volume correction refuses that by itself


def test_the_range_is_judged_at_15_degC_whatever_the_base() -> None:
    at_20 = rebased_kgpm3("jet", 775.2, 15.0, 20.0)
    assert at_20 < 775
    assert density_objection("jet", at_20, 20.0) is None


def test_a_hydrometer_and_a_densitometer_differ_by_the_glass() -> None:
    glass, none = (base_density_of_sample("jet", 793.0, 31.0, meter) for meter in DensityMeter)
    assert none - glass == pytest.approx(0.3, abs=0.02)  # computed: 793 x 23e-6 x 16


@pytest.mark.parametrize("base", [15.0, 20.0, vcf.SIXTY_DEGF])
def test_at_the_base_a_sample_is_its_own_density(base: float) -> None:
    for meter in DensityMeter:
        assert base_density_of_sample("jet", 804.0, base, meter, base_degC=base) == pytest.approx(804.0, abs=1e-8)


def test_a_sample_far_from_its_certificate_is_objected_to() -> None:
    assert certificate_objection(803.0, 800.0) is None
    assert "+3.1 kg/m3" in str(certificate_objection(803.1, 800.0))


@pytest.mark.parametrize(
    ("words", "call"),
    [
        ("CIPM", lambda: water_kgpm3(41)),
        ("15 degC only", lambda: base_density_of_sample("jet", 800, 20, DensityMeter.HYDROMETER, base_degC=20.0,
                                                         edition="1980 tables")),
        ("no density", lambda: kgpm3_of_degapi(-131.5)),
        ("no API gravity", lambda: degapi_of_kgpm3(0.0)),
        ("no edition", lambda: base_density_of_sample("jet", 800, 20, DensityMeter.HYDROMETER, edition="x")),
        ("observed density", lambda: base_density_of_sample("jet", 300, 20, DensityMeter.HYDROMETER)),
    ],
)  # fmt: skip
def test_what_is_out_of_range_is_refused(words: str, call: object) -> None:
    with pytest.raises(OutOfRange, match=words):
        call()  # type: ignore[operator]
