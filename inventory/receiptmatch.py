"""After a receipt: the tank against the delivery's papers, each with its uncertainty, and whether the tank can tell.

A difference carries the covariance of its two gaugings (`inventory.moved`): the gauge's zero cancels. A truckload
cannot be policed to half a percent by a tall tank; that is said beside every comparison. Knows figures and limits;
refuses to accept or reject: a person does.
"""

import math
from enum import StrEnum
from typing import NamedTuple

from inventory.moved import Moved
from inventory.receiptrules import ReceiptRules
from inventory.receipts import DeliveryPaper, DeliverySample
from models.quantity import Product


class Verdict(StrEnum):
    """What a comparison says."""

    WITHIN = "within the limit"
    BEYOND = "beyond the limit"
    NOT_TOLD = "no difference that the tank can tell"  # nor that there is none: its own uncertainty is above the limit
    NOT_DONE = "not done"


class QuantityMatch(NamedTuple):
    """One quantity: tank less paper. resolves: whether the tank can tell a difference as large as the limit at all."""

    basis: str
    paper_m3: float
    paper_u95_m3: float
    tank_m3: float
    tank_u95_m3: float
    difference_m3: float
    u95_m3: float
    percent: float
    limit_m3: float
    resolves: bool
    verdict: Verdict

    @property
    def said(self) -> str:
        """Whether the tank can resolve the dispute, in a sentence."""
        share = 100 * self.u95_m3 / self.paper_m3
        limit = 100 * self.limit_m3 / self.paper_m3
        if self.resolves:
            return (
                f"The tank can resolve this: it tells differences from {1000 * self.u95_m3:.0f} L ({share:.2f} %) on, "
                f"the limit is {1000 * self.limit_m3:.0f} L ({limit:.2f} %)."
            )
        if self.verdict is Verdict.BEYOND:
            return (
                f"The difference is real: tank and papers together leave {1000 * self.u95_m3:.0f} L ({share:.2f} %) in "
                f"doubt, and it is more. Find its cause before anybody signs. Smaller ones this tank could not "
                f"hold against the limit of {1000 * self.limit_m3:.0f} L ({limit:.2f} %)."
            )
        return (
            f"The tank cannot resolve a dispute at this limit: it tells no difference below "
            f"{1000 * self.u95_m3:.0f} L ({share:.2f} %), the limit is {1000 * self.limit_m3:.0f} L ({limit:.2f} %). "
            f"A meter, or several deliveries taken together, can."
        )


class Match(NamedTuple):
    """One figure of the paper against what was measured; measured None: not done."""

    paper: float | None
    measured: float | None
    difference: float | None
    limit: float
    verdict: Verdict


class Reconciliation(NamedTuple):
    """What stands beside each other. quantity: at the reference temperature where paper and tank allow that."""

    quantity: QuantityMatch | None
    observed: QuantityMatch | None
    density: Match
    temperature: Match
    paper_error_percent: float | None


def reconcile(
    paper: DeliveryPaper, product: Product, moved: Moved | None, sample: DeliverySample | None, rules: ReceiptRules
) -> Reconciliation:
    """moved: what the tank has gained, None where it could not tell. Raises `OutOfRange` for a paper off the tables."""
    standard = paper.in_standard_m3(product)
    quantity = observed = None
    if moved is not None and moved.gsv_m3 is not None and moved.gsv_u95_m3 is not None and standard is not None:
        quantity = quantity_match("standard", standard, moved.gsv_m3, moved.gsv_u95_m3, rules)
    if moved is not None and paper.observed_m3 is not None:
        gross = moved.tov_m3 if moved.gov_m3 is None else moved.gov_m3
        u95 = moved.tov_u95_m3 if moved.gov_u95_m3 is None else moved.gov_u95_m3
        observed = quantity_match("observed", paper.observed_m3, gross, u95, rules)
    density = _match(
        paper.density_15_kgpm3, None if sample is None else sample.density_15_kgpm3, rules.density_limit_kgpm3
    )
    temperature = _match(
        paper.temperature_degC, None if sample is None else sample.temperature_degC, rules.temperature_limit_degC
    )
    return Reconciliation(quantity, observed, density, temperature, paper.own_error_percent(product))


def quantity_match(
    basis: str, paper_m3: float, tank_m3: float, tank_u95_m3: float, rules: ReceiptRules
) -> QuantityMatch:
    """Tank less paper. Held against the delivery only what is beyond the limit and beyond the tank's own uncertainty;
    where that is larger than the limit, what lies within it says neither yes nor no."""
    paper_u95 = rules.paper_u95_frac * paper_m3
    difference, u95 = tank_m3 - paper_m3, math.hypot(tank_u95_m3, paper_u95)
    limit = rules.quantity_limit_frac * paper_m3
    if abs(difference) > max(limit, u95):
        verdict = Verdict.BEYOND
    else:
        verdict = Verdict.WITHIN if u95 <= limit else Verdict.NOT_TOLD
    return QuantityMatch(
        basis, paper_m3, paper_u95, tank_m3, tank_u95_m3, difference, u95, 100 * difference / paper_m3, limit,
        u95 <= limit, verdict,
    )  # fmt: skip


def _match(paper: float | None, measured: float | None, limit: float) -> Match:
    if paper is None or measured is None:
        return Match(paper, measured, None, limit, Verdict.NOT_DONE)
    difference = measured - paper
    within = abs(difference) <= limit + 1e-9
    return Match(paper, measured, difference, limit, Verdict.WITHIN if within else Verdict.BEYOND)
