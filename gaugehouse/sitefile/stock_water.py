"""The `[stock.water]` and `[stock.forecast]` tables: what bounds the water of a tank, when it is looked for, and how
issues are foreseen.

Says what each key may hold by itself; what they mean together is in `stock_waterfacts`.
"""

from typing import Annotated, Final

from pydantic import Field, PlainValidator

from gaugehouse.sitefile import fields as f
from gaugehouse.sitefile.fields import milliseconds, one_of, quantity, whole
from gaugehouse.sitefile.table import Table, Text
from models.breathing import PAINTS, Edition
from models.fuelwater import FREE_WATER_PPM

DAY_S: Final = 86_400

Days = Annotated[int, milliseconds("1 d", DAY_S, 366 * DAY_S)]
Saturation = Annotated[float, quantity("%", "80 %", 0, 100)]


class WaterTable(Table):
    """Water in the tanks: what may bring it in, and when it is looked for."""

    account_over: Annotated[int, milliseconds("30 d", DAY_S, 366 * DAY_S)] = 30 * DAY_S * 1000
    working_every: Days = DAY_S * 1000
    others_every: Days = 7 * DAY_S * 1000
    working_within: Days = 3 * DAY_S * 1000
    working: list[str] = Field(default_factory=list)
    rule_source: Text | None = None
    carried_at_most: Annotated[float, quantity("ppm", "30 ppm", 0, 10_000)] = FREE_WATER_PPM
    fuel_saturation: Annotated[list[Saturation], Field(min_length=2, max_length=2)] | None = None
    paint: Annotated[str, PlainValidator(one_of({word: word for word in PAINTS}))] = "white"
    insolation: Annotated[float, quantity("J/m2", "8 kWh/m2", 0, 42e6)] = 28.8e6
    vent_range: Annotated[float, quantity("Pa", "400 Pa", 0, 20_000)] = 0.0
    roof_below_air: f.Difference = 3.0
    air_range: f.Difference = 12.0
    rain_at_most: Annotated[float, quantity("m3/s", "2 L/d", 0, 1e-3)] | None = None
    method: Annotated[Edition, PlainValidator(one_of({edition.value: edition for edition in Edition}))] = Edition.Y2020


class ForecastTable(Table):
    """How issues are foreseen, and how long it takes until an ordered load may be used."""

    look_back: Annotated[int, milliseconds("56 d", 7 * DAY_S, 730 * DAY_S)] = 56 * DAY_S * 1000
    least_days: Annotated[int, whole(2, 366)] = 14
    half_life: Annotated[int, milliseconds("14 d", DAY_S, 730 * DAY_S)] = 14 * DAY_S * 1000
    delivery: Annotated[int, milliseconds("3 d", 0, 90 * DAY_S)] | None = None
    settling: Annotated[int, milliseconds("24 h", 0, 30 * DAY_S)] | None = None
