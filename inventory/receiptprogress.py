"""While a receipt runs: what has come in, how that agrees with what was agreed, what is left, which check is due.

Knows what the tank has gained and what the line or vehicle says; refuses to end anything. Times are people's, UTC ms:
a check that is due is an appointment. No I/O, no clock.
"""

import math
from enum import StrEnum
from typing import NamedTuple

from inventory.moved import Moved
from inventory.receiptmeter import Metered
from inventory.receiptrules import GRACE_MS, ReceiptRules
from inventory.receipts import DeliveryPaper, LineCheck
from models.errors import OutOfRange
from models.quantity import Product
from models.working import TimeTo, time_to


class Due(StrEnum):
    """What is to be said of the next check."""

    NONE = ""  # no flow was seen yet
    WAITS = "waits"
    NOW = "due"
    OVERDUE = "overdue"


class Prompt(NamedTuple):
    """The next check of the line's figure against the tank. due_ms: None while no flow was seen."""

    state: Due
    due_ms: int | None
    done: int
    missed: int


class Progress(NamedTuple):
    """share_frac: of the paper's quantity; left_m3: as it would fill the tank now. beyond_paper: more has come than the
    paper states, by more than the site's limit and what the tank leaves in doubt. rate_off_frac: measured rate against
    the agreed one, None while it is not judged (slow start, no rate). finish: times from now."""

    gross_m3: float
    gross_u95_m3: float
    standard_m3: float | None
    standard_u95_m3: float | None
    basis: str
    share_frac: float
    left_m3: float
    beyond_paper: bool
    rate_off_frac: float | None
    slow_start: bool
    finish: TimeTo | None


def progress(
    moved: Moved,
    paper: DeliveryPaper,
    product: Product,
    temperature_degC: float | None,
    rate_m3_per_s: float | None,
    rate_sd_m3_per_s: float,
    agreed_m3_per_s: float | None,
    since_begin_ms: int | None,
    rules: ReceiptRules,
) -> Progress:
    """How far it is. since_begin_ms: since flow was seen, None before that. rate: None where it is not known."""
    gross = moved.tov_m3 if moved.gov_m3 is None else moved.gov_m3
    gross_u95 = moved.tov_u95_m3 if moved.gov_u95_m3 is None else moved.gov_u95_m3
    whole_standard = _standard(paper, product)
    whole = _filling(paper, product, temperature_degC)
    basis = "standard" if moved.gsv_m3 is not None and whole_standard is not None else "observed"
    if basis == "standard":
        assert moved.gsv_m3 is not None and whole_standard is not None  # noqa: PT018 one fact
        share = moved.gsv_m3 / whole_standard
    else:
        share = gross / whole
    left = max(0.0, (1 - share) * whole)
    beyond = (share - 1) * whole > max(gross_u95, rules.quantity_limit_frac * whole)
    slow = since_begin_ms is None or since_begin_ms < rules.slow_start_ms
    off = None
    if agreed_m3_per_s is not None and rate_m3_per_s is not None and not slow:
        off = rate_m3_per_s / agreed_m3_per_s - 1
    finish = None
    if rate_m3_per_s is not None and since_begin_ms is not None:
        finish = time_to(left, rate_m3_per_s, rate_sd_m3_per_s)
    return Progress(
        gross, gross_u95, moved.gsv_m3, moved.gsv_u95_m3, basis, share, left, beyond, off,
        slow and since_begin_ms is not None, finish,
    )  # fmt: skip


def line_check(
    time_ms: int,
    by: str,
    figure_m3: float,
    moved: Moved | None,
    paper: DeliveryPaper,
    product: Product,
    rules: ReceiptRules,
    comment: str = "",
    line: Metered | None = None,
) -> LineCheck:
    """The line's or vehicle's figure, at the paper's temperature, against what the tank has gained at that moment.

    Compared at the reference temperature where paper and tank both allow it: 10 degC between line and tank are nearly
    1 % of jet. Beyond the limit only when it is so beyond its own uncertainty: what the tank cannot see is no alarm.
    line: the figure is that of the line's own meters, with their uncertainty and their own way to that temperature.
    """
    if line is not None and line.standard_m3 is not None and (moved is None or moved.gsv_m3 is not None):
        return _held(
            time_ms,
            by,
            figure_m3,
            "standard",
            line.standard_m3,
            line.standard_u95_m3 or 0.0,
            moved,
            rules,
            comment,
            True,
        )
    factor = None
    if paper.temperature_degC is not None and moved is not None and moved.gsv_m3 is not None:
        factor = paper.ctl(product)(paper.temperature_degC)
    told = figure_m3 if factor is None else figure_m3 * factor
    share = rules.paper_u95_frac
    if line is not None and line.observed_m3 and line.observed_u95_m3 is not None:
        share = line.observed_u95_m3 / line.observed_m3
    basis = "observed" if factor is None else "standard"
    return _held(time_ms, by, figure_m3, basis, told, share * told, moved, rules, comment, line is not None)


def _held(
    time_ms: int,
    by: str,
    figure_m3: float,
    basis: str,
    line_m3: float,
    line_u95_m3: float,
    moved: Moved | None,
    rules: ReceiptRules,
    comment: str,
    metered: bool,
) -> LineCheck:
    """A figure of the line against what the tank has gained, both of one basis."""
    limit = rules.divergence_frac * line_m3
    if moved is None:
        return LineCheck(
            time_ms, by, figure_m3, basis, line_m3, None, None, None, limit, False, comment, metered
        )  # fmt: skip
    if basis == "observed":
        tank = moved.tov_m3 if moved.gov_m3 is None else moved.gov_m3
        tank_u95 = moved.tov_u95_m3 if moved.gov_u95_m3 is None else moved.gov_u95_m3
    else:
        assert moved.gsv_m3 is not None and moved.gsv_u95_m3 is not None  # noqa: PT018 one fact
        tank, tank_u95 = moved.gsv_m3, moved.gsv_u95_m3
    difference, u95 = tank - line_m3, math.hypot(tank_u95, line_u95_m3)
    beyond = abs(difference) > max(limit, u95)
    return LineCheck(
        time_ms, by, figure_m3, basis, line_m3, tank, difference, u95, limit, beyond, comment, metered
    )  # fmt: skip


def prompt_of(begun_ms: int | None, checked_ms: list[int], now_ms: int, flows: bool, rules: ReceiptRules) -> Prompt:
    """Which check is next, and how many were not done in time.

    The first is due after the site's time of flow, and a much earlier one does not stand for it; each other one a
    period after the last. now: where the flow has ended, when that was.
    """
    if begun_ms is None:
        return Prompt(Due.NONE, None, len(checked_ms), 0)
    due, missed, period = begun_ms + rules.first_check_ms, 0, rules.check_every_ms
    for time in sorted(time for time in checked_ms if time >= due - GRACE_MS):
        missed += _missed(time - due - GRACE_MS, period)
        due = time + period
    missed += _missed(now_ms - due - GRACE_MS, period)
    if not flows:
        return Prompt(Due.NONE, None, len(checked_ms), missed)
    state = Due.WAITS if now_ms < due else Due.NOW if now_ms <= due + GRACE_MS else Due.OVERDUE
    return Prompt(state, due, len(checked_ms), missed)


def _missed(late_ms: int, period_ms: int) -> int:
    return 0 if late_ms <= 0 else 1 + (late_ms - 1) // period_ms


def _standard(paper: DeliveryPaper, product: Product) -> float | None:
    try:
        return paper.in_standard_m3(product)
    except OutOfRange:
        return None


def _filling(paper: DeliveryPaper, product: Product, temperature_degC: float | None) -> float:
    try:
        return paper.at_m3(product, temperature_degC)
    except OutOfRange:
        return paper.at_m3(product, None)
