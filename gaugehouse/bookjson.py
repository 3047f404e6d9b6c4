"""The stock book as the API and the commands tell it: JSON-ready rows in SI units.

Volumes have the four decimals of the book, so that a month that is read in again gives the same sums.
"""

from typing import Any, Final

from gaugehouse.days import iso_ms
from inventory.account import Volumes
from inventory.judging import Judged
from inventory.outside import OutsideRow
from inventory.owners import OwnerRow

Json = dict[str, Any]

SUMS: Final = ("receipts", "issues", "transfers", "draws", "adjustments")
SIDES: Final = ("gross", "standard")


def judged_json(one: Judged) -> Json:
    """A row with its judgement; every volume twice, as it was (`gross`) and at the reference temperature."""
    row, verdict = one.row, one.verdict
    out: Json = {"account": row.account, "product": row.product, "period": row.period}
    out |= _pair("opening", row.opening)
    out["opening_from"] = row.opening_from
    for name, volumes in zip(SUMS, row.sums, strict=True):
        out |= _pair(name, volumes)
    out |= _pair("book", row.book) | _pair("physical", row.physical.volumes)
    out |= {
        "physical_source": row.physical.source,
        "physical_time": None if row.physical.time_ms is None else iso_ms(row.physical.time_ms),
        "physical_why": row.physical.why,
        "physical_u95_m3": _rounded(row.physical.u95_m3),
    }
    out |= _pair("variance", row.variance)
    out |= {"variance_gross_u95_m3": _rounded(one.gross_u95_m3), "variance_u95_m3": _rounded(one.standard_u95_m3)}
    out |= _pair("cumulative", row.cumulative) | _pair("closing", row.closing)
    return out | {
        "base_m3": _rounded(verdict.base_m3),
        "percent": None if verdict.percent is None else round(verdict.percent, 3) + 0.0,
        "allowed_m3": _rounded(verdict.allowed_m3),
        "verdict": verdict.outcome.value,
        "verdict_why": verdict.why,
        "telling": one.dispute.telling.name.lower(),
        "disputed_m3": _rounded(one.dispute.difference_m3),
        "disputed_u95_m3": _rounded(one.dispute.u95_m3),
        "complete": row.complete,
        "missing": list(row.missing),
        "remarks": list(row.remarks),
        "since_days": row.since_days,
    }


def split_json(one: Judged) -> list[Json]:
    """The parts of a row's variance, "unexplained" last."""
    return [
        {"part": term.part.value, "amount_m3": _rounded(term.amount_m3), "u95_m3": _rounded(term.u95_m3),
         "why": term.why}
        for term in one.terms
    ]  # fmt: skip


def owner_json(one: OwnerRow) -> Json:
    out: Json = {"owner": one.owner, "product": one.product, "period": one.period} | _pair("opening", one.opening)
    for name, volumes in zip(SUMS, one.sums, strict=True):
        out |= _pair(name, volumes)
    return out | _pair("book", one.book) | _pair("allotted", one.allotted) | _pair("closing", one.closing)


def outside_json(one: OutsideRow) -> Json:
    out: Json = {"place": one.place, "product": one.product, "stated_on": one.stated_on or None}
    return out | _pair("opening", one.opening) | _pair("moved", one.moved) | _pair("book", one.book) | _pair(
        "stand", one.stand
    ) | _pair("variance", one.variance)  # fmt: skip


def _pair(name: str, volumes: Volumes) -> Json:
    return {f"{name}_{side}_m3": _rounded(volume) for side, volume in zip(SIDES, volumes, strict=True)}


def _rounded(value: float | None) -> float | None:
    return None if value is None else round(value, 4) + 0.0
