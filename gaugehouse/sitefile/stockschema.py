"""The tables of a site file that say how a tank's level becomes stock, and how well: its drawing, its certificate, the
accuracy of what is measured, a floating roof, the rule of its safe fill.

Says what each key may hold by itself; what they mean together is in `drawing` and `stockchecks`.
"""

from typing import Annotated, Any, Final, Generic, TypeVar

from pydantic import Field, PlainValidator, model_validator

from gaugehouse.sitefile import fields as f
from gaugehouse.sitefile.fields import one_of, quantity, refuse
from gaugehouse.sitefile.table import Table, Text
from models.certificate import TankForm
from models.strapping import STEEL_PA

HEADS: Final = ("flat", "conical", "ellipsoidal", "spherical", "torispherical", "guppy")
STANDS: Final = ("out", "in")
SHAPES: Final = ("upright", "lying", "box", "sphere")


def word_of(*words: str) -> PlainValidator:
    """One of some words."""
    return PlainValidator(one_of({word: word for word in words}))


class HeadTable(Table):
    """An end of a cylinder."""

    kind: Annotated[str, word_of(*HEADS)] = Field(examples=['"ellipsoidal"'])
    depth: Annotated[float, quantity("m", "0.6 m", 0.001, 50)] | None = None
    stands: Annotated[str, word_of(*STANDS)] = "out"
    crown: Annotated[float, Field(gt=0.5, le=1.5)] | None = None
    knuckle: Annotated[float, Field(gt=0, lt=0.5)] | None = None


class ShapeTable(Table):
    kind: Annotated[str, word_of(*SHAPES)] = Field(examples=['"upright"'])
    diameter: f.Height | None = None
    height: f.Height | None = None
    length: f.Height | None = None
    width: f.Height | None = None
    bottom: HeadTable | None = None
    top: HeadTable | None = None
    ends: HeadTable | None = None
    left_end: HeadTable | None = None
    right_end: HeadTable | None = None
    fall: Annotated[float, quantity("m", "0.1 m", 0.001, 50)] | None = None
    tilt: Annotated[float, quantity("%", "0.5 %", -10, 10)] | None = None
    gauge: Annotated[float, quantity("m", "1 m", -100, 100)] | None = None


class CertificateTable(Table):
    """What the certificate of a capacity table says beside its rows."""

    number: Text = Field(examples=['"C-123"'])
    laboratory: Text = Field(examples=['"..."'])
    date: f.Date = Field(examples=['"2024-05-31"'])
    uncertainty: Annotated[float, quantity("%", "0.2 %", 0.001, 9.9)] | None = None
    coverage: f.Coverage = 2.0
    form: Annotated[TankForm, PlainValidator(one_of({form.value: form for form in TankForm}))] | None = None
    next_due: f.Date | None = None
    method: str = ""
    reference_temperature: f.Temperature | None = None
    reference_height: f.Height | None = None
    datum: Text = "datum plate"
    head_density: f.Density | None = None
    deadwood_included: bool = True
    bottom_included: bool = True


Q = TypeVar("Q")


class KnownTable(Table, Generic[Q]):
    """How well something is known: in one of three ways to say it, and by whose word."""

    limits: Q | None = None
    standard: Q | None = None
    expanded: Q | None = None
    coverage: f.Coverage = 2.0
    source: str = ""

    @model_validator(mode="before")
    @classmethod
    def _one_quantity(cls, value: Any) -> Any:
        """One quantity is limits of error, as a data sheet prints them."""
        if isinstance(value, dict):
            return value
        if isinstance(value, bool | list):
            raise refuse('this is no accuracy; write limits of error such as "4 mm", or { standard = "2 mm" }')
        return {"limits": value}


Fine = Annotated[float, quantity("m", "4 mm", 0, 1)]
Part = Annotated[float, quantity("%", "0.02 %", 0, 10)]
Denser = Annotated[float, quantity("kg/m3", "0.5 kg/m3", 0, 50)]


class AccuracyTable(Table):
    """The accuracy of what is measured in one tank; what is left out has a default with its source."""

    level_zero: KnownTable[Fine] | None = None
    level_repeat: KnownTable[Fine] | None = None
    level_span: KnownTable[Part] | None = None
    temperature_probe: KnownTable[f.Difference] | None = None
    temperature_profile: KnownTable[f.Difference] | None = None
    temperature_profile_at_rest: KnownTable[f.Difference] | None = None
    at_rest_after: f.Age = 43_200_000
    density: KnownTable[Denser] | None = None
    water: KnownTable[Fine] | None = None
    shell_expansion: KnownTable[Part] | None = None
    shell_temperature: KnownTable[f.Difference] | None = None
    roof_weight: KnownTable[Part] | None = None


class RoofTable(Table):
    """A floating roof, from the tank's certificate."""

    weight: Annotated[float, quantity("kg", "20 t", 1, 1e7)] = Field(examples=['"20 t"'])
    critical_low: Annotated[float, quantity("m", "1.6 m", 0, 100)] = Field(examples=['"1.6 m"'])
    critical_high: Annotated[float, quantity("m", "1.8 m", 0, 100)] = Field(examples=['"1.8 m"'])
    deducted_at: Annotated[float, quantity("kg/m3", "800 kg/m3", 400, 1200)] | None = None


class PlatesTable(Table):
    """One course of the shell, from the datum up."""

    plate: Annotated[float, quantity("m", "8 mm", 0.002, 0.1)] = Field(examples=['"8 mm"'])
    height: Annotated[float, quantity("m", "1.8 m", 0.1, 6)] = Field(examples=['"1.8 m"'])


class LiquidHeadTable(Table):
    """The shell of an upright tank, by which its table is brought to the density in the tank."""

    diameter: f.Height = Field(examples=['"10 m"'])
    course: Annotated[list[PlatesTable], Field(min_length=1)] = Field(
        examples=['[{ plate = "8 mm", height = "1.8 m" }]']
    )
    elasticity: Annotated[float, quantity("Pa", "200 GPa", 1e9, 1e12)] = STEEL_PA


SAFE_FILL_RULES: Final = ("response time", "stop time", "percent")


class SafeFillTable(Table):
    """How high the tank may be filled, by the rule that the site has chosen."""

    rule: Annotated[str, word_of(*SAFE_FILL_RULES)] = Field(examples=['"response time"'])
    rate: f.Flow | None = None
    time: f.Delay | None = None
    percent: Annotated[float, quantity("%", "95 %", 1, 100)] | None = None
    source: str = ""
