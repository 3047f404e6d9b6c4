import pytest

from inventory.sheet import SheetTank, stock_sheet
from models.reading import Quality, Reading, Reason

NOW = 1_769_846_400_000
AGE = 600_000


def reading(tank: str, gsv: float | None = 100.0, age_ms: int = 1000, **changes: object) -> Reading:
    base = Reading(
        1, NOW - age_ms, tank, Quality.GOOD, Reason.NONE, level_m=6.0, temperature_degC=25.0,
        tov_m3=102.0, gov_m3=101.0, gsv_m3=gsv, mass_kg=None if gsv is None else gsv * 800, stock_quality=Quality.GOOD,
    )  # fmt: skip
    return base._replace(**changes)


def test_a_product_is_the_sum_of_its_tanks() -> None:
    sheet = stock_sheet(
        [
            SheetTank("palm", "Palm", "Jet", reading("palm", 100.0)),
            SheetTank("elm", "Elm", "Avgas", reading("elm", 20.0)),
            SheetTank("north", "North", "Jet", reading("north", 50.0)),
        ],
        NOW,
        AGE,
    )
    assert [(p.product, p.gsv_m3, p.mass_kg) for p in sheet.products] == [
        ("Jet", 150.0, 120_000.0),
        ("Avgas", 20.0, 16_000.0),
    ]
    assert sheet.complete


@pytest.mark.parametrize(
    ("found", "why"),
    [
        (None, "no reading"),
        (reading("north", age_ms=AGE + 1), "no reading for 600 s"),
        (reading("north", quality=Quality.BAD, reason=Reason.SENSOR_FAILURE), "level is Bad: BadSensorFailure"),
        (reading("north", None), "no standard volume"),
    ],
)
def test_a_tank_that_is_not_measured_takes_its_product_s_sum_away(found: Reading | None, why: str) -> None:
    sheet = stock_sheet(
        [SheetTank("palm", "Palm", "Jet", reading("palm")), SheetTank("north", "North", "Jet", found)], NOW, AGE
    )
    assert why in sheet.tanks[1].why
    assert sheet.tanks[1].gsv_m3 is None
    assert sheet.products[0].gsv_m3 is None
    assert sheet.products[0].missing == ("north",)
    assert not sheet.complete


def test_what_is_known_of_a_bad_tank_is_its_temperature_only() -> None:
    bad = reading("palm", quality=Quality.BAD, reason=Reason.OUT_OF_RANGE)
    line = stock_sheet([SheetTank("palm", "Palm", "Jet", bad)], NOW, AGE).tanks[0]
    assert (line.level_m, line.tov_m3, line.gov_m3, line.mass_kg) == (None, None, None, None)
    assert line.temperature_degC == 25.0


def test_a_stock_carries_its_uncertainty_and_a_sum_that_of_independent_tanks() -> None:
    tanks = [
        SheetTank("palm", "Palm", "Jet", reading("palm", 100.0, gsv_u95_m3=0.3)),
        SheetTank("north", "North", "Jet", reading("north", 50.0, gsv_u95_m3=0.4)),
        SheetTank("elm", "Elm", "Avgas", reading("elm", 20.0)),
    ]
    sheet = stock_sheet(tanks, NOW, AGE)
    assert [tank.gsv_u95_m3 for tank in sheet.tanks] == [0.3, 0.4, None]
    assert sheet.products[0].gsv_u95_m3 == pytest.approx(0.5)  # 3-4-5
    assert sheet.products[1].gsv_u95_m3 is None
    bad = [tanks[0]._replace(reading=reading("palm", None, gsv_u95_m3=0.3)), tanks[1]]
    assert stock_sheet(bad, NOW, AGE).products[0].gsv_u95_m3 is None
