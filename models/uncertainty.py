"""Measurement uncertainty after the GUM (JCGM 100): inputs with their sources, budgets, and budgets of differences.

Knows the law of propagation and covariance between two readings; which inputs a stock figure has is of
`models.stock_budget`. Every input carries where its figure comes from. Infinite degrees of freedom are assumed: the
coverage factor is stated, not derived. Clauses of JCGM 100: from memory.
"""

import math
from collections.abc import Mapping, Sequence
from typing import Final, NamedTuple

from models.errors import OutOfRange

COVERAGE: Final = 2.0
"""k = 2, about 95 % for a normal distribution (JCGM 100, 6.2-6.3)."""

LEAST_INNAGE_M: Final = 0.05
"""Below it two innages count as one: no table knows a part of itself there (ours)."""


class Known(NamedTuple):
    """A standard uncertainty, in the unit of its quantity, and where it comes from."""

    standard: float
    source: str


def rectangular(half_width: float, source: str) -> Known:
    """From limits of error that are equally likely all over: a / sqrt(3) (JCGM 100, 4.3.7)."""
    return Known(half_width / math.sqrt(3), f"+-{half_width:g} rectangular, {source}")


def expanded(value: float, coverage: float, source: str) -> Known:
    """From an expanded uncertainty as a certificate states it."""
    return Known(value / coverage, f"{value:g} at k = {coverage:g}, {source}")


class Term(NamedTuple):
    """One input of a budget. contribution = sensitivity x standard, signed, in the unit of the result.

    shared: correlation of its error between two readings of one tank, 1 for a bias that stays, 0 for what is new each
    time. fades: where given, the correlation is exp(-(ln(h2 / h1) / fades)^2 / 2) of the two innages h instead.
    """

    name: str
    standard: float
    unit: str
    sensitivity: float
    shared: float
    source: str
    fades: float | None = None

    @property
    def contribution(self) -> float:
        return self.sensitivity * self.standard


class Leading(NamedTuple):
    """What weighs most in a budget, in the unit of its result, and by whose word it is known."""

    name: str
    contribution: float
    source: str


class Budget(NamedTuple):
    """A figure with all that makes it uncertain. innage_m: where it was read, as some correlations fade with height."""

    quantity: str
    value: float
    unit: str
    terms: tuple[Term, ...]
    innage_m: float | None = None
    coverage: float = COVERAGE

    @property
    def standard(self) -> float:
        """Combined standard uncertainty; the inputs of one reading are independent (JCGM 100, 5.1.2)."""
        return math.sqrt(math.fsum(term.contribution**2 for term in self.terms))

    @property
    def expanded(self) -> float:
        return self.coverage * self.standard

    @property
    def largest(self) -> Term:
        """The input that weighs most: the one worth mending."""
        return max(self.terms, key=lambda term: abs(term.contribution))


def leading(budget: Budget) -> Leading:
    """The largest input, one that is split in parts ("capacity table, scale" and ", local") taken as one."""
    whole: dict[str, Leading] = {}
    for term in budget.terms:
        name = term.name.partition(",")[0]
        before = whole.get(name, Leading(name, 0.0, term.source))
        whole[name] = before._replace(contribution=math.hypot(before.contribution, term.contribution))
    return max(whole.values(), key=lambda one: one.contribution)


def difference(opening: Budget, closing: Budget, shared: Mapping[str, float] | None = None) -> Budget:
    """closing - opening with its covariances (JCGM 100, 5.2.2): what both readings share cancels.

    Inputs are matched by name; one that stands on one side only is independent. shared: correlations that differ from
    the inputs' own, by name (a new sample between the readings: {"density": 0.0}).
    """
    if opening.unit != closing.unit or opening.quantity != closing.quantity:
        raise OutOfRange(
            f"{closing.quantity} in {closing.unit} less {opening.quantity} in {opening.unit} is no difference"
        )
    before = {term.name: term for term in opening.terms}
    after = {term.name: term for term in closing.terms}
    terms = []
    for name in dict.fromkeys([*after, *before]):
        first, second = before.get(name), after.get(name)
        source = (second or first or closing.terms[0]).source
        a = first.contribution if first else 0.0
        b = second.contribution if second else 0.0
        r = 0.0
        if first is not None and second is not None:
            r = (shared or {}).get(name, _correlation(first, opening.innage_m, closing.innage_m))
        variance = a * a + b * b - 2 * r * a * b
        terms.append(Term(name, math.sqrt(max(0.0, variance)), closing.unit, 1.0, 0.0, f"{source}; r = {r:.3g}"))
    return Budget(
        f"change of {closing.quantity}",
        closing.value - opening.value,
        closing.unit,
        tuple(terms),
        coverage=closing.coverage,
    )


def _correlation(term: Term, opening_m: float | None, closing_m: float | None) -> float:
    if term.fades is None or opening_m is None or closing_m is None:
        return term.shared
    return faded(term.fades, opening_m, closing_m)


def faded(fades: float, first_m: float, second_m: float) -> float:
    """Correlation of an error that belongs to a height, between two innages in m, by their ratio."""
    ratio = max(second_m, LEAST_INNAGE_M) / max(first_m, LEAST_INNAGE_M)
    return math.exp(-((math.log(ratio) / fades) ** 2) / 2)


class DipComparison(NamedTuple):
    """What a site's own dips say of a gauge: mean of gauge - dip, and the uncertainties that follow."""

    bias_m: float
    zero: Known
    repeat: Known


def from_dips(differences_m: Sequence[float], dip_standard_m: float) -> DipComparison:
    """Zero and repeatability of a gauge from its differences to hand dips, gauge - dip, at least three.

    repeat: experimental standard deviation (JCGM 100, 4.2). zero: of the mean, with the dip's own uncertainty and, as
    the readings stay uncorrected, with the bias itself (JCGM 100, F.2.4.5).
    """
    n = len(differences_m)
    if n < 3:
        raise OutOfRange(f"{n} dip comparisons tell no spread; at least 3 are needed")
    mean = math.fsum(differences_m) / n
    spread = math.sqrt(math.fsum((d - mean) ** 2 for d in differences_m) / (n - 1))
    zero = math.sqrt(spread**2 / n + dip_standard_m**2 + mean**2)
    return DipComparison(
        mean,
        Known(zero, f"{n} dip comparisons, mean {1000 * mean:+.1f} mm left in"),
        Known(spread, f"{n} dip comparisons, standard deviation"),
    )
