"""What the record book's entries say of movements: how they are written and how they are read back as rows.

Every entry tells a movement whole, as it was known then, and points at the entry that it takes the place of; the newest
one counts. None is ever changed.
"""

from collections.abc import Collection
from typing import Any, Final

from gaugehouse.days import iso_ms
from gaugehouse.rows import fixed
from history.book import BookReader
from inventory.moved import Moved
from inventory.movement import Movement, Stage
from inventory.ordered import RECEIPT, Order, compared

MOVEMENT: Final = "movement"
AMENDED: Final = "amended"

Row = dict[str, Any]

FIGURES: Final = {
    "level_start_m": 5, "level_end_m": 5, "gov_m3": 4, "gsv_m3": 4, "gsv_u95_m3": 4, "gov_u95_m3": 4, "tov_m3": 4,
    "tov_u95_m3": 4, "start_u95_s": 1, "end_u95_s": 1, "mean_m3_per_h": 3, "peak_m3_per_h": 3, "blind_s": 1,
    "dip_start_m": 5, "dip_end_m": 5, "by_dips_m3": 4,
    "ordered_m3": 3, "ordered_m3_per_h": 3, "more_m3": 3, "rate_ratio": 3, "early_s": 0,
}  # fmt: skip
"""Columns that are figures, with their decimals."""


def movement_row(movement: Movement, moved: Moved) -> Row:
    """A movement with the columns of movements.csv. One that runs has no end and no volumes: those are final."""
    m = movement
    final = m.stage is Stage.FINAL
    end_at = m.end_at_ms if m.end_at_ms is not None else m.extreme_at_ms
    took_s = (end_at - m.start_at_ms) / 1000
    return {
        "tank": m.tank,
        "kind": m.kind,
        "start": iso_ms(m.start_ms),
        "end": iso_ms(m.end_ms) if final and m.end_ms is not None else None,
        "level_start_m": m.start.level_m,
        "level_end_m": m.end.level_m if final else None,
        "gov_m3": moved.gov_m3 if final else None,
        "gsv_m3": moved.gsv_m3 if final else None,
        "ordered": m.ordered,
        "pair": m.pair,
        "gsv_u95_m3": moved.gsv_u95_m3 if final else None,
        "gov_u95_m3": moved.gov_u95_m3 if final else None,
        "tov_m3": moved.tov_m3,
        "tov_u95_m3": moved.tov_u95_m3,
        "number": m.number,
        "stage": m.stage.value,
        "start_u95_s": m.start_u95_s,
        "end_u95_s": m.end_u95_s if final else None,
        "mean_m3_per_h": moved.tov_m3 / took_s * 3600 if took_s > 0 else None,
        "peak_m3_per_h": m.peak_m3_per_s * 3600,
        "blind_s": m.blind_s,
        "faults": " ".join(m.faults),
        "rough": "yes" if m.rough else "",
        "dip_start_m": m.by_dips.start_m,
        "dip_end_m": m.by_dips.end_m,
        "by_dips_m3": m.by_dips.volume_m3,
        **_order_cells(m, moved),
    }


def _order_cells(movement: Movement, moved: Moved) -> Row:
    """What was ordered and in what this differs; empty where nothing was planned for the tank."""
    order = None if movement.order is None else Order(*movement.order)
    told = compared(movement, moved)
    rate = None if order is None else order.rate_m3_per_s
    return {
        "ordered_at": None if order is None else iso_ms(order.made_ms),
        "ordered_by": "" if order is None else order.by,
        "ordered_product": "" if order is None else order.product,
        "ordered_m3": None if order is None else order.quantity_m3 * (1 if order.kind == RECEIPT else -1),
        "ordered_m3_per_h": None if rate is None else 3600 * rate,
        "more_m3": told.more_m3,
        "rate_ratio": told.rate_ratio,
        "early_s": told.early_s,
        "differs": " ".join(told.differs),
    }


def movement_body(change: str, movement: Movement, moved: Moved) -> Row:
    """What became known of a movement as an entry's body; `amends` is the revision whose place it takes."""
    m = movement
    amends = m.revision - 1 or None
    row = movement_row(m, moved)
    return {
        "change": change, "revision": m.revision, "amends": amends, "start_ms": m.start_ms, "end_ms": m.end_ms, **row
    }  # fmt: skip


def movement_cells(row: Row) -> list[str]:
    """One row of movements.csv."""
    return [
        fixed(value, FIGURES[name]) if name in FIGURES else "" if value is None else str(value)
        for name, value in row.items()
    ]


COLUMNS: Final = (
    "tank", "kind", "start", "end", "level_start_m", "level_end_m", "gov_m3", "gsv_m3", "ordered", "pair", "gsv_u95_m3",
    "gov_u95_m3", "tov_m3", "tov_u95_m3", "number", "stage", "start_u95_s", "end_u95_s", "mean_m3_per_h",
    "peak_m3_per_h", "blind_s", "faults", "rough", "dip_start_m", "dip_end_m", "by_dips_m3",
    "ordered_at", "ordered_by", "ordered_product", "ordered_m3", "ordered_m3_per_h", "more_m3", "rate_ratio",
    "early_s", "differs",
)  # fmt: skip


def rounded(row: Row) -> Row:
    """A row's figures with their fixed decimals, the columns in their order; older entries do not have them all."""
    return {name: _rounded(name, row.get(name)) for name in COLUMNS}


def _rounded(name: str, value: Any) -> Any:
    return round(value, FIGURES[name]) + 0.0 if name in FIGURES and value is not None else value


def movement_rows(
    book: BookReader, tanks: Collection[str] | None = None, from_ms: int | None = None, to_ms: int | None = None
) -> list[Row]:
    """Movements that touch from <= t < to by their newest entries, oldest first; withdrawn ones are left out."""
    newest: dict[tuple[str, int], Row] = {}
    for entry in book.entries([MOVEMENT]):
        body: Row = dict(entry.body)
        if tanks is None or body["tank"] in tanks:
            newest[body["tank"], body["number"]] = body
    found = [
        body
        for body in newest.values()
        if body["stage"] != Stage.WITHDRAWN.value
        and (to_ms is None or body["start_ms"] < to_ms)
        and (from_ms is None or body["end_ms"] is None or body["end_ms"] >= from_ms)
    ]
    found.sort(key=lambda body: (body["start_ms"], body["tank"], body["number"]))
    return [rounded(body) | {"revision": body["revision"]} for body in found]
