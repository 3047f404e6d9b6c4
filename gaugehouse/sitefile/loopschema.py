"""The tables of loops and their supplies: `[[supply]]` and `[instrument.loop]`. What a key may hold by itself."""

from collections.abc import Callable
from typing import Annotated, Any, Final

from pydantic import AfterValidator, Field, PlainValidator

from gaugehouse.sitefile import quantities
from gaugehouse.sitefile.fields import Id, Temperature, number_of, quantity, refuse
from gaugehouse.sitefile.problems import listed
from gaugehouse.sitefile.table import Table, Text
from models.copper import AREA_OHM_PER_KM, AWG_OHM_PER_KFT

MOST_PARTS: Final = 20

Volts = Annotated[float, quantity("V", "24 V", 0, 100)]
SupplyCurrent = Annotated[float, quantity("mA", "200 mA", 1, 100_000)]
LoopCurrent = Annotated[float, quantity("mA", "22 mA", 0, 100)]
Percent = Annotated[float, quantity("%", "2.5 %", 0, 100)]


def _area(value: float) -> float:
    if value not in AREA_OHM_PER_KM:
        allowed = ", ".join(f"{area:g} mm2" for area in AREA_OHM_PER_KM)
        raise refuse(f"{value:g} mm2 has no row in the table of copper wires; write one of {allowed}", allowed=allowed)
    return value


Area = Annotated[float, quantity("mm2", "0.75 mm2", 0, 1000), AfterValidator(_area)]


def _several(unit: str, example: str, highest: float) -> Callable[[object], tuple[float, ...]]:
    """One quantity, or a list of them."""

    def read(value: object) -> tuple[float, ...]:
        given: list[Any] = value if isinstance(value, list) else [value]
        if len(given) > MOST_PARTS:
            raise refuse(f"{len(given)} are too many; write {MOST_PARTS} at most, or their sum")
        try:
            numbers = tuple(quantities.parse(item, unit, example) for item in given)
        except quantities.BadQuantity as exc:
            raise refuse(str(exc), allowed=f'"{example}" or a list of such') from None
        if not all(0 <= number <= highest for number in numbers):
            allowed = f"0 to {highest:g} {unit}"
            raise refuse(f"{listed(map(str, given))} is out of bounds; allowed is {allowed}", allowed=allowed)
        return numbers

    return read


class LoadTable(Table):
    """Something on a supply that is no loop."""

    name: Text = Field(examples=['"heater"'])
    current: Annotated[float, quantity("mA", "100 mA", 0, 100_000)] = Field(examples=['"100 mA"'])
    inrush: Annotated[float, quantity("mA", "180 mA", 0, 100_000)] | None = None


class SupplyTable(Table):
    id: Id = Field(examples=['"psu-1"'])
    name: str = ""
    volts: Volts = Field(examples=['"24 V"'])
    lowest_volts: Volts | None = None
    limit: SupplyCurrent = Field(examples=['"200 mA"'])
    surge: SupplyCurrent | None = None
    derates_above: Temperature | None = None
    derating_per_degC: Percent | None = None
    enclosure: Temperature | None = None
    load: list[LoadTable] = Field(default_factory=list)


class CircuitTable(Table):
    """A passive output that a supply feeds; a loop has the same keys."""

    supply: str = Field(examples=['"psu-1"'])
    liftoff: Volts = Field(examples=['"12 V"'])
    liftoff_low: Volts | None = None
    lowest: LoopCurrent = 3.6
    highest: LoopCurrent = 22.0
    burden: Annotated[tuple[float, ...], PlainValidator(_several("ohm", "250 ohm", 10_000))] = ()
    drop: Annotated[tuple[float, ...], PlainValidator(_several("V", "3.5 V", 100))] = ()
    awg: Annotated[int, PlainValidator(number_of(tuple(sorted(AWG_OHM_PER_KFT))))] | None = None
    area: Area | None = None
    ohm_per_km: Annotated[float, quantity("ohm/km", "24.5 ohm/km", 0.01, 1000)] | None = None
    length: Annotated[float, quantity("m", "300 m", 0, 20_000)] | None = None
    cable_temperature: Temperature = 20.0
    limiter: LoopCurrent | None = None


class LoopTable(CircuitTable):
    """The loop of an instrument."""

    output: CircuitTable | None = None
