"""The kinds of values that a site file's keys take: ids, quantities, times, lists of words.

Each takes the text of the file and gives the plain SI value, or refuses with a text that holds the mend.
"""

import re
from collections.abc import Callable
from datetime import date
from typing import Annotated, Final, NamedTuple, TypeVar

from pydantic import BeforeValidator, Field, PlainValidator
from pydantic_core import PydanticCustomError

from gaugehouse.sitefile import quantities
from gaugehouse.sitefile.problems import listed, nearest, shown

ID: Final = re.compile(r"[A-Za-z0-9_-]{1,32}", re.ASCII)
_DATE: Final = re.compile(r"\d{4}-\d\d-\d\d", re.ASCII)
_CLOCK: Final = re.compile(r"([01]\d|2[0-3]):([0-5]\d)", re.ASCII)
_REFERENCE: Final = re.compile(r"([A-Za-z0-9_-]{1,32})\.([A-Za-z0-9_-]{1,32})", re.ASCII)

T = TypeVar("T")


def refuse(text: str, *, allowed: str = "") -> PydanticCustomError:
    """What a validator raises; the reader words it with file and key. Braces would be read as a template."""
    return PydanticCustomError("site_file", "{said}", {"said": text, "allowed": allowed})


def _id(value: object) -> object:
    if isinstance(value, str) and not ID.fullmatch(value):
        raise refuse(
            f'"{value}" is no id; use 1 to 32 of the letters A-Z a-z, the digits, _ and - (a `name` may hold any text)',
            allowed="[A-Za-z0-9_-]{1,32}",
        )
    return value


Id = Annotated[str, BeforeValidator(_id)]


class SignalRef(NamedTuple):
    """``INSTRUMENT.SIGNAL``."""

    instrument: str
    signal: str

    def __str__(self) -> str:
        return f"{self.instrument}.{self.signal}"


def signal_ref(value: object, *words: str) -> SignalRef | str:
    """A reference to a signal, or one of the words that may stand in its place."""
    if isinstance(value, str):
        if value in words:
            return value
        found = _REFERENCE.fullmatch(value)
        if found:
            return SignalRef(found[1], found[2])
    other = f", or {listed(words)}" if words else ""
    raise refuse(
        f'{shown(value)} names no signal; write "INSTRUMENT.SIGNAL"{other}', allowed=f'"INSTRUMENT.SIGNAL"{other}'
    )


Ref = Annotated[SignalRef, PlainValidator(lambda value: signal_ref(value))]
RefOrNone = Annotated[SignalRef | str, PlainValidator(lambda value: signal_ref(value, "none"))]
RefDipsOrNone = Annotated[SignalRef | str, PlainValidator(lambda value: signal_ref(value, "dips", "none"))]


def _between(unit: str, example: str, low: float, high: float) -> Callable[[object], float]:
    def read(value: object) -> float:
        try:
            number = quantities.parse(value, unit, example)
        except quantities.BadQuantity as exc:
            raise refuse(str(exc), allowed=f'{quantities.kind_of(unit)}, such as "{example}"') from None
        if not low <= number <= high:
            bounds = f"{low:g} to {high:g} {unit}"
            raise refuse(f'"{value}" is out of bounds; allowed is {bounds}', allowed=bounds)
        return number

    return read


def quantity(unit: str, example: str, low: float, high: float) -> BeforeValidator:
    """A quantity in `unit` between two bounds (both allowed)."""
    return BeforeValidator(_between(unit, example, low, high))


def milliseconds(example: str, low_s: float, high_s: float) -> BeforeValidator:
    """A time between two bounds in s, kept as whole milliseconds."""
    seconds = _between("s", example, low_s, high_s)
    return BeforeValidator(lambda value: round(seconds(value) * 1000))


Innage = Annotated[float, quantity("m", "9.2 m", -5, 100)]
COMPUTED: Final = "computed"


def _innage_or_computed(value: object) -> float | str:
    if value == COMPUTED:
        return COMPUTED
    return _between("m", "9.2 m", -5, 100)(value)


InnageOrComputed = Annotated[float | str, PlainValidator(_innage_or_computed)]
"""An innage in m, or the word that has it worked out."""

Height = Annotated[float, quantity("m", "12.5 m", 0.1, 100)]
SmallLength = Annotated[float, quantity("m", "10 mm", 0, 5)]
Temperature = Annotated[float, quantity("degC", "15 degC", -50, 150)]
Density = Annotated[float, quantity("kg/m3", "800 kg/m3", 610.6, 1163.5)]
Current = Annotated[float, quantity("mA", "3.6 mA", 0, 25)]
Percent = Annotated[float, quantity("%", "90 %", 0, 100)]
Tolerance = Annotated[float, quantity("%", "0.25 %", 0, 10)]
Alpha60 = Annotated[float, quantity("1/degF", "5e-4 / degF", 230e-6, 930e-6)]
Flow = Annotated[float, quantity("m3/s", "1000 L/min", 1e-6, 10)]
Volume = Annotated[float, quantity("m3", "1000 m3", 1e-6, 1e12)]
LevelRate = Annotated[float, quantity("m/s", "40 mm/min", 1e-6, 10)]
Period = Annotated[int, milliseconds("1 s", 0.05, 3600)]
Timeout = Annotated[int, milliseconds("500 ms", 0.01, 60)]
Delay = Annotated[int, milliseconds("5 s", 0, 86_400)]
Window = Annotated[int, milliseconds("60 s", 1, 86_400)]
CheckTime = Annotated[int, milliseconds("60 min", 60, 28_800)]
LongWindow = Annotated[int, milliseconds("24 h", 600, 31 * 86_400)]
Age = Annotated[int, milliseconds("10 min", 1, 604_800)]
AskAgain = Annotated[int, milliseconds("30 min", 60, 86_400)]
TestEvery = Annotated[int, milliseconds("365 d", 86_400, 3_650 * 86_400)]
Coverage = Annotated[float, Field(ge=1, le=4)]


def _difference(value: object) -> float:
    try:
        number = quantities.difference(value, "0.5 degC")
    except quantities.BadQuantity as exc:
        raise refuse(str(exc), allowed='"0.5 degC"') from None
    if not 0 <= number <= 50:
        raise refuse(f'"{value}" is out of bounds; allowed is 0 to 50 degC', allowed="0 to 50 degC")
    return number


Difference = Annotated[float, BeforeValidator(_difference)]
"""A difference of temperatures: half a degree is half a degree, wherever the scale begins."""


def _date(value: object) -> str:
    try:
        if isinstance(value, str) and _DATE.fullmatch(value):
            return date.fromisoformat(value).isoformat()
    except ValueError:
        pass
    mend = 'write "YYYY-MM-DD" in quotes, such as "2024-05-31"'
    raise refuse(f"{shown(value)} is no date; {mend}", allowed='"YYYY-MM-DD"')


Date = Annotated[str, PlainValidator(_date)]


def _expansion(value: object) -> float:
    if isinstance(value, (int, float)) and not isinstance(value, bool):
        number = float(value)
    else:
        try:
            number = quantities.parse(value, "1/degC", "11.2e-6 / degC")
        except quantities.BadQuantity as exc:
            raise refuse(str(exc), allowed='"11.2e-6 / degC"') from None
    if not 1e-7 <= number <= 1e-4:
        raise refuse(
            f'{value} is no linear expansion of a shell; allowed is 1e-7 to 1e-4 per degC, such as "11.2e-6 / degC"',
            allowed="1e-7 to 1e-4 1/degC",
        )
    return number


Expansion = Annotated[float, BeforeValidator(_expansion)]


class RateOf(NamedTuple):
    """A rate of level (``m/s``) or of volume (``m3/s``)."""

    value: float
    per: str


def _rate(value: object) -> RateOf:
    told: Exception | None = None
    for unit, example in (("m/s", "300 mm/min"), ("m3/s", "2 m3/min")):
        try:
            rate = RateOf(quantities.parse(value, unit, example), unit)
        except quantities.BadQuantity as exc:
            told = told or exc
            continue
        if not rate.value > 0:
            raise refuse(f'"{value}" must be above zero, for a fall too; write "300 mm/min"', allowed="above 0")
        return rate
    why = told.why if isinstance(told, quantities.BadQuantity) else "this is no rate"
    mend = 'write a length or a volume per time, such as "300 mm/min" or "2 m3/min"'
    if " is not " in why:
        why = f'"{value}" is no rate'
    raise refuse(f"{why}; {mend}", allowed='"300 mm/min" or "2 m3/min"')


Rate = Annotated[RateOf, PlainValidator(_rate)]


def _clock(value: object) -> int:
    found = _CLOCK.fullmatch(value) if isinstance(value, str) else None
    if found is None:
        mend = 'write "HH:MM" in quotes, such as "06:00"'
        raise refuse(f"{shown(value)} is no time of day; {mend}", allowed='"00:00" to "23:59"')
    return 60 * int(found[1]) + int(found[2])


MinuteOfDay = Annotated[int, BeforeValidator(_clock)]


def one_of(words: dict[str, T]) -> Callable[[object], T]:
    """One of some words, each standing for a value."""

    def read(value: object) -> T:
        if isinstance(value, str) and value in words:
            return words[value]
        near = nearest(value, words) if isinstance(value, str) else ""
        raise refuse(f"{shown(value)} is not known here; write one of {listed(words)}{near}", allowed=listed(words))

    return read


def number_of(numbers: tuple[int, ...]) -> Callable[[object], int]:
    """One of some whole numbers."""

    def read(value: object) -> int:
        if isinstance(value, int) and not isinstance(value, bool) and value in numbers:
            return value
        allowed = ", ".join(map(str, numbers))
        raise refuse(f"{shown(value)} is not known here; write one of {allowed} (without quotes)", allowed=allowed)

    return read


def whole(low: int, high: int) -> BeforeValidator:
    """A whole number between two bounds."""

    def read(value: object) -> int:
        if not isinstance(value, int) or isinstance(value, bool):
            raise refuse(f"{shown(value)} is no whole number; allowed is {low} to {high}", allowed=f"{low} to {high}")
        if not low <= value <= high:
            raise refuse(f"{value} is out of bounds; allowed is {low} to {high}", allowed=f"{low} to {high}")
        return value

    return BeforeValidator(read)
