"""The array forms say what the scalar forms say, row by row, and mark what cannot be."""

import numpy as np
import pytest

from models import vcf
from models.arrays import ArrayChain, FastTable, ctl
from models.capacity import CapacityTable
from models.correction import Edition, Form
from models.correction import ctl as scalar_ctl
from models.errors import OutOfRange
from models.geometry import Head, HeadKind, LyingCylinder, UprightCylinder
from models.geometry_tables import table_of
from models.liquidhead import LiquidHeadCorrection, Plates
from models.quantity import Calculation, Gauging, Product, Shell, Vessel, quantities
from models.roof import FloatingRoof
from models.strapping import Course, Deadwood, Strapping, table_of_strapping

RNG = np.random.default_rng(5)
TABLES = {
    "upright": table_of(UprightCylinder(10, 13)),
    "cone": table_of(UprightCylinder(10, 13, Head(HeadKind.CONICAL, 0.2503))),
    "lying": table_of(LyingCylinder(2.5, 10, Head(HeadKind.ELLIPSOIDAL, 0.5))),
    "strapped": table_of_strapping(
        Strapping((Course((31.4,), 0.008, 1.5004), Course((31.39,), 0.006, 1.4)), deadwood=(Deadwood(0.40035, 1, 0.2),))
    ),
    "printed in centimetres": CapacityTable([k / 100 for k in range(301)], [k // 2 for k in range(301)]),
    "odd rows": CapacityTable([0.1, 0.13, 0.9, 0.91, 4.0], [0.5, 1, 1, 30, 70.5]),
    "two rows": CapacityTable([0.0, 4.0], [0.0, 70.5]),
}


@pytest.mark.parametrize("name", TABLES)
def test_array_volumes_are_those_of_the_table(name: str) -> None:
    table = TABLES[name]
    levels = np.concatenate([RNG.uniform(table.bottom_m, table.top_m, 3000), np.array(table.levels_m)])
    expected = [table.volume_m3(x) for x in levels.tolist()]
    assert FastTable(table).volume_m3(levels) == pytest.approx(expected, abs=1e-9)


@pytest.mark.parametrize("base", [15.0, 20.0, vcf.SIXTY_DEGF])
@pytest.mark.parametrize("group", ["jet", "crude", "lube", "special"])
def test_array_factors_are_those_of_the_scalar_form(group: str, base: float) -> None:
    alpha = 5e-4 if group == "special" else None
    t = RNG.uniform(-50, 150, 500)
    rho = RNG.uniform(805, 1150, 500) if group != "jet" else RNG.uniform(620, 1150, 500)
    found = ctl(group, rho, t, base, alpha)
    expected = [
        scalar_ctl(group, r, x, base, alpha60_per_degF=alpha) for r, x in zip(rho.tolist(), t.tolist(), strict=True)
    ]
    assert found == pytest.approx(expected, abs=1e-11)
    one = ctl(group, 830.0, t, base, alpha)
    assert one == pytest.approx(
        [scalar_ctl(group, 830.0, x, base, alpha60_per_degF=alpha) for x in t.tolist()], abs=1e-13
    )


def test_rows_outside_of_the_limits_are_nan() -> None:
    found = ctl("jet", np.array([500.0, 804.0, 804.0, 804.0, 1200.0]), np.array([20.0, -51.0, 20.0, np.nan, 20.0]))
    assert np.isnan(found).tolist() == [True, True, False, True, True]


@pytest.mark.parametrize("shell", [None, Shell(1.12e-5), Shell(1.12e-5, insulated=True)])
def test_the_array_chain_is_the_scalar_chain(shell: Shell | None) -> None:
    vessel, product = Vessel(TABLES["cone"], 13.6, shell), Product("jet", 804.0)
    n = 20_000  # more than one block, and a part of one
    level, t = RNG.uniform(0.2, 13, n), RNG.uniform(-20, 45, n)
    water, ambient = RNG.uniform(0, 0.15, n), RNG.uniform(-30, 45, n)
    found = ArrayChain(vessel, product)(level, t, water, ambient)
    assert found.valid.all()
    for i in range(0, n, 397):
        gauging = Gauging(level[i].item(), t[i].item(), water[i].item(), ambient_degC=ambient[i].item())
        q = quantities(vessel, product, gauging)
        row = (found.tov_m3[i], found.gov_m3[i], found.gsv_m3[i], found.mass_kg[i])
        assert row == pytest.approx((q.tov_m3, q.gov_m3, q.gsv_m3, q.mass_kg), rel=1e-12)


HEAD = LiquidHeadCorrection(10.0, (Plates(0.010, 6.0), Plates(0.008, 6.0), Plates(0.006, 1.3)), 850.0)
WAYS = {
    "1980": ({}, {"edition": Edition.TABLES_1980}),
    "1980 rounded": ({}, {"edition": Edition.TABLES_1980, "form": Form.ROUNDED}),
    "1980 gasoline, a table that ends at 95 degC": (
        {}, {"group": "gasoline", "base_density_kgpm3": 720.0, "edition": Edition.TABLES_1980, "form": Form.ROUNDED}
    ),
    "2004 rounded": ({}, {"form": Form.ROUNDED}),
    "2004 rounded at 20 degC": ({}, {"form": Form.ROUNDED, "base_degC": 20.0}),
    "2004 rounded at 60 degF": ({}, {"form": Form.ROUNDED, "base_degC": vcf.SIXTY_DEGF}),
    "roof in the table": ({"roof": FloatingRoof(20_000, 1.6, 1.8, 800.0)}, {}),
    "roof not in the table": ({"roof": FloatingRoof(20_000, 1.6, 1.8)}, {"edition": Edition.TABLES_1980}),
    "roof, rounded": ({"roof": FloatingRoof(20_000, 1.6, 1.8)}, {"form": Form.ROUNDED}),
    "liquid head": ({"head": HEAD}, {}),
    "pressure": ({"pressure_kPa": 900.0}, {}),
    "pressure, rounded": ({"pressure_kPa": 902.0}, {"form": Form.ROUNDED}),
    "all at once": ({"pressure_kPa": 50.0, "head": HEAD, "roof": FloatingRoof(20_000, 1.6, 1.8, 800.0)}, {}),
}  # fmt: skip


@pytest.mark.parametrize("insulated", [False, True])
@pytest.mark.parametrize("way", WAYS)
def test_every_edition_form_roof_and_head_is_the_scalar_chain(way: str, insulated: bool) -> None:
    """Rows that the scalar chain refuses are those that are not valid here, and no others."""
    of_vessel, of_product = WAYS[way]
    vessel = Vessel(TABLES["cone"], 13.6, Shell(1.12e-5, insulated=insulated), **of_vessel)  # type: ignore[arg-type]
    product = Product(**({"group": "jet", "base_density_kgpm3": 804.0} | of_product))  # type: ignore[arg-type]
    edges = [-50.0, -49.99, -40.03, -40.025, -40.02, -40.0, 15.0, 24.975, 25.025, 90.01, 95.0, 95.02, 95.025, 95.03,
             125.0, 125.02, 125.025, 150.0, 150.01]  # fmt: skip
    t = np.concatenate([edges, RNG.uniform(-55, 155, 1200), np.round(RNG.uniform(-20, 45, 800), 3)])
    n = len(t)
    level, water = RNG.uniform(0.2, 13, n), RNG.uniform(0, 0.15, n)
    level[200:500] = RNG.uniform(1.5, 1.9, 300)
    ambient = RNG.uniform(-60, 60, n)
    ambient[::7] = np.nan
    found = ArrayChain(vessel, product)(level, t, water, ambient)
    scalar = Calculation(vessel, product)
    refused = 0
    for i in range(n):
        air = None if np.isnan(ambient[i]) else ambient[i].item()
        q = scalar(Gauging(level[i].item(), t[i].item(), water[i].item(), ambient_degC=air))
        assert (q.gsv_m3 is not None) == found.valid[i], (t[i], level[i])
        if q.gsv_m3 is None:
            refused += 1
            assert np.isnan(found.gsv_m3[i])
        else:
            row = (found.tov_m3[i], found.gov_m3[i], found.gsv_m3[i], found.mass_kg[i])
            assert row == pytest.approx((q.tov_m3, q.gov_m3, q.gsv_m3, q.mass_kg), rel=1e-12), (t[i], level[i])
    assert 0 < refused < n


def test_a_row_that_cannot_be_is_marked_and_harms_no_other() -> None:
    vessel, product = Vessel(TABLES["upright"], 13.6, Shell(1.12e-5)), Product("jet", 804.0)
    level = np.array([9.0, 13.001, -0.001, np.nan, 9.0, 9.0, 9.0, 9.0])
    t = np.array([20.0, 20, 20, 20, 151, np.nan, 20, 20])
    water = np.array([0.0, 0, 0, 0, 0, 0, 9.1, -0.01])
    found = ArrayChain(vessel, product)(level, t, water)
    assert found.valid.tolist() == [True] + 7 * [False]
    for column in found[1:]:
        assert np.isnan(column[1:]).all()
        assert np.isfinite(column[0])
    assert np.isnan(level[3])  # the caller's rows are left as they were


@pytest.mark.parametrize(
    ("words", "call"),
    [
        ("only API MPMS", lambda: ArrayChain(Vessel(TABLES["upright"], 13, pressure_kPa=5.0),
                                             Product("jet", 804.0, edition=Edition.TABLES_1980))),
        ("15 degC only", lambda: ArrayChain(Vessel(TABLES["upright"], 13),
                                            Product("jet", 804.0, 20.0, edition=Edition.TABLES_1980))),
        ("no edition", lambda: ArrayChain(Vessel(TABLES["upright"], 13), Product("jet", 804.0, edition="1952"))),
        ("no liquid's", lambda: ArrayChain(Vessel(TABLES["upright"], 13), Product("jet", 300.0))),
        ("whose water is measured", lambda: ArrayChain(Vessel(TABLES["upright"], 13), Product("jet", 804.0))(
            np.ones(2), np.ones(2))),
        ("3 rows beside 2", lambda: ArrayChain(Vessel(TABLES["upright"], 13, water_measured=False),
                                               Product("jet", 804.0))(np.ones(2), np.ones(3))),
        ("goes with the group special", lambda: ctl("jet", np.array([804.0]), 20.0, alpha60_per_degF=5e-4)),
        ("base temperature 25", lambda: ctl("jet", np.array([804.0]), 20.0, 25.0)),
    ],
)  # fmt: skip
def test_what_arrays_do_not_do_is_refused(words: str, call: object) -> None:
    with pytest.raises(OutOfRange, match=words):
        call()  # type: ignore[operator]
