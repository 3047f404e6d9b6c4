"""Which unit every figure of the pages is shown in, and what one of each is: the one place of conversion.

Knows factors and decimals; refuses to know where a figure comes from. A choice changes the unit and nothing else: a
volume at 15 °C in US gallons is one at 15 °C. The records, the JSON and the papers of the site keep SI.

Source of the factors: NIST SP 811 (2008), appendix B.8 (inch, gallon U.S., fluid ounce U.S., pound avoirdupois, degree
Fahrenheit), all exact; a test holds each against the general units library that reads the site file.
"""

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from contextvars import ContextVar
from types import MappingProxyType
from typing import Any, Final, NamedTuple


class Shown(NamedTuple):
    """Shown figure = SI figure * factor + offset, in `unit`, with so many decimals.

    form: "feet" where the figure is inches, written as feet, inches and sixteenths.
    """

    factor: float
    unit: str
    decimals: int
    signed: bool = False
    offset: float = 0.0
    form: str = ""


_LITRES: Final = Shown(1000, "L", 0)
_MILLIMETRES: Final = Shown(1000, "mm", 0)
SHOWN: Final[Mapping[str, Shown]] = MappingProxyType(
    {
        "tov_m3": _LITRES,
        "gov_m3": _LITRES,
        "gsv_m3": _LITRES,
        "gsv_u95_m3": _LITRES,
        "room_m3": _LITRES,
        "usable_m3": _LITRES,
        "dead_m3": _LITRES,
        "level_m": _MILLIMETRES,
        "ullage_m": _MILLIMETRES,
        "water_m": _MILLIMETRES,
        "temperature_degC": Shown(1, "°C", 1),
        "volume_percent": Shown(1, "%", 1),
        "level_percent": Shown(1, "%", 1),
        "rate_m3_per_h": Shown(1000 / 60, "L/min", 0, signed=True),
        "mass_kg": Shown(1, "kg", 0),
        "current_mA": Shown(1, "mA", 3),
        "noise_m": Shown(1000, "mm", 1),
        # Kinds of figures that are no column of a reading.
        "volume_m3": _LITRES,
        "paper_m3": Shown(1000, "L", 1),
        "small_m3": Shown(1000, "L", 2),
        "drained_m3": Shown(1000, "L", 3),
        "drop_m3": Shown(1e6, "mL", 0),
        "cover_m3": Shown(1, "m³", 1),
        "day_m3": Shown(1, "m³", 0),
        "meter_m3": Shown(1, "m³", 3),
        "agreed_m3_per_h": Shown(1000 / 60, "L/min", 0),
        "leak_m3_per_h": Shown(1000, "L/h", 2),
        "dip_m": Shown(1000, "mm", 1),
        "apart_m": Shown(1000, "mm", 1),
        "limit_m": Shown(1000, "mm", 0),
        "drift_m_per_day": Shown(1000, "mm", 2),
        "span_m_per_m": Shown(1000, "mm", 2),
        "density_kgpm3": Shown(1, "kg/m³", 1),
        "apart_degC": Shown(1, "°C", 1),
    }
)

INCH_M: Final = 0.0254
GALLON_M3: Final = 231 * INCH_M**3
OUNCES: Final = 128
POUND_KG: Final = 0.45359237

_GALLONS: Final = Shown(1 / GALLON_M3, "US gal", 0)
FEET_UNIT: Final = "ft-in-1/16"
_FEET: Final = Shown(1 / INCH_M, FEET_UNIT, 0, form="feet")
_LB_PER_GALLON: Final = GALLON_M3 / POUND_KG
US: Final[Mapping[str, Shown]] = MappingProxyType(
    {name: _GALLONS for name, one in SHOWN.items() if one.unit in ("L", "m³")}
    | {name: _FEET for name in ("level_m", "ullage_m", "water_m", "dip_m")}
    | {
        "noise_m": Shown(1 / INCH_M, "in", 3),
        "temperature_degC": Shown(1.8, "°F", 1, offset=32.0),
        "rate_m3_per_h": Shown(1 / GALLON_M3 / 60, "gal/min", 0, signed=True),
        "mass_kg": Shown(1 / POUND_KG, "lb", 0),
        "paper_m3": Shown(1 / GALLON_M3, "US gal", 1),
        "small_m3": Shown(1 / GALLON_M3, "US gal", 3),
        "drained_m3": Shown(1 / GALLON_M3, "US gal", 3),
        "drop_m3": Shown(OUNCES / GALLON_M3, "US fl oz", 1),
        "meter_m3": Shown(1 / GALLON_M3, "US gal", 1),
        "agreed_m3_per_h": Shown(1 / GALLON_M3 / 60, "gal/min", 0),
        "leak_m3_per_h": Shown(1 / GALLON_M3, "gal/h", 3),
        "apart_m": Shown(1 / INCH_M, "in", 2),
        "limit_m": Shown(1 / INCH_M, "in", 2),
        "drift_m_per_day": Shown(1 / INCH_M, "in", 4),
        "span_m_per_m": Shown(12, "in", 4),
        "density_kgpm3": Shown(_LB_PER_GALLON, "lb/gal", 3),
        "apart_degC": Shown(1.8, "°F", 1),
    }
)
"""US customary units, where they differ. `span_m_per_m` is a length a metre there, a length a foot here."""

UNITS: Final = ("metric", "us")
_units: ContextVar[str] = ContextVar("units", default="metric")


@contextmanager
def in_units(units: str) -> Iterator[None]:
    """Figures are written in these units meanwhile, by this task only; an unknown word means metric."""
    before = _units.set(units if units in UNITS else "metric")
    try:
        yield
    finally:
        _units.reset(before)


def units_now() -> str:
    return _units.get()


def shown(column: str) -> Shown:
    """How a column or a kind of figure is shown in the units of the moment."""
    return shown_in(column, units_now())


def shown_in(column: str, units: str) -> Shown:
    """How it is shown in these units."""
    return (US.get(column) if units == "us" else None) or SHOWN[column]


def unit(column: str) -> str:
    return shown(column).unit


VOLUMES: Final[Mapping[str, Shown]] = MappingProxyType(
    {"L": SHOWN["paper_m3"], "m3": SHOWN["meter_m3"], "gal": US["paper_m3"]}
)
"""Units that a paper may be in, whatever the person's own are; by the unit's name in the site file's way."""


_PER_MM: Final = 1 / (1000 * INCH_M)
BY_UNIT: Final[Mapping[str, Shown]] = MappingProxyType(
    {
        "m³": _GALLONS,
        "m³/h": US["rate_m3_per_h"],
        "m": _FEET,
        "mm": Shown(_PER_MM, "in", 2),
        "mm/m": Shown(12 / 1000, "in/ft", 4),
        "°C": US["temperature_degC"],
        "kg/m³": US["density_kgpm3"],
        "kg": US["mass_kg"],
    }
)
"""How a column of a report is shown in US units, by the unit that it has."""


def for_script(*names: str) -> dict[str, Any]:
    """What a page's script needs to read and write figures of these kinds: each as shown, and as SI papers have it."""
    return {name: {"shown": shown(name)._asdict(), "si": SHOWN[name]._asdict()} for name in names}
