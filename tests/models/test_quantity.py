"""The static quantity chain against printed examples, and the laws between its figures."""

import re

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from models.airweight import OFFSET_KGPM3, SLOPE, air_at_kgpm3, air_factor, density_in_air_kgpm3, weight_in_air_kg
from models.capacity import CapacityTable
from models.chain import chain
from models.correction import Edition, Form, ctl
from models.errors import OutOfRange
from models.geometry import UprightCylinder
from models.geometry_tables import table_of
from models.quantity import Gauging, Product, Shell, Vessel, quantities
from models.reading import Quality
from models.roof import FloatingRoof
from tests.models.stock_cases import cases
from tests.reference import rows

GALLON_M3, POUND_KG, BARREL_M3 = 0.003785411784, 0.45359237, 0.158987294928  # exact: NIST HB 44 appendix C
STEEL = 1.12e-5
TABLE = table_of(UprightCylinder(10, 13))
VESSEL = Vessel(TABLE, 13.5, Shell(STEEL))
JET = Product("jet", 804.0)


def static(key: str) -> dict[str, str]:
    return next(row for row in rows("stock/static_checks.csv") if row["id"] == key)


def test_the_shell_is_seven_parts_liquid_and_one_part_air() -> None:
    """Published (handbook quoting API MPMS 12.1.1): TL 135, Ta 80 degF -> TSh 128 degF, to a whole degree."""
    shell = Shell(6.2e-6, 60)  # in degF, to keep the example's own numbers
    assert round(shell.temperature_degC(135, 80)) == float(static("sh01")["expected"])


@pytest.mark.parametrize(
    ("key", "shell", "at"), [("sh04", Shell(6.2e-6, 60), 128), ("sh05", Shell(1.12e-5, 15), 40)], ids=["sh04", "sh05"]
)
def test_ctsh_agrees_with_its_computed_value(key: str, shell: Shell, at: float) -> None:
    row = static(key)
    assert row["status"] == "computed"
    assert shell.factor(at) == pytest.approx(float(row["expected"]), abs=float(row["tolerance"]))


def test_a_tanks_volume_grows_three_times_as_its_plates() -> None:
    """Published: NIST weights-and-measures note, 2004: cubical expansion of mild steel 1.86e-5 /degF, which is three
    times the linear 6.2e-6 that CTSh squares; the height that a gauge reads off takes the third part."""
    row = static("al01")
    per_degF = (Shell(6.2e-6, 60).factor(61) - 1) / 2
    assert 3 * per_degF == pytest.approx(float(row["expected"]), abs=float(row["tolerance"]))


def test_an_insulated_shell_is_as_warm_as_its_liquid() -> None:
    assert Shell(STEEL, insulated=True).temperature_degC(40, 0) == 40
    assert Shell(STEEL).temperature_degC(40, None) == 40


def test_the_armys_example_comes_out() -> None:
    """Published (US Army QM 5097/5180): 17181.4 - 255.6 gal, VCF 0.9950 of 56.5 degAPI at 67.5 degF -> 16841 gal."""
    table = CapacityTable([0.0, 0.1, 1.0], [0.0, 255.6 * GALLON_M3, 17181.4 * GALLON_M3])
    density = 141.5 / (56.5 + 131.5) * 999.016
    product = Product("gasoline", density, 140 / 9, form=Form.ROUNDED)
    q = quantities(Vessel(table, 1.2), product, Gauging(1.0, (67.5 - 32) / 1.8, water_m=0.1))
    assert q.gsv_m3 is not None
    assert q.gsv_m3 / GALLON_M3 == pytest.approx(
        float(static("ch05")["expected"]), abs=float(static("ch05")["tolerance"])
    )


def test_a_two_grade_cargo_comes_out() -> None:
    """Published (a public page with a tanker's ullage report): 8161.216 t in vacuo, VCF of the 1980 tables printed."""
    row = static("ch01")
    tov, fw, vcf, rho = ([float(v) for v in re.findall(f"{key} (?:m3 )?([0-9.]*[0-9])", row["inputs"])] for key in
                         ("TOV", "FW", "VCF", "rho15"))  # fmt: skip
    mass = 0.0
    for i in range(2):
        t = 15.0  # the page prints the factor, not the temperature: it goes into the table here
        table = CapacityTable([0, 1, 2], [0, fw[i] * vcf[i], tov[i] * vcf[i]])
        q = quantities(
            Vessel(table, 3), Product("refined", 1000 * rho[i], edition=Edition.TABLES_1980), Gauging(2, t, 1)
        )
        assert q.mass_kg is not None
        mass += q.mass_kg / 1000
    assert mass == pytest.approx(float(row["expected"]), abs=float(row["tolerance"]))


@pytest.mark.parametrize("row", cases("static_checks", lambda r: r["id"][:2] in ("wa", "wb")))
def test_density_in_air_agrees_with_printed_tables(row: dict[str, str]) -> None:
    """Published: ASTM D1555M-00 and D1555M-08e1, Table 1."""
    found = re.search(r"[0-9.]+ \(", row["inputs"])
    assert found is not None
    in_vacuo = 1000 * float(found[0][:-2])
    assert density_in_air_kgpm3(in_vacuo) / 1000 == pytest.approx(float(row["expected"]), abs=float(row["tolerance"]))


@pytest.mark.parametrize("row", cases("static_checks", lambda r: r["id"].startswith("tf")))
def test_the_factors_of_1980_lie_beside_the_line_of_2009(row: dict[str, str]) -> None:
    """Published (Table 56 of 1980): other air and weights, so that its steps lie within 5e-5 of the line's mean."""
    low, high = (float(v) for v in re.findall(r"[0-9]+\.[0-9]", row["inputs"]))
    assert (air_factor(low) + air_factor(high)) / 2 == pytest.approx(float(row["expected"]), abs=5e-5)


@pytest.mark.parametrize("row", cases("static_checks", lambda r: r["id"].startswith("wx")))
def test_weight_over_mass_agrees_with_its_computed_value(row: dict[str, str]) -> None:
    density = float(re.findall(r"[0-9]+\.[0-9]", row["inputs"])[0])
    assert weight_in_air_kg(1.0, density) == pytest.approx(float(row["expected"]), abs=float(row["tolerance"]))


@pytest.mark.parametrize("density", [610.6, 775.0, 804.0, 998.2, 1163.5])
def test_the_line_of_api_is_archimedes_in_its_own_air(density: float) -> None:
    """API MPMS 11.5-2009: its two constants are air of 1.1992 kg/m3 and weights of 8000 kg/m3."""
    assert air_factor(density, OFFSET_KGPM3 / SLOPE) == pytest.approx(air_factor(density), abs=2e-9)


def test_high_above_the_sea_a_weight_in_air_is_nearer_to_the_mass() -> None:
    """Published: the standard atmosphere has 1.225 kg/m3 at the sea and 1.1117 at 1000 m (ISO 2533, from memory)."""
    assert air_at_kgpm3(0) == pytest.approx(1.225, abs=5e-4)
    assert air_at_kgpm3(1000) == pytest.approx(1.1117, abs=5e-4)
    low, high = (
        quantities(VESSEL, Product("jet", 804.0, air_kgpm3=air), Gauging(9.2, 20, 0.0))
        for air in (None, air_at_kgpm3(2000))
    )
    assert low.mass_kg == high.mass_kg
    assert low.weight_in_air_kg < high.weight_in_air_kg < high.mass_kg
    steps = chain(VESSEL, Product("jet", 804.0, air_kgpm3=air_at_kgpm3(2000)), Gauging(9.2, 20, 0.0)).steps
    assert "air 1.0065 kg/m3 of the site's altitude" in next(s.rule for s in steps if s.symbol == "W")
    with pytest.raises(OutOfRange, match="air of 3"):
        air_factor(804.0, 3.0)


def test_a_bunker_weight_in_air_comes_out() -> None:
    """Published (marine training sheet): 161.28 m3 x 0.9857 x 0.9909 = 157.53 t; its factor is rho15 - 1.1 kg/m3, a
    trade shortcut that the line of API MPMS 11.5 meets within 0.1 kg/m3."""
    row = static("ch04")
    gsv = 161.28 * 0.9857
    assert gsv * density_in_air_kgpm3(992.0) / 1000 == pytest.approx(
        float(row["expected"]), abs=float(row["tolerance"])
    )


def pounds_per_gallon(degapi: float, form: float) -> float:
    """lb/gal in air of a gravity, rounded to `form` as the petroleum tables print it."""
    in_vacuo = 141.5 / (degapi + 131.5) * 999.016
    return round(density_in_air_kgpm3(in_vacuo) * GALLON_M3 / POUND_KG / form) * form


def test_the_specimen_roof_is_deducted_as_printed() -> None:
    """Published (specimen note of a capacity table, public handbook): 1,215,000 lb at 35.0 degAPI -> 4088.2662 bbl."""
    assert pounds_per_gallon(35.0, 0.001) == pytest.approx(float(static("ar01")["expected"]), abs=5e-4)
    in_air = 7.076 * POUND_KG / GALLON_M3
    roof = FloatingRoof(1_215_000 * POUND_KG, 0.5, 1.5)
    assert -roof.correction_m3(3.0, in_air, 1.0) / BARREL_M3 == pytest.approx(
        float(static("fr01")["expected"]), abs=1e-4
    )
    row = static("fr05")
    assert roof.correction_m3(3.0, in_air, 0.98) / BARREL_M3 == pytest.approx(float(row["expected"]), abs=0.01)


def test_a_lighter_liquid_floats_the_roof_deeper_by_the_specimens_figure() -> None:
    """Published (same specimen): 24.59 bbl a degAPI, lighter is a deduction; met by unrounded densities in air."""
    in_air = [density_in_air_kgpm3(141.5 / (api + 131.5) * 999.016) for api in (35.0, 36.0)]
    roof = FloatingRoof(1_215_000 * POUND_KG, 0.5, 1.5, deducted_at_kgpm3=in_air[0])
    assert roof.correction_m3(3.0, in_air[0], 1.0) == pytest.approx(0, abs=1e-9)
    change = roof.correction_m3(3.0, in_air[1], 1.0) / BARREL_M3
    assert change == pytest.approx(-float(static("fr02")["expected"]), abs=float(static("fr02")["tolerance"]))


def test_in_the_roofs_critical_zone_there_is_no_volume() -> None:
    vessel = Vessel(TABLE, 13.5, None, FloatingRoof(20_000, 1.6, 1.8, 800.0))
    with pytest.raises(OutOfRange, match="critical zone"):
        quantities(vessel, JET, Gauging(1.7, 25, 0.0))
    standing = quantities(vessel, JET, Gauging(1.6, 25, 0.0))
    assert standing.roof_m3 == 0.0
    afloat = quantities(vessel, JET, Gauging(1.8, 25, 0.0))
    assert afloat.roof_m3 is not None
    assert afloat.roof_m3 < 0  # warmer and so lighter than 800 in air


def test_every_step_is_there_and_follows_from_those_before() -> None:
    vessel = Vessel(TABLE, 13.5, Shell(STEEL), FloatingRoof(20_000, 1.0, 1.2))
    found = chain(vessel, JET, Gauging(None, 30.0, 0.05, ullage_m=4.3, ambient_degC=38.0, sediment_water_frac=0.001))
    value = {step.symbol: step.value for step in found.steps}
    assert list(value) == [
        "U", "Hr", "h", "%L", "TOV", "%V", "hw", "FW", "t", "Ta", "TSh", "CTSh", "FRC", "GOV", "rho_b", "CTL", "GSV",
        "S&W", "NSV", "TCV", "m", "W",
    ]  # fmt: skip
    assert value["h"] == pytest.approx(9.2)
    assert value["TSh"] == 31.0
    assert value["GOV"] == pytest.approx((value["TOV"] - value["FW"]) * value["CTSh"] + value["FRC"])
    assert value["GSV"] == value["GOV"] * value["CTL"]
    assert value["NSV"] == pytest.approx(value["GSV"] * 0.999)
    assert value["TCV"] == value["GSV"] + value["FW"]
    assert value["m"] == value["GSV"] * 804.0
    assert value["W"] == pytest.approx(value["m"] * 0.99866, rel=1e-5)
    assert all(step.rule for step in found.steps)
    assert next(s for s in found.steps if s.symbol == "CTL").rule == (
        "API MPMS 11.1-2004, unrounded, group jet, base 15 degC"
    )


def test_without_a_temperature_gsv_and_mass_are_empty_and_bad() -> None:
    found = chain(Vessel(TABLE, 13.5, water_measured=False), JET, Gauging(9.2))
    steps = {step.symbol: step for step in found.steps}
    assert steps["GOV"].value is not None
    assert steps["GOV"].quality == "Good"
    assert steps["FW"].rule == "not measured, counts 0"
    for symbol in ("CTL", "GSV", "NSV", "m", "W"):
        assert (steps[symbol].value, steps[symbol].quality) == (None, "Bad")


def test_without_a_water_dip_nothing_below_tov_is_said() -> None:
    q = quantities(VESSEL, JET, Gauging(9.2, 20))
    assert q.tov_m3 > 0
    assert (q.free_water_m3, q.gov_m3, q.gsv_m3, q.mass_kg) == (None, None, None, None)


def test_the_worst_input_marks_the_stock() -> None:
    found = chain(VESSEL, JET, Gauging(9.2, 20, 0.0, density_quality=Quality.UNCERTAIN))
    steps = {step.symbol: step.quality for step in found.steps}
    assert (steps["GOV"], steps["CTL"], steps["GSV"]) == ("Good", "Uncertain", "Uncertain")


def test_pressure_brings_cpl_and_ctpl_into_the_chain() -> None:
    found = chain(VESSEL, JET, Gauging(9.2, 30, 0.0, pressure_kPa=500))
    value = {step.symbol: step.value for step in found.steps}
    assert value["CPL"] > 1
    assert value["GSV"] == value["GOV"] * value["CTPL"]
    rounded = Product("jet", 804.04, form=Form.ROUNDED)
    found_rounded = quantities(VESSEL, rounded, Gauging(9.2, 30.01, 0.0, pressure_kPa=501))
    assert found_rounded.ctpl == round(value["CTPL"], 5)
    older = Product("jet", 804.0, edition=Edition.TABLES_1980)
    with pytest.raises(OutOfRange, match=r"only API MPMS 11\.1-2004"):
        quantities(VESSEL, older, Gauging(9.2, 30, 0.0, pressure_kPa=500))


@pytest.mark.parametrize(
    ("words", "gauging"),
    [
        ("above the top", Gauging(13.01, 20, 0)),
        ("an innage or an ullage", Gauging(None, 20, 0)),
        ("an innage or an ullage", Gauging(9.0, 20, 0, ullage_m=4.5)),
        ("below the datum plate", Gauging(None, 20, 0, ullage_m=13.6)),
        ("water innage .* is above", Gauging(9.0, 20, 9.1)),
        ("water innage .* is below the datum", Gauging(9.0, 20, -0.001)),
        ("outside of the -50 to 150", Gauging(9.0, 160, 0)),
        ("sediment and water", Gauging(9.0, 20, 0, sediment_water_frac=1.0)),
    ],
)
def test_a_gauging_that_cannot_be_is_refused(words: str, gauging: Gauging) -> None:
    with pytest.raises(OutOfRange, match=words):
        quantities(VESSEL, JET, gauging)


def test_the_rounded_form_rounds_the_shell_to_whole_degrees_and_factors_to_five_decimals() -> None:
    q = quantities(VESSEL, Product("jet", 804.0, form=Form.ROUNDED), Gauging(9.2, 30.33, 0.0, ambient_degC=22.0))
    assert q.shell_degC == 29.0
    assert q.ctsh == round(Shell(STEEL).factor(29.0), 5)
    assert q.ctl == round(ctl("jet", 804.0, 30.35), 5)


@settings(max_examples=100, deadline=None)
@given(st.floats(0.2, 13), st.floats(-40, 100), st.floats(0.05, 5), st.floats(775, 840))
def test_gsv_falls_as_temperature_rises_at_constant_gov(level: float, t: float, warmer: float, rho: float) -> None:
    vessel = Vessel(TABLE, 13.5)
    cool, warm = (quantities(vessel, Product("jet", rho), Gauging(level, x, 0.0)) for x in (t, t + warmer))
    assert cool.gov_m3 == warm.gov_m3
    assert cool.gsv_m3 is not None
    assert warm.gsv_m3 is not None
    assert warm.gsv_m3 < cool.gsv_m3
