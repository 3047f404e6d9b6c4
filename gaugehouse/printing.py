"""How commands print: aligned columns for people, JSON for programs. Results on stdout, everything else on stderr."""

import json
from collections.abc import Mapping, Sequence
from typing import Any

from models.chain import Step

DECIMALS = {"mA": 4, "m": 5, "degC": 3, "m3": 4, "kg": 1, "%": 3, "kg/m3": 2}


def table(columns: Sequence[str], rows: Sequence[Mapping[str, Any]]) -> str:
    """Rows under a head, figures to the right, as wide as they must be; a missing value is a dash."""
    cells = [[_cell(row.get(column)) for column in columns] for row in rows]
    numeric = [all(_is_figure(row.get(column)) for row in rows) for column in columns]
    widths = [max(len(line[k]) for line in [list(columns), *cells]) for k in range(len(columns))]

    def show(line: Sequence[str]) -> str:
        padded = zip(line, widths, numeric, strict=True)
        return "  ".join(text.rjust(w) if right else text.ljust(w) for text, w, right in padded).rstrip()

    return "\n".join([show(columns), *map(show, cells)])


def _is_figure(value: object) -> bool:
    return value is None or (isinstance(value, int | float) and not isinstance(value, bool))


def _cell(value: object) -> str:
    if value is None or value == "":
        return "-"
    if isinstance(value, float):
        return f"{value:.4f}".rstrip("0").rstrip(".")
    return str(value)


def steps_table(steps: Sequence[Step]) -> str:
    """The chain from the wire to the stock, a step a line."""
    rows = [
        {
            "symbol": step.symbol,
            "name": step.name,
            "value": _figure(step),
            "unit": step.unit,
            "quality": step.quality,
            "rule": step.rule,
        }
        for step in steps
    ]
    return table(("symbol", "name", "value", "unit", "quality", "rule"), rows)


def _figure(step: Step) -> str | None:
    if isinstance(step.value, float):
        return f"{step.value:.{DECIMALS.get(step.unit, 6)}f}"
    return step.value


def as_json(value: object) -> str:
    """JSON for programs: never NaN."""
    return json.dumps(value, indent=2, allow_nan=False, ensure_ascii=False)
