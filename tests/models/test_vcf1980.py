"""The 1980 tables against printed entries, and the hydrometer's glass against readings that a table was used for."""

import re

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from models import vcf1980
from models.correction import Edition, ctl, ctl_rounded, expansion
from models.density import DensityMeter, base_density_of_sample
from models.errors import OutOfRange
from models.groups import METRIC_1980, Commodity
from tests.models.stock_cases import cases
from tests.reference import rows

REFINED = Commodity.REFINED


@pytest.mark.parametrize("row", cases("vcf54b_table", lambda r: r["table"] == "54B-1980"))
def test_printed_entries_of_table_54b_come_out_at_four_decimals(row: dict[str, str]) -> None:
    found = ctl_rounded("refined", float(row["density"]), float(row["T"]), edition=Edition.TABLES_1980)
    assert found == float(row["expected"]), row["source"]


def test_without_the_rounding_of_alpha_the_formula_agrees_to_its_own_computed_value() -> None:
    for row in rows("stock/vcf_1980_vs_2004_computed.csv"):
        found = ctl("jet", float(row["rho15"]), float(row["t_degC"]), edition=Edition.TABLES_1980)
        assert found == pytest.approx(float(row["vcf_1980_unrounded_alpha"]), abs=6e-7), row["status"]


@pytest.mark.parametrize("row", cases("vcf53b_table", trusted="secondary"))
def test_readings_quoted_from_table_53b_come_out_with_the_glass_corrected(row: dict[str, str]) -> None:
    """Secondary: the entries were read in a page that quotes the table."""
    reading, t, expected = float(row["reading_kgm3"]), float(row["t_degC"]), float(row["expected_rho15"])
    edition = Edition.TABLES_1980
    found = base_density_of_sample("refined", reading, t, DensityMeter.HYDROMETER, edition=edition)
    assert found == pytest.approx(expected, abs=float(row["tolerance_kgm3"])), row["source"]
    bare = base_density_of_sample("refined", reading, t, DensityMeter.DENSITOMETER, edition=edition)
    if abs(t - 15) >= 5:  # nearer to 15 degC the glass is within the table's own rounding
        assert abs(bare - expected) > abs(found - expected)


@pytest.mark.parametrize("row", [r for r in rows("stock/vcf_constants.csv") if r["edition"] == "1980 metric 53B/54B"])
def test_constants_are_those_that_public_codes_agree_on(row: dict[str, str]) -> None:
    found = next(g for g in METRIC_1980[REFINED] if g.name == row["group"].replace("_", " "))
    if row["name"] == "range":
        low, high = (float(v) for v in row["value"].split(".."))
        assert (found.low, found.high - 0.5) == (low, high)
    else:
        assert getattr(found, {"K0": "k0", "K1": "k1", "A": "k2"}[row["name"]]) == float(row["value"])


@pytest.mark.parametrize(
    ("edition", "commodity"), [("1980 metric 54A", Commodity.CRUDE), ("1980 metric 54D", Commodity.LUBE)]
)
def test_crude_and_lube_have_the_constants_of_public_codes(edition: str, commodity: Commodity) -> None:
    row = next(r for r in rows("stock/vcf_constants.csv") if r["edition"] == edition)
    (group,) = METRIC_1980[commodity]
    constants = {"K0": group.k0, "K1": group.k1}
    assert constants.pop(row["name"]) == float(row["value"])
    assert set(constants.values()) == {0.0}


@pytest.mark.parametrize("t", [-5.0, 15.0, 31.0, 60.0])
def test_glass_grows_by_the_formulas_of_public_codes(t: float) -> None:
    """The rows "hydrometer glass HYC": written out here from their text, in degC and in degF."""
    at = {r["unit_or_form"]: r["value"] for r in rows("stock/vcf_constants.csv") if "glass" in r["name"]}
    for scale, value, found in (
        ("degC", t, vcf1980.glass_factor(t)),
        ("degF", t * 1.8 + 32, vcf1980.glass_factor_60F(t * 1.8 + 32)),
    ):
        linear, square = (float(n) for n in re.findall(r"-([0-9.]+(?:e-[0-9]+)?)\(", at[scale]))
        base = float(re.findall(r"\(t-([0-9]+)\)", at[scale])[0])
        assert found == pytest.approx(1 - linear * (value - base) - square * (value - base) ** 2, abs=1e-15)


@pytest.mark.parametrize("row", [r for r in rows("stock/jetfuel.csv") if r["quantity"].startswith("alpha15")])
def test_expansion_of_jet_fuel_agrees_with_computed_figures(row: dict[str, str]) -> None:
    density = float(row["quantity"].split()[-1])
    found = expansion("jet", density, edition=Edition.TABLES_1980).alpha_per_degC
    digits = len(row["value"].split("e")[0].replace(".", "")) - 1
    assert found == pytest.approx(float(row["value"]), rel=0.6 * 10**-digits), row["source"]


def test_glass_is_not_corrected_where_the_hydrometer_is_graduated() -> None:
    assert vcf1980.glass_factor(15.0) == 1.0
    assert vcf1980.glass_factor_60F(60.0) == 1.0
    assert vcf1980.glass_factor(20.0, 20.0) == 1.0
    assert vcf1980.glass_factor(30.0) == pytest.approx(0.9996505, abs=1e-9)  # computed from the formula by hand


@pytest.mark.parametrize(
    ("words", "call"),
    [
        ("15 degC only", lambda: ctl("jet", 804, 20, 20.0, "1980 tables")),
        ("-40 to 125", lambda: ctl("jet", 804, -41, edition="1980 tables")),
        ("-40 to 95", lambda: ctl("jet", 776, 96, edition="1980 tables")),
        ("653 to 1075", lambda: ctl("refined", 640, 20, edition="1980 tables")),
        ("alpha of one's own", lambda: ctl("special", 804, 20, edition="1980 tables")),
        ("no density at 15", lambda: vcf1980.table_53(REFINED, 400, 20)),
        ("no number", lambda: vcf1980.table_53(REFINED, float("nan"), 20)),
        ("-40 to 95", lambda: vcf1980.table_53(REFINED, 650, 110)),
    ],
)
def test_what_the_tables_do_not_hold_is_refused(words: str, call: object) -> None:
    with pytest.raises(OutOfRange, match=words):
        call()  # type: ignore[operator]


@settings(max_examples=80, deadline=None)
@given(st.floats(655, 1070), st.floats(-39, 90))
def test_table_53_undoes_table_54(rho: float, t: float) -> None:
    """But for the borders of the groups, where the tables jump by up to 0.02 kg/m3 at these temperatures."""
    line = vcf1980.line_of(REFINED, rho)
    observed = rho * vcf1980.vcf(line, t)
    found = vcf1980.table_53(REFINED, observed, t, hydrometer=False)
    near_border = min(abs(rho - border) for border in (770.25, 787.75, 838.75)) < 0.3
    assert found == pytest.approx(rho, abs=0.3 if near_border else 1e-6)
