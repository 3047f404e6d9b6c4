"""Rules of tolerance against the figures of their sources, and what a tank can tell of a dispute."""

import csv
import math
from pathlib import Path

import pytest

from inventory.tolerances import (
    PUBLISHED,
    US_GALLON_M3,
    Allowance,
    Base,
    Basis,
    Outcome,
    Rule,
    RuleName,
    Telling,
    allowance,
    dispute,
    judged,
)

DATA = Path(__file__).parent.parent / "data" / "stock" / "inventory_control.csv"
ROWS = {row["what"]: row for row in csv.DictReader(DATA.read_text(encoding="utf-8").splitlines())}


def test_the_flow_through_rule_is_one_percent_and_130_gallons() -> None:
    """Source: 40 CFR 280.43(a); a US gallon is 231 in3 (NIST HB 44 App. C)."""
    row = ROWS["flow-through rule"]
    percent, gallons = map(float, row["expected"].split(";"))
    rule = PUBLISHED[RuleName.FLOW_THROUGH]
    assert rule.source in row["source"]
    assert (rule.percent, rule.fixed_m3) == (percent, pytest.approx(gallons * US_GALLON_M3))
    assert pytest.approx(231 * 0.0254**3) == US_GALLON_M3
    allowed = allowance(rule, Basis(10_000 * US_GALLON_M3, None))
    assert allowed.allowed_m3 == pytest.approx(230 * US_GALLON_M3)
    assert allowed.base_m3 == pytest.approx(10_000 * US_GALLON_M3)


@pytest.mark.parametrize(
    ("name", "row"),
    [(RuleName.THROUGHPUT, "throughput rule"), (RuleName.OPENING_RECEIPTS, "opening and receipts rule")],
)
def test_a_percentage_is_of_the_base_that_its_rule_names(name: RuleName, row: str) -> None:
    rule, printed = PUBLISHED[name], ROWS[row]
    assert rule.percent == float(printed["expected"])
    assert rule.source == printed["source"]
    basis = Basis(200.0, 1000.0)
    of = 200.0 if name is RuleName.THROUGHPUT else 1000.0
    assert allowance(rule, basis) == Allowance(pytest.approx(rule.percent / 100 * of), of)


def test_the_dip_rule_has_the_guides_millimetres_and_percent_a_degree() -> None:
    row, rule = ROWS["dip tolerance"], PUBLISHED[RuleName.DIPS]
    millimetres, percent = map(float, row["expected"].split(";"))
    assert (1000 * rule.dip_m, 100 * rule.per_degC) == pytest.approx((millimetres, percent))
    assert row["source"] in rule.source


def test_two_dips_of_a_ten_metre_tank_cannot_check_a_truck_to_half_a_percent() -> None:
    """2 mm of dip twice: UK HMRC HCOTEG152790. 314 L and 0.87 % of 36 m3 are computed, not published."""
    area_m2 = math.pi * 5**2
    allowed = allowance(PUBLISHED[RuleName.DIPS], Basis(36.0, None, area_m2, 2, 0.0, 100.0)).allowed_m3
    assert allowed is not None
    assert 1000 * allowed == pytest.approx(float(ROWS["delivery into a tank"]["expected"]), abs=0.5)
    assert 100 * allowed / 36 == pytest.approx(float(ROWS["delivery into a tank in percent"]["expected"]), abs=0.005)
    assert dispute(0.18, allowed, 0.005 * 36).telling is Telling.NEITHER


def test_a_volume_that_is_not_corrected_is_allowed_so_much_a_degree() -> None:
    rule = PUBLISHED[RuleName.DIPS]
    warm = allowance(rule, Basis(None, None, 10.0, 2, 12.0, 500.0)).allowed_m3
    assert warm == pytest.approx(2 * 0.002 * 10 + 0.0008 * 12 * 500)
    cold = allowance(rule, Basis(None, None, 10.0, 2, -12.0, 500.0)).allowed_m3
    assert cold == warm
    assert allowance(rule, Basis(None, None, 10.0, 2, None, 500.0)).allowed_m3 is None


OWN = Rule("own", "0.3 % of flow-through", "a contract", Base.FLOW_THROUGH, 0.3)


@pytest.mark.parametrize(
    ("variance", "complete", "outcome"),
    [(-0.3, True, Outcome.WITHIN), (0.3001, True, Outcome.BEYOND), (-0.1, False, Outcome.NOT_JUDGED),
     (None, True, Outcome.NOT_JUDGED)],
)  # fmt: skip
def test_a_rule_judges_a_complete_book_by_its_size_alone(
    variance: float | None, complete: bool, outcome: Outcome
) -> None:
    verdict = judged(OWN, variance, Basis(100.0, None), complete=complete)
    assert verdict.outcome is outcome
    assert bool(verdict.why) == (outcome is Outcome.NOT_JUDGED)


def test_without_a_rule_or_its_base_nothing_is_judged() -> None:
    assert judged(None, 1.0, Basis(100.0, None), complete=True).outcome is Outcome.NOT_JUDGED
    assert judged(OWN, 1.0, Basis(None, None), complete=True).outcome is Outcome.NOT_JUDGED


@pytest.mark.parametrize(
    ("difference", "u95", "limit", "telling"),
    [
        (0.5, 0.2, 0.3, Telling.BOTH),
        (0.5, 0.4, 0.3, Telling.DIFFERENCE),
        (0.1, 0.2, 0.3, Telling.LIMIT),
        (0.1, 0.4, 0.3, Telling.NEITHER),
        (-0.5, 0.2, None, Telling.BOTH),
        (0.1, 0.2, None, Telling.NEITHER),
        (None, 0.2, 0.3, Telling.UNKNOWN),
        (0.1, None, 0.3, Telling.UNKNOWN),
    ],
)
def test_whether_a_tank_can_tell_hangs_on_its_own_uncertainty(
    difference: float | None, u95: float | None, limit: float | None, telling: Telling
) -> None:
    assert dispute(difference, u95, limit).telling is telling
