"""The tables of what is watched at a tank beside its limits: `[tank.watch]` and `[tank.second_level]`.

What a key may hold by itself; what it needs of the rest of the site is in `watchchecks`.
"""

import re
from typing import Annotated, Any, Final

from pydantic import BeforeValidator, Field, PlainValidator, model_validator

from gaugehouse.sitefile import fields as f
from gaugehouse.sitefile.fields import number_of, one_of, refuse
from gaugehouse.sitefile.problems import shown
from gaugehouse.sitefile.table import Table
from models.tank import Measures

Priority = Annotated[int, PlainValidator(number_of((1, 2, 3)))]


def spread(value: Any, example: str) -> Any:
    """A limit written as one quantity stands for its `at`."""
    if isinstance(value, dict):
        return value
    if isinstance(value, (bool, list)):
        raise refuse(f'this is no limit; write a quantity such as "{example}", or {{at = "{example}", ...}}')
    return {"at": value}


class WatchedTable(Table):
    """What all of them have: delays and a priority; None is the house's default of the condition."""

    on_delay: f.Delay | None = None
    off_delay: f.Delay | None = None
    priority: Priority | None = None

    @model_validator(mode="before")
    @classmethod
    def _one_quantity(cls, value: Any) -> Any:
        return spread(value, str((cls.model_fields["at"].examples or [""])[0]).strip('"'))


class WaterHighTable(WatchedTable):
    at: f.SmallLength = Field(examples=['"50 mm"'])
    deadband: f.SmallLength | None = None


class WaterRisingTable(WatchedTable):
    at: f.SmallLength = Field(examples=['"10 mm"'])
    over: f.LongWindow = 86_400_000


class TemperatureTable(WatchedTable):
    at: f.Temperature = Field(examples=['"40 degC"'])
    deadband: f.Difference = 0.5


class CondensationTable(WatchedTable):
    at: f.Difference = Field(examples=['"2 degC"'])
    deadband: f.Difference = 0.5


_HOURS: Final = re.compile(r"([01]\d|2[0-3]):([0-5]\d) to ([01]\d|2[0-3]):([0-5]\d)", re.ASCII)


def _hours(value: object) -> tuple[int, int]:
    """Minutes of the day, from and to."""
    found = _HOURS.fullmatch(value) if isinstance(value, str) else None
    if found is None or found.group(1, 2) == found.group(3, 4):
        mend = 'write a stretch of the day, such as "22:00 to 06:00"'
        raise refuse(f"{shown(value)} is none; {mend}", allowed='"HH:MM to HH:MM"')
    return 60 * int(found[1]) + int(found[2]), 60 * int(found[3]) + int(found[4])


Hours = Annotated[tuple[int, int], BeforeValidator(_hours)]


class UnorderedTable(WatchedTable):
    at: f.SmallLength = Field(examples=['"8 mm"'])
    over: f.LongWindow = 3_600_000
    settle: f.Delay = 1_800_000
    hours: Hours | None = None


class WatchTable(Table):
    water_high: WaterHighTable | None = None
    water_rising: WaterRisingTable | None = None
    temperature_high: TemperatureTable | None = None
    temperature_low: TemperatureTable | None = None
    condensation_risk: CondensationTable | None = None
    unordered_movement: UnorderedTable | None = None


class SecondLevelTable(Table):
    """Another gauge of the same tank, to compare with."""

    level: f.Ref = Field(examples=['"li-2.level"'])
    measures: Annotated[Measures, PlainValidator(one_of({m.value: m for m in Measures}))] | None = None
    at_4mA: f.Innage | None = None
    at_20mA: f.Innage | None = None
    at: f.SmallLength = Field(examples=['"20 mm"'])
    deadband: f.SmallLength | None = None
    on_delay: f.Delay | None = None
    off_delay: f.Delay | None = None
    priority: Priority | None = None
