"""Rules that say how much a stock account may be off, by name, base and source; and what a tank can tell at all.

Knows published rules and a site's own; refuses to call a loss a leak or a theft. A rule is a trigger for somebody to
look, not a right to lose fuel. Volumes in m3.
"""

from enum import StrEnum
from typing import Final, NamedTuple

US_GALLON_M3: Final = 0.003785411784
"""231 in3. Source: NIST HB 44 App. C."""


class Base(StrEnum):
    """What a percentage is of."""

    FLOW_THROUGH = "flow-through"
    THROUGHPUT = "throughput"
    OPENING_RECEIPTS = "opening and receipts"
    NONE = "no base"


class RuleName(StrEnum):
    """The rules that a site file can name."""

    FLOW_THROUGH = "flow-through"
    THROUGHPUT = "throughput"
    OPENING_RECEIPTS = "opening and receipts"
    DIPS = "dips"
    OWN = "own"


class Rule(NamedTuple):
    """allowance = percent of the base + fixed_m3 + dips. standard: it speaks of volumes at the reference temperature.

    dip_m: so much level for each account that was taken (opening and closing: two); per_degC: of the volume for each
    degree that it is off the reference temperature, where it is not corrected.
    """

    name: str
    words: str
    source: str
    base: Base
    percent: float = 0.0
    fixed_m3: float = 0.0
    standard: bool = False
    dip_m: float = 0.0
    per_degC: float = 0.0


PUBLISHED: Final[dict[RuleName, Rule]] = {
    RuleName.FLOW_THROUGH: Rule(
        "flow-through", "1.0 % of the month's flow-through + 130 US gal", "40 CFR 280.43(a)",
        Base.FLOW_THROUGH, 1.0, 130 * US_GALLON_M3,
    ),
    RuleName.THROUGHPUT: Rule(
        "throughput", "0.5 % of the month's throughput; two months running: have the tank tested",
        "Wisconsin tank training page", Base.THROUGHPUT, 0.5,
    ),
    RuleName.OPENING_RECEIPTS: Rule(
        "opening and receipts", "1 % of opening and receipts of the month (jet fuel), temperature corrected",
        "US Army QM5200 and QM5092", Base.OPENING_RECEIPTS, 1.0, standard=True,
    ),
    RuleName.DIPS: Rule(
        "dips", "2 mm of dip for each account taken, and 0.08 % a degree off 15 degC where not corrected",
        "UK HMRC HCOTEG152790, a guide and no right; kerosene taken as heavy oil (from memory)",
        Base.NONE, dip_m=0.002, per_degC=0.0008,
    ),
}  # fmt: skip


class Basis(NamedTuple):
    """What a rule's allowance is worked out from, for one account and one month; None where it is not known.

    out_m3: what left. opening_receipts_m3: the month's opening and receipts together. area_m2: liquid surface, of all
    tanks together. accounts: how often stock was taken. off_degC: how far the liquid is from the reference
    temperature. volume_m3: what the account is of.
    """

    out_m3: float | None
    opening_receipts_m3: float | None
    area_m2: float | None = None
    accounts: int = 2
    off_degC: float | None = None
    volume_m3: float | None = None


class Allowance(NamedTuple):
    """What a rule allows, and the base that its percentage is of; None where something it needs is not known."""

    allowed_m3: float | None
    base_m3: float | None


def allowance(rule: Rule, basis: Basis) -> Allowance:
    base_m3: float | None = 0.0
    if rule.base in (Base.FLOW_THROUGH, Base.THROUGHPUT):
        base_m3 = basis.out_m3
    elif rule.base is Base.OPENING_RECEIPTS:
        base_m3 = basis.opening_receipts_m3
    if base_m3 is None:
        return Allowance(None, None)
    allowed = rule.percent / 100 * base_m3 + rule.fixed_m3
    if rule.dip_m:
        if basis.area_m2 is None:
            return Allowance(None, base_m3)
        allowed += basis.accounts * rule.dip_m * basis.area_m2
    if rule.per_degC and not rule.standard:
        if basis.off_degC is None or basis.volume_m3 is None:
            return Allowance(None, base_m3)
        allowed += rule.per_degC * abs(basis.off_degC) * basis.volume_m3
    return Allowance(allowed, basis.out_m3 if rule.base is Base.NONE else base_m3)


class Outcome(StrEnum):
    """A variance beside a rule's allowance."""

    WITHIN = "within"
    BEYOND = "beyond"
    NOT_JUDGED = "not judged"


class Verdict(NamedTuple):
    """percent: of the rule's base. why: what keeps it from being judged, "" where it is."""

    outcome: Outcome
    percent: float | None
    allowed_m3: float | None
    base_m3: float | None
    why: str = ""


def judged(rule: Rule | None, variance_m3: float | None, basis: Basis, *, complete: bool) -> Verdict:
    """The rule's plain answer, whatever the tank can tell: `dispute` says that. Incomplete books get none."""
    if rule is None:
        return Verdict(Outcome.NOT_JUDGED, None, None, None, "the site names no rule")
    allowed_m3, base_m3 = allowance(rule, basis)
    percent = None if variance_m3 is None or not base_m3 else 100 * variance_m3 / base_m3
    if variance_m3 is None:
        return Verdict(Outcome.NOT_JUDGED, None, allowed_m3, base_m3, "the variance is not known")
    if allowed_m3 is None:
        return Verdict(Outcome.NOT_JUDGED, percent, None, base_m3, "what the rule needs is not known")
    if not complete:
        return Verdict(Outcome.NOT_JUDGED, percent, allowed_m3, base_m3, "the book is incomplete")
    outcome = Outcome.WITHIN if abs(variance_m3) <= allowed_m3 else Outcome.BEYOND
    return Verdict(outcome, percent, allowed_m3, base_m3)


class Telling(StrEnum):
    """Whether a measurement can settle a difference."""

    BOTH = "told, and finer than the limit"
    DIFFERENCE = "told, though not as finely as the limit asks"
    LIMIT = "smaller than the tank can tell, but the limit is wider than that"
    NEITHER = "the tank cannot settle it"
    UNKNOWN = "not known"


class Dispute(NamedTuple):
    """A difference beside the expanded uncertainty (95 %) of what it was measured with. limit_m3: None without one."""

    difference_m3: float | None
    u95_m3: float | None
    limit_m3: float | None
    telling: Telling


def dispute(difference_m3: float | None, u95_m3: float | None, limit_m3: float | None = None) -> Dispute:
    """Can the tank resolve it at all? Yes where the difference is larger than its uncertainty; and it can police a
    limit only where its uncertainty is not larger than that limit."""
    if difference_m3 is None or u95_m3 is None:
        return Dispute(difference_m3, u95_m3, limit_m3, Telling.UNKNOWN)
    seen, fine = abs(difference_m3) > u95_m3, limit_m3 is not None and u95_m3 <= limit_m3
    if seen:
        telling = Telling.BOTH if fine or limit_m3 is None else Telling.DIFFERENCE
    else:
        telling = Telling.LIMIT if fine else Telling.NEITHER
    return Dispute(difference_m3, u95_m3, limit_m3, telling)
