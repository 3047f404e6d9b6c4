"""A row of the stock book judged: its split, the rule's verdict beside its allowance, and what the tank can tell.

Puts `inventory.book`, `inventory.variance` and `inventory.tolerances` together. No I/O, no clock.
"""

import math
from collections.abc import Mapping, Sequence
from typing import NamedTuple

from inventory.account import Physical, Volumes, total
from inventory.accountrules import AccountRules
from inventory.book import Row, product_row
from inventory.tolerances import Basis, Dispute, Verdict, dispute, judged
from inventory.variance import Part, Stretch, Term, change_of, measured_u95, split, split_of_all


class Judged(NamedTuple):
    """A row with its judgement. gross_u95_m3, standard_u95_m3: how well the tank knows what it gained or lost, of the
    variance at each temperature; None where that is not known. verdict: of the month up to this row. basis: what its
    allowance is worked out from."""

    row: Row
    terms: tuple[Term, ...]
    gross_u95_m3: float | None
    standard_u95_m3: float | None
    verdict: Verdict
    dispute: Dispute
    basis: Basis


def judged_tank(
    rules: AccountRules, reference_degC: float, row: Row, month: Sequence[Row], drawn_water_m3: Mapping[str, float]
) -> Judged:
    """A day or a month of a tank. month: the days of its month, in order; those from the one on which its book begins
    up to the row count for its base, and for what a day takes.

    drawn_water_m3: free water drawn off by papers, by day.
    """
    whole = len(row.period) == 7
    upto = [one for one in month if one.period <= row.period or whole]
    upto = upto[next((place for place, one in enumerate(upto) if one.opening_from), 0) :]
    days = upto if whole else upto[-row.since_days :]
    receipts = total(one.sums.receipts for one in days)
    stretch = Stretch(
        row.variance, row.against, row.physical, row.metered, receipts.standard_m3,
        math.fsum(drawn_water_m3.get(one.period, 0.0) for one in days), row.since_days,
    )  # fmt: skip
    terms = split(stretch, rules.split)
    change = change_of(row.against, row.physical)
    standard_u95 = None if change is None else change.expanded
    parts = measured_u95(row.against, row.physical)
    gross_u95 = None if parts is None else math.hypot(parts[Part.MEASUREMENT], parts[Part.WATER])
    physical = row.physical
    degC, figure = physical.temperature_degC, _figure(rules, physical.volumes)
    basis = Basis(
        _figure(rules, total(one.out for one in upto)),
        _opening_receipts(rules, upto),
        physical.area_m2,
        2,
        None if degC is None else degC - reference_degC,
        figure,
    )
    return _judged(rules, row, terms, gross_u95, standard_u95, basis, whole)


def judged_product(rules: AccountRules, tanks: Sequence[Judged], product: str, inner_out: Volumes) -> Judged:
    """All tanks of a product. What their measurements share is left out: the tanks count as independent."""
    row = product_row([one.row for one in tanks], inner_out)
    terms = split_of_all([one.terms for one in tanks], row.variance.gross_m3)
    areas = [one.basis.area_m2 for one in tanks]
    outs = _sum([one.basis.out_m3 for one in tanks])
    inner = _figure(rules, inner_out)
    volume = _sum([one.basis.volume_m3 for one in tanks])
    weighted = _sum([
        None if one.basis.off_degC is None or one.basis.volume_m3 is None else one.basis.off_degC * one.basis.volume_m3
        for one in tanks
    ])  # fmt: skip
    basis = Basis(
        None if outs is None or inner is None else outs - inner,
        _sum([one.basis.opening_receipts_m3 for one in tanks]),
        _sum(areas),
        2,
        None if weighted is None or not volume else weighted / volume,
        volume,
    )
    return _judged(
        rules, row._replace(account=product), terms, _squares([one.gross_u95_m3 for one in tanks]),
        _squares([one.standard_u95_m3 for one in tanks]), basis, len(row.period) == 7,
    )  # fmt: skip


def _judged(
    rules: AccountRules,
    row: Row,
    terms: tuple[Term, ...],
    gross_u95: float | None,
    standard_u95: float | None,
    basis: Basis,
    whole: bool,
) -> Judged:
    """A day is judged by what its month has gained or lost so far; only a whole month gets a verdict."""
    rule = rules.rule
    variance = _figure(rules, row.variance if whole else row.cumulative)
    verdict = judged(rule, variance, basis, complete=row.complete)
    if not whole and rule is not None:
        verdict = verdict._replace(
            outcome=judged(None, None, basis, complete=False).outcome, why="the rule is of a month"
        )
    by_standard = rule is None or rule.standard
    own = row.variance.standard_m3 if by_standard else row.variance.gross_m3
    limit = verdict.allowed_m3 if whole else None
    return Judged(
        row, terms, gross_u95, standard_u95, verdict,
        dispute(own, standard_u95 if by_standard else gross_u95, limit), basis,
    )  # fmt: skip


def _figure(rules: AccountRules, volumes: Volumes) -> float | None:
    """The volume that the rule speaks of; at the reference temperature where there is no rule."""
    by_standard = rules.rule is None or rules.rule.standard
    return volumes.standard_m3 if by_standard else volumes.gross_m3


def _opening_receipts(rules: AccountRules, days: Sequence[Row]) -> float | None:
    begun = [one for one in days if one.opening_from]
    if not begun:
        return None
    return _figure(rules, total((begun[0].opening, *(one.sums.receipts for one in begun))))


def _sum(parts: Sequence[float | None]) -> float | None:
    known = [part for part in parts if part is not None]
    return math.fsum(known) if len(known) == len(parts) else None


def _squares(parts: Sequence[float | None]) -> float | None:
    known = [part for part in parts if part is not None]
    return math.hypot(*known) if len(known) == len(parts) else None


__all__ = ["Judged", "Physical", "judged_product", "judged_tank"]
