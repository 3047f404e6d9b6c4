"""Readings as rows of readings.csv for long copies: whole columns to cells, and rows back to whole numbers.

Knows the columns, their decimals and what is allowed in each; refuses to know files. A row is checked cell by cell, so
that whoever made it is told what is wrong where.
"""

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Final, NamedTuple

from gaugehouse.days import iso_ms, parse_ms
from history.block import FACTOR, LEVEL, Columns, status_parts
from history.scale import BOUND_CODE, BOUNDS, LARGEST, QUALITIES, REASON_CODE, REASONS, scaled
from models.reading import BAD, GOOD, QUANTITY, READING_COLUMNS, Bound, Reason

QUALITY_CODE: Final = {quality.word: int(quality) for quality in QUALITIES}
BOUND_OF: Final = {bound.value: BOUND_CODE[bound] for bound in Bound}
REASON_OF: Final = {reason.value: REASON_CODE[reason] for reason in Reason}
_PLACE: Final = {name: place for place, name in enumerate(READING_COLUMNS)}
_FIGURES: Final = tuple((name, _PLACE[name], FACTOR[name]) for name in QUANTITY)


def words_of(tank: str, columns: Columns) -> dict[str, list[str]]:
    """The columns that are words: time, tank, quality, reason, stock_quality, bound."""
    parts = {int(code): status_parts(int(code)) for code in set(columns.status.tolist())}
    status = [parts[code] for code in columns.status.tolist()]
    return {
        "time": [iso_ms(ms) for ms in columns.time_ms.tolist()],
        "tank": [tank] * len(columns),
        "quality": [QUALITIES[one[0]].word for one in status],
        "reason": [REASONS[one[1]].value for one in status],
        "stock_quality": [QUALITIES[one[2]].word for one in status],
        "bound": [BOUNDS[one[3]].value for one in status],
    }


def lines_of(tank: str, columns: Columns) -> str:
    """Lines of readings.csv, each figure with its fixed decimals."""
    cells = words_of(tank, columns)
    for name, column in columns.figures.items():
        fixed = f"%.{QUANTITY[name].decimals}f"
        texts = [fixed % value for value in (column.values / FACTOR[name]).tolist()]
        if not column.known.all():
            texts = [text if known else "" for text, known in zip(texts, column.known.tolist(), strict=True)]
        cells[name] = texts
    rows = zip(*(cells[name] for name in READING_COLUMNS), strict=True)
    return "".join(",".join(row) + "\n" for row in rows)


class Row(NamedTuple):
    """A row of a file, as the store keeps it but for its seq. kept: time, quality, reason, stock quality, bound, level,
    figures as whole numbers."""

    number: int
    tank: str
    kept: tuple[int | float | None, ...]

    @property
    def time_ms(self) -> int:
        assert isinstance(self.kept[0], int)
        return self.kept[0]


class Mistakes(ValueError):
    """What is wrong with a row, each thing by its column."""


def row_of(number: int, cells: Sequence[object], tanks: Mapping[str, object]) -> Row:
    """cells: in the order of `READING_COLUMNS`, texts or typed values. Raises `Mistakes`."""
    wrong: list[str] = []

    def taken(name: str, known: Mapping[str, int]) -> int:
        text = str(cells[_PLACE[name]] or "").strip()
        if text not in known:
            wrong.append(f"column {name}: {text!r}; allowed: {', '.join(word or 'empty' for word in known)}")
        return known.get(text, 0)

    time_ms = _time_ms(cells[_PLACE["time"]], wrong)
    tank = str(cells[_PLACE["tank"]] or "").strip()
    if tank not in tanks:
        wrong.append(f"column tank: no tank {tank!r}; the site file has {', '.join(tanks)}")
    status = [taken("quality", QUALITY_CODE), taken("reason", REASON_OF)]
    status += [taken("stock_quality", QUALITY_CODE), taken("bound", BOUND_OF)]
    figures: dict[str, int | None] = {}
    for name, place, factor in _FIGURES:
        cell = cells[place]
        if cell == "" or cell is None:
            figures[name] = None
            continue
        try:
            product = float(cell) * factor  # type: ignore[arg-type]  # what is no number raises
            whole = round(product)
        except (TypeError, ValueError, OverflowError):
            figures[name] = _figure(name, cell, wrong)
            continue
        plain = -0.499 < product - whole < 0.499 and -LARGEST <= whole <= LARGEST
        figures[name] = whole if plain and "_" not in str(cell) else _figure(name, cell, wrong)
    if not wrong:
        wrong += _odd(figures, *status[:2])
    if wrong:
        raise Mistakes("; ".join(wrong))
    level = figures[LEVEL]
    fine = None if level is None else level / FACTOR[LEVEL]
    return Row(number, tank, (time_ms, *status, fine, *figures.values()))


def _time_ms(cell: object, wrong: list[str]) -> int:
    try:
        if isinstance(cell, datetime):
            cell = cell.isoformat()
        time_ms = parse_ms(str(cell or "").strip())
    except ValueError as error:
        wrong.append(f"column time: {error}")
        return 0
    if time_ms < 0:
        wrong.append("column time: before 1970")
    return time_ms


def _figure(name: str, cell: object, wrong: list[str]) -> int | None:
    """The slow way: near a tie, and for what is no number."""
    try:
        value = cell if isinstance(cell, float) else float(str(cell).strip().replace("_", "?"))
        return scaled(value, QUANTITY[name].decimals)
    except ValueError as error:
        said = str(error) if "could not convert" not in str(error) else f"{cell!r} is no number; empty means not known"
        wrong.append(f"column {name}: {said}")
        return None


def _odd(figures: Mapping[str, int | None], quality: int, reason: int) -> list[str]:
    """What no reading of this program says."""
    if quality == GOOD and reason:
        return ["a Good reading has no reason; empty that cell, or say which quality it has"]
    if quality != GOOD and not reason:
        return [
            f"a reading that is {QUALITIES[quality].word} has a reason; allowed: {', '.join(filter(None, REASON_OF))}"
        ]
    if quality != BAD and figures[LEVEL] is None:
        return ["level_m is empty although the reading is not Bad"]
    return []
