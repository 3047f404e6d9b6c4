"""A reading as whole numbers: each figure times ten to its fixed decimals, each word as a small code.

Knows the decimals and the codes that stand in files; refuses to know files. The codes are a format: add at the end,
never reuse. What comes back is to the bit the float that the printed decimals name.
"""

from collections.abc import Sequence
from operator import itemgetter
from typing import Any, Final

from models.reading import QUANTITIES, Bound, Quality, Reading, Reason

LARGEST: Final = 2**40
"""The largest scaled figure kept (10 995 km of level, 110 million m3): far beyond a tank, and 8 million of them still
add up without leaving 64 bits."""

REASONS: Final = (
    Reason.NONE,
    Reason.NO_COMMUNICATION,
    Reason.COMMUNICATION_ERROR,
    Reason.SENSOR_FAILURE,
    Reason.OUT_OF_RANGE,
    Reason.DEVICE_FAILURE,
    Reason.OUT_OF_SERVICE,
    Reason.CONFIGURATION_ERROR,
    Reason.UNITS_EXCEEDED,
    Reason.SUB_NORMAL,
)
BOUNDS: Final = (Bound.NONE, Bound.AT_LEAST, Bound.AT_MOST)
QUALITIES: Final = (Quality.GOOD, Quality.UNCERTAIN, Quality.BAD)

REASON_CODE: Final = {reason: code for code, reason in enumerate(REASONS)}
BOUND_CODE: Final = {bound: code for code, bound in enumerate(BOUNDS)}

COLUMNS: Final = (
    "seq", "time_ms", "quality", "reason", "stock_quality", "bound",
    *(f"{q.column}_e{q.decimals}" for q in QUANTITIES),
)  # fmt: skip
"""Names of the whole numbers of a reading, in order; `level_m_e5` is the level in m times 10^5."""
COLUMN_OF: Final = {q.column: f"{q.column}_e{q.decimals}" for q in QUANTITIES}

_FACTORS: Final = tuple((q.decimals, 10**q.decimals) for q in QUANTITIES)
_DIVISORS: Final = tuple(10**q.decimals for q in QUANTITIES)
_figures = itemgetter(*(Reading._fields.index(q.column) for q in QUANTITIES))
_FIGURES_AT: Final = len(COLUMNS) - len(QUANTITIES)
_LEFT_OF_STATUS: Final = Reading._fields.index("stock_quality") - Reading._fields.index("current_mA")


def scaled(value: float, decimals: int) -> int:
    """A figure as a whole number of its last decimal. Raises `ValueError` for NaN, the infinities and giants.

    Rounded as printing does (`round` looks at the exact binary value); multiplying first would shift some ties.
    """
    try:
        number = round(round(value, decimals) * int(10**decimals))
    except (OverflowError, ValueError):
        raise ValueError(f"{value!r} is not a finite number") from None
    if not -LARGEST <= number <= LARGEST:
        raise ValueError(f"{value!r} is beyond any tank (largest {LARGEST / 10**decimals:g})")
    return number


def row_of(reading: Reading) -> tuple[Any, ...]:
    """The whole numbers of a reading, as `COLUMNS` names them. Raises `ValueError` with what cannot be kept."""
    if reading.time_ms < 0:
        raise ValueError(f"time {reading.time_ms} ms is before 1970")
    if reading.seq < 1:
        raise ValueError(f"seq {reading.seq} is below 1")
    numbers: list[int | None] = []
    add = numbers.append
    try:
        for value, (decimals, factor) in zip(_figures(reading), _FACTORS, strict=True):
            if value is None:
                add(None)
                continue
            product = value * factor
            number = round(product)
            # Near a tie the product, which may be off by 2^-13, can lie on its wrong side: then round the slow way.
            if not -0.499 < product - number < 0.499:
                number = round(round(value, decimals) * factor)
            if not -LARGEST <= number <= LARGEST:
                raise ValueError("too large")
            add(number)
    except (OverflowError, ValueError):
        raise ValueError(_why_not(reading)) from None
    return (
        reading.seq,
        reading.time_ms,
        int(reading.quality),
        REASON_CODE[reading.reason],
        int(reading.stock_quality),
        BOUND_CODE[reading.bound],
        *numbers,
    )


def _why_not(reading: Reading) -> str:
    """Which figure it is, told slowly."""
    for quantity, value in zip(QUANTITIES, _figures(reading), strict=True):
        try:
            if value is not None:
                scaled(value, quantity.decimals)
        except ValueError as exc:
            return f"tank {reading.tank}, seq {reading.seq}: {quantity.column} {exc}"
    return f"tank {reading.tank}, seq {reading.seq}: cannot be kept"


def reading_of(tank: str, row: Sequence[Any]) -> Reading:
    """The reading whose whole numbers these are. Raises `IndexError` for a code that this program does not know."""
    seq, time_ms, quality, reason, stock_quality, bound = row[:_FIGURES_AT]
    figures = [
        None if number is None else number / divisor
        for number, divisor in zip(row[_FIGURES_AT:], _DIVISORS, strict=True)
    ]
    left, right = figures[:_LEFT_OF_STATUS], figures[_LEFT_OF_STATUS:]
    status = QUALITIES[stock_quality], BOUNDS[bound]
    return Reading._make((seq, time_ms, tank, QUALITIES[quality], REASONS[reason], *left, *status, *right))


def not_above(reading: Reading, last_seq: int) -> str:
    """Why a reading that does not come after its tank's last is refused."""
    return f"tank {reading.tank}, seq {reading.seq}: the last one kept is seq {last_seq}, and seq must rise"


def rounded(reading: Reading) -> Reading:
    """The reading as any store gives it back. Raises `ValueError` as `row_of` does."""
    return reading_of(reading.tank, row_of(reading))
