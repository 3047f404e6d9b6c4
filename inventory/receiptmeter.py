"""What the line's own meters say of a receipt, and tank, papers and meters beside each other, two and two.

A totaliser is read when the receipt is started and whenever it is asked; what lies between, times its meter factor, has
gone through the line (API MPMS ch. 4: meter factor). One that is not compensated counts at the line's temperature,
which the delivery's sample or the papers tell. Knows registers and figures; refuses to say which of the three is right.
"""

import math
from collections.abc import Sequence
from typing import Final, NamedTuple

from inventory.moved import Moved
from inventory.receiptmatch import Verdict
from inventory.receiptrules import ReceiptRules
from inventory.receipts import DeliveryPaper, DeliverySample
from models.errors import OutOfRange
from models.quantity import Product

TEMPERATURE_U95_DEGC: Final = 1.0
"""Expanded uncertainty of the line's temperature as a sample or a paper tells it. Common practice, no source."""

TANK, PAPER, METER = "tank", "paper", "meter"
STANDARD, OBSERVED = "standard", "observed"

NO_READING, WENT_BACK = "no reading", "went back"


class Count(NamedTuple):
    """One totaliser: its register at the start and now, m3 as it shows them; closing None: not read now.

    factor: true volume by counted volume; u95_frac: expanded uncertainty of what it counts, of the volume.
    """

    id: str
    name: str
    opening_m3: float
    closing_m3: float | None
    factor: float
    compensated: bool
    rolls_over_at_m3: float | None
    u95_frac: float

    @property
    def counted_m3(self) -> float | None:
        """Between the two readings, also over the register's end; None where it was reset, or not read."""
        if self.closing_m3 is None:
            return None
        between = self.closing_m3 - self.opening_m3
        if between < 0 and self.rolls_over_at_m3 is not None:
            between += self.rolls_over_at_m3
        return between if between >= 0 else None


class Metered(NamedTuple):
    """What went through the line's meters, m3, with expanded uncertainties. observed_m3: at the line's temperature,
    None where a meter counts at the reference temperature; standard_m3: None where no temperature is known.

    why_not: why nothing is known, empty where something is; temperature_degC: the line's, where it was used.
    """

    counts: tuple[Count, ...]
    observed_m3: float | None = None
    observed_u95_m3: float | None = None
    standard_m3: float | None = None
    standard_u95_m3: float | None = None
    temperature_degC: float | None = None
    why_not: str = ""


def metered(
    counts: Sequence[Count], paper: DeliveryPaper, product: Product, sample: DeliverySample | None
) -> Metered | None:
    """Of all meters of the line together; None where it has none."""
    if not counts:
        return None
    whole = [(one, one.counted_m3) for one in counts]
    for one, counted in whole:
        if counted is None:
            return Metered(tuple(counts), why_not=NO_READING if one.closing_m3 is None else WENT_BACK)
    true = [(one, one.factor * (counted or 0.0)) for one, counted in whole]
    plain = [(volume, one.u95_frac * volume) for one, volume in true if not one.compensated]
    held = [(volume, one.u95_frac * volume) for one, volume in true if one.compensated]
    observed = None if held else math.fsum(volume for volume, _ in plain)
    observed_u95 = None if held else math.hypot(*(u95 for _, u95 in plain))
    if not plain:
        return Metered(
            tuple(counts), None, None, math.fsum(volume for volume, _ in held), math.hypot(*(u95 for _, u95 in held))
        )
    degC = sample.temperature_degC if sample is not None else None
    degC = paper.temperature_degC if degC is None else degC
    try:
        ctl = paper.ctl(product)
        at, warmer = (None, None) if degC is None else (ctl(degC), ctl(degC + TEMPERATURE_U95_DEGC))
    except OutOfRange:
        at = warmer = None
    if at is None or warmer is None:
        return Metered(tuple(counts), observed, observed_u95, temperature_degC=degC)
    sum_plain = math.fsum(volume for volume, _ in plain)
    standard = sum_plain * at + math.fsum(volume for volume, _ in held)
    u95 = math.hypot(*(u * at for _, u in plain), *(u for _, u in held), sum_plain * (at - warmer))
    return Metered(tuple(counts), observed, observed_u95, standard, u95, degC)


class Figure(NamedTuple):
    """One of the three, in m3 with its expanded uncertainty."""

    of: str
    m3: float
    u95_m3: float


class Pair(NamedTuple):
    """Two of the three: `of` less `against`. resolves: whether the two can tell a difference as large as the limit."""

    of: str
    against: str
    difference_m3: float
    u95_m3: float
    percent: float
    limit_m3: float
    resolves: bool
    verdict: Verdict


class Three(NamedTuple):
    """Tank, papers and meters in one basis. apart: the one that differs from both others while these agree; empty
    where there is none."""

    basis: str
    figures: tuple[Figure, ...]
    pairs: tuple[Pair, ...]
    apart: str


def three(
    paper: DeliveryPaper, product: Product, moved: Moved | None, line: Metered | None, rules: ReceiptRules
) -> Three | None:
    """Beside each other at the reference temperature; as observed only where that cannot be. None without a meter's
    figure, or with nothing to hold it against."""
    if line is None or line.why_not:
        return None
    try:
        standard = paper.in_standard_m3(product)
    except OutOfRange:
        standard = None
    if line.standard_m3 is not None and line.standard_u95_m3 is not None:
        basis, figures = STANDARD, [Figure(METER, line.standard_m3, line.standard_u95_m3)]
        if standard is not None:
            figures.insert(0, Figure(PAPER, standard, rules.paper_u95_frac * standard))
        if moved is not None and moved.gsv_m3 is not None and moved.gsv_u95_m3 is not None:
            figures.insert(0, Figure(TANK, moved.gsv_m3, moved.gsv_u95_m3))
    else:
        assert line.observed_m3 is not None and line.observed_u95_m3 is not None  # noqa: PT018 one of the two is there
        basis, figures = OBSERVED, [Figure(METER, line.observed_m3, line.observed_u95_m3)]
        if paper.observed_m3 is not None:
            figures.insert(0, Figure(PAPER, paper.observed_m3, rules.paper_u95_frac * paper.observed_m3))
        if moved is not None:
            gross = moved.tov_m3 if moved.gov_m3 is None else moved.gov_m3
            u95 = moved.tov_u95_m3 if moved.gov_u95_m3 is None else moved.gov_u95_m3
            figures.insert(0, Figure(TANK, gross, u95))
    pairs = [
        _pair(figures[j], figures[k], rules)
        for j in range(len(figures))
        for k in range(j + 1, len(figures))
        if figures[k].m3 > 0
    ]
    return Three(basis, tuple(figures), tuple(pairs), _apart(pairs)) if pairs else None


def _pair(of: Figure, against: Figure, rules: ReceiptRules) -> Pair:
    """Beyond the limit only what is also beyond the two's own uncertainty, as `receiptmatch.quantity_match` has it."""
    difference, u95 = of.m3 - against.m3, math.hypot(of.u95_m3, against.u95_m3)
    limit = rules.quantity_limit_frac * against.m3
    if abs(difference) > max(limit, u95):
        verdict = Verdict.BEYOND
    else:
        verdict = Verdict.WITHIN if u95 <= limit else Verdict.NOT_TOLD
    return Pair(
        of.of, against.of, difference, u95, 100 * difference / against.m3, limit, u95 <= limit, verdict
    )  # fmt: skip


def _apart(pairs: Sequence[Pair]) -> str:
    """The one that is beyond the limit with both others, where these two are not with each other."""
    if len(pairs) != 3:
        return ""
    for one in (TANK, PAPER, METER):
        own = [pair.verdict is Verdict.BEYOND for pair in pairs if one in (pair.of, pair.against)]
        others = [pair.verdict is Verdict.BEYOND for pair in pairs if one not in (pair.of, pair.against)]
        if all(own) and not any(others):
            return one
    return ""
