"""The stock book as CSV: a row a tank and day, then the whole period, then the product. `.` point, missing is empty.

Volumes have the four decimals of the book: a month that is read in again gives the same sums.
"""

import csv
import io
from typing import Any, Final

from console.facts import Json

SIDES: Final = ("gross", "standard")
SUMS: Final = ("receipts", "issues", "transfers", "draws", "adjustments")

COLUMNS: Final = (
    "account", "product", "period",
    *(f"{name}_{side}_m3" for name in ("opening", *SUMS, "book", "physical", "variance", "cumulative")
      for side in SIDES),
    "variance_u95_m3", "physical_source", "physical_time", "percent", "base_m3", "allowed_m3", "verdict", "telling",
    "missing", "remarks",
)  # fmt: skip
"""Columns of the CSV: a row a tank and day, then the rows of the whole period."""


def rows_of(answer: Json) -> list[Json]:
    """The rows of an answer in the order of the CSV."""
    rows: list[Json] = []
    for product in answer["products"]:
        for tank in product["tanks"]:
            rows += [*tank["days"], tank["whole"]]
        rows.append(product["whole"])
    return rows


def book_csv(answer: Json) -> str:
    """What `Facts.stock_book` answered, as CSV."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(COLUMNS)
    writer.writerows([_cell(name, row[name]) for name in COLUMNS] for row in rows_of(answer))
    return out.getvalue()


def _cell(name: str, value: Any) -> str:
    if value is None:
        return ""
    if isinstance(value, list):
        return "; ".join(value)
    if isinstance(value, float):
        return f"{value:.4f}" if name.endswith("_m3") else f"{value:.3f}"
    return str(value)
