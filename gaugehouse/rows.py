"""Readings, alarms and faults as CSV cells and JSON values: fixed names, fixed decimals, never NaN.

`-0.0000` is printed as `0.0000`: the sign of nothing says nothing.
"""

from collections.abc import Callable, Sequence
from operator import attrgetter
from typing import Any, Final

from gaugehouse.days import iso_ms
from models.reading import QUANTITY, READING_COLUMNS, Reading

ALARM_COLUMNS: Final = ("time", "source", "condition", "priority", "event", "state")
FAULT_COLUMNS: Final = (
    "instrument", "start", "end", "class", "min_mA", "max_mA", "status", "number", "entry_mA", "before_mA", "level_m",
    "noise_before_m", "movement", "blinded", "blinded_s",
)  # fmt: skip


def fixed(value: float | None, decimals: int) -> str:
    """A figure with its fixed decimals; missing is empty."""
    if value is None:
        return ""
    text = _FORMATS[decimals] % value
    return text[1:] if text[0] == "-" and float(text) == 0 else text


_FORMATS: Final = tuple(f"%.{decimals}f" for decimals in range(8))


def _cell(column: str) -> Callable[[Reading], str]:
    match column:
        case "time":
            return lambda r: iso_ms(r.time_ms)
        case "tank":
            return lambda r: r.tank
        case "quality":
            return lambda r: r.quality.word
        case "stock_quality":
            return lambda r: r.stock_quality.word
        case "reason":
            return lambda r: r.reason.value
        case "bound":
            return lambda r: r.bound.value
    decimals = QUANTITY[column].decimals
    figure = attrgetter(column)
    return lambda r: fixed(figure(r), decimals)


_CELLS: Final = tuple(_cell(column) for column in READING_COLUMNS)


def reading_cells(reading: Reading) -> list[str]:
    """One row of readings.csv."""
    return [cell(reading) for cell in _CELLS]


def reading_json(reading: Reading) -> dict[str, Any]:
    """The same names with JSON values, rounded to the fixed decimals."""
    out: dict[str, Any] = {}
    for column, cell in zip(READING_COLUMNS, _CELLS, strict=True):
        if column in QUANTITY:
            value = getattr(reading, column)
            out[column] = None if value is None else round(value, QUANTITY[column].decimals) + 0.0
        else:
            out[column] = cell(reading)
    return out


def line(cells: Sequence[str]) -> str:
    """One CSV line. Ids, times, figures and words hold neither comma nor quote, so nothing needs quoting."""
    return ",".join(cells) + "\n"
